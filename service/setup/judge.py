"""The checks that need more than one value: names that must exist, days that must fit, people to be reached.

A value that could not be read is left out of the documents and has been reported; what is checked here passes
over what is absent, so that one slip gives one problem.
"""

from service.core.devices import catalogue
from service.core.zones import version
from service.setup.docs import Documents, section
from service.setup.judge_chains import judge_chains, judge_choices
from service.setup.judge_channels import judge_channels
from service.setup.judge_people import judge_people
from service.setup.judge_schools import judge_school
from service.setup.judge_students import judge_students
from service.setup.judge_supplies import judge_supplies
from service.setup.kinds import Reading
from service.setup.problems import nearest

OLDEST_ZONES = "2026f"
"""The first zone data that knows that British Columbia, Alberta and Manitoba stopped changing their clocks
(IANA tz database, NEWS, releases of 2026)."""


def judge(documents: Documents, to: Reading) -> None:
    """Note in `to` everything that is wrong between the documents."""
    _judge_whole(documents, to)
    judge_zone_data(version(), to)
    judge_channels(documents, to)
    judge_people(documents, to)
    for id, school in section(documents, "schools").items():
        judge_school(id, school, to)
    judge_students(documents, to)
    judge_choices(documents, to)
    judge_chains(documents, to)
    _judge_faults(documents, to)
    judge_supplies(documents, to)


def judge_zone_data(edition: str, to: Reading) -> None:
    """Note zone data that is too old for the schools of today."""
    if edition < OLDEST_ZONES:
        to.at(
            ("schools",),
            f"the time-zone data is of edition {edition}, and some schools' clocks have changed since",
            f"install the package tzdata of {OLDEST_ZONES} or later",
        )


def _judge_whole(documents: Documents, to: Reading) -> None:
    if not documents.get("district"):
        to.at((), "there is no district section", "add district: with its name and its emergency number")
    if not documents.get("schools"):
        to.at(("schools",), "there is no school", "add schools: with at least one school")


def _judge_faults(documents: Documents, to: Reading) -> None:
    shipped = catalogue()
    said: dict[str, str] = {}
    for code, fault in section(documents, "faults").items():
        lacking = [key for key in ("label", "severity", "devices") if not fault.has(key)]
        if code not in shipped and lacking:
            near = nearest(code, shipped)
            meant = f"did you mean {near}? " if near else ""
            right = f"{meant}a code of your own needs {', '.join(lacking)} as well"
            to.at(("faults", code), f"{code} is no fault code that comes with the service", right)
        for word in fault.texts("words"):
            other = said.setdefault(word.casefold(), code)
            if other != code:
                to.at(
                    ("faults", code, "words"), f"{word!r} already means {other}", "give each word to one code"
                )
