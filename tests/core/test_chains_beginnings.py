"""The chain of the configuration as the turns of one child's chase (C18)."""

import pytest
from chains_made import minutes
from days_made import adult, district, student

from service.core.chains import Purpose, Turn, turns_of
from service.core.district import Chain, Contact, ContactKind, Limit, Role, RoleAt, Step

TEN = Limit(minutes(10))
CHILD = student("s-110", guardians=("g-wren", "g-lark"))
NURSE = adult("n-moor", roles=(RoleAt(Role.NURSE, ("hollow-road",)),))
ELSEWHERE = adult("n-vale", roles=(RoleAt(Role.NURSE, ("mill-lane",)),))
DISTRICT = district(CHILD, people=(NURSE, ELSEWHERE))


def turns(*contacts: Contact, second: str | None = "a-moss") -> tuple[Turn, ...]:
    chain = Chain("chain", tuple(Step(contact, TEN) for contact in contacts))
    return turns_of(chain, CHILD, "l-teal", second, DISTRICT)


def test_the_checker_is_asked_and_everybody_after_is_told() -> None:
    found = turns(
        Contact(ContactKind.CHECKER), Contact(ContactKind.SECOND), Contact(ContactKind.PERSON, "c-reed")
    )

    assert [(t.label, t.people, t.purpose) for t in found] == [
        ("checker", ("l-teal",), Purpose.PROMPT),
        ("second", ("a-moss",), Purpose.ALERT),
        ("c-reed", ("c-reed",), Purpose.ALERT),
    ]


def test_a_round_without_a_second_checker_has_no_turn_for_one() -> None:
    found = turns(Contact(ContactKind.CHECKER), Contact(ContactKind.SECOND), second=None)

    assert [t.label for t in found] == ["checker"]


@pytest.mark.parametrize(
    ("role", "people"),
    [(Role.GUARDIAN, ("g-wren", "g-lark")), (Role.NURSE, ("n-moor",)), (Role.AUDIOLOGIST, ())],
)
def test_a_role_is_whoever_holds_it_at_the_childs_school_and_guardians_are_the_childs_own(
    role: Role, people: tuple[str, ...]
) -> None:
    (turn,) = turns(Contact(ContactKind.ROLE, role=role))

    assert (turn.label, turn.people) == (role.value, people)


def test_a_contact_that_names_nobody_is_a_turn_without_people() -> None:
    assert [(t.label, t.people) for t in turns(Contact(ContactKind.PERSON), Contact(ContactKind.ROLE))] == [
        ("", ()), ("role", ())
    ]  # fmt: skip


def test_a_turn_keeps_the_limit_channels_and_hours_of_its_step() -> None:
    step = Step(Contact(ContactKind.CHECKER), TEN, ("chat", "mail"), any_hour=True)
    plain = Step(Contact(ContactKind.CHECKER), Limit())
    first, second = turns_of(Chain("chain", (step, plain)), CHILD, "l-teal", None, DISTRICT)

    assert (first.limit, first.channels, first.any_hour) == (TEN, ("chat", "mail"), True)
    assert (second.limit, second.channels, second.any_hour) == (Limit(), (), False)
