"""What kind of mail it is: a program's mail is never taken for a person's, a person's seldom for a program's.

Header sets of vacation programs: `data/email/SOURCES.md` (two issue threads) and RFC 3834; rules of mail programs that
answer without any header: an issue thread named in the project's notes on standards.
"""

import pytest

from service.core.mail import Delivery, Kind, Mail, kind_of


def mail(text: str = "ok", subject: str = "Re: 2 checks by 08:20", report: str | None = None,
         deliveries: tuple[Delivery, ...] = (), sender: str = "l.teal@school.example", **headers: str) -> Mail:
    held = {name.replace("_", "-"): (value,) for name, value in headers.items()}
    return Mail("m1@school.example", sender, (), subject, (), text, held, report, deliveries)


def test_a_persons_reply_is_a_persons() -> None:
    assert kind_of(mail()) is Kind.HUMAN
    assert kind_of(mail(auto_submitted="no")) is Kind.HUMAN
    assert kind_of(mail(return_path="<l.teal@school.example>")) is Kind.HUMAN
    assert kind_of(mail(x_auto_response_suppress="DR, OOF, AutoReply")) is Kind.HUMAN
    assert kind_of(mail("I am away from the room until 9, Ada is fine")) is Kind.HUMAN


@pytest.mark.parametrize(
    "headers",
    [
        {"return_path": "<>"},
        {"auto_submitted": "auto-replied"},
        {"auto_submitted": "auto-generated", "x_auto_response_suppress": "All"},
        {"auto_submitted": "auto-replied (vacation); owner-email=\"l.teal@school.example\""},
        {"x_autoreply": "yes"},
        {"x_autorespond": "Re: 2 checks"},
        {"precedence": "auto_reply"},
        {"precedence": "bulk"},
    ],
)
def test_a_vacation_programs_answer_says_that_its_owner_is_away_even_where_it_begins_with_ok(
    headers: dict[str, str],
) -> None:
    assert kind_of(mail("OK - I am out of the office until Monday.", **headers)) is Kind.AWAY
    assert kind_of(mail("ok", **headers)) is Kind.AUTOMATIC


def test_rules_that_answer_without_any_header_are_known_by_subject_or_words() -> None:
    assert kind_of(mail("ok thanks", "Automatic reply: 2 checks by 08:20")) is Kind.AWAY
    assert kind_of(mail("I am currently out of the office and will respond when I return.")) is Kind.AWAY


@pytest.mark.parametrize("header", ["list_id", "list_unsubscribe", "list_post"])
def test_mail_of_a_list_is_a_programs_and_tells_of_nobodys_absence(header: str) -> None:
    assert kind_of(mail("I am on vacation", **{header: "<staff.school.example>"})) is Kind.AUTOMATIC


def test_mail_of_a_mail_server_without_a_report_is_shown_and_no_more() -> None:
    assert kind_of(mail("Away it goes", sender="MAILER-DAEMON@mx.example".lower())) is Kind.AUTOMATIC


@pytest.mark.parametrize(
    ("report", "actions", "kind"),
    [
        ("delivery-status", ("failed",), Kind.FAILED),
        ("delivery-status", ("delivered", "failed"), Kind.FAILED),
        ("delivery-status", ("delayed",), Kind.DELAYED),
        ("delivery-status", ("delivered",), Kind.RECEIPT),
        ("delivery-status", ("relayed",), Kind.RECEIPT),
        ("delivery-status", (), Kind.RECEIPT),
        ("disposition-notification", (), Kind.RECEIPT),
        ("feedback-report", (), Kind.AUTOMATIC),
    ],
)
def test_a_report_is_what_its_actions_say(report: str, actions: tuple[str, ...], kind: Kind) -> None:
    deliveries = tuple(Delivery("l.teal@school.example", action, "5.1.1") for action in actions)
    assert kind_of(mail("ok", report=report, deliveries=deliveries)) is kind
