"""`python -m tests.year`: what the program finds in a demo year, and in clean ones beyond its stated rate.

    python -m tests.year --planted 20 --clean 100     counted without the engine (`counted`), some seconds a year
    python -m tests.year --lived FOLDER               a year that `bellcheck demo-year --out FOLDER` has lived

Says of each planted trouble after how many school days it was found, and of clean years how often each kind was found
though nothing was planted. Exits with 1 where a trouble was not found within its time in half of the planted years (or
in the lived one), or a kind was found in clean years oftener than its stated rate allows (one chance in a hundred).
"""

import json
import sys
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from statistics import median

from service.core.distributions import poisson_quantile
from service.core.listening.design import BUDGET as SLIPS_BUDGET
from service.core.patterns.looks import BUDGET, Finding, Kind
from service.demo.year.folder import PLANTED as WRITTEN
from service.demo.year.nature import Nature
from service.demo.year.troubles import (
    AIDE_LEFT,
    BAD_CELLS,
    NEVER_ANSWERS,
    NOT_LOOKING,
    PLANTED,
    SLIPS,
    WEAK_CABLE,
    Trouble,
    dated,
)
from service.engine import patterns
from service.settings import read_settings
from service.wiring import open_desk
from tests.year.counted import Year

AUTUMN = 2025
SEEN_AS = {
    SLIPS: Kind.SOUND,
    AIDE_LEFT: Kind.PASSED_ON,
    BAD_CELLS: Kind.CELLS,
    WEAK_CABLE: Kind.TYPE,
    NOT_LOOKING: Kind.OTHERWISE,
    NEVER_ANSWERS: Kind.CONTACT,
}
"""As what the program sees each trouble."""


def is_about(found: Finding, trouble: Trouble) -> bool:
    """Whether a finding is what a trouble was planted for."""
    about = found.about.partition(" ")[0]
    return found.kind is SEEN_AS[trouble.what] and trouble.subject in (about, found.at)


def days_taken(found: Iterable[Finding], trouble: Trouble, nature: Nature) -> int | None:
    """School days from a trouble's first to the look that found it; None: never."""
    seen = [one.on for one in found if is_about(one, trouble) and trouble.holds(nature.autumn, one.on)]
    begins = max(nature.year.first, dated(nature.autumn, trouble.since))
    return sum(begins <= day <= min(seen) for day in nature.days) if seen else None


def counted(nature: Nature) -> list[Finding]:
    """All that is found in a year counted without the engine."""
    year = Year(nature).live()
    return [*year.record().findings(), *year.slips()]


def lived(folder: Path) -> tuple[list[Finding], Nature]:
    """All that is found in a year that was lived, and which year it was."""
    held = json.loads((folder / WRITTEN).read_text(encoding="utf-8"))
    nature = Nature(held[0]["seed"], held[0]["autumn"])
    desk = open_desk(read_settings({"BELLCHECK_SECRETS": str(folder / "secrets")}))
    try:
        with desk.glance() as m:
            return list(patterns.findings(m, nature.year.first, nature.year.last, otherwise=True)), nature
    finally:
        desk.store.close()


def say_planted(years: list[tuple[list[Finding], Nature]]) -> bool:
    """Say of each trouble when it was found; whether each was in time in half of the years."""
    good = True
    for trouble in PLANTED:
        taken = [days_taken(found, trouble, nature) for found, nature in years]
        in_time = sum(days is not None and days <= trouble.within for days in taken)
        seen = sorted(days for days in taken if days is not None)
        middle = f"{median(seen):.0f} school days (median), {seen[-1]} at most" if seen else "-"
        print(f"{trouble.what} ({trouble.subject}): found in {len(seen)} of {len(years)} years, after {middle}; "
              f"within {trouble.within} in {in_time}")  # fmt: skip
        good = good and 2 * in_time >= len(years)
    others = [one for found, _ in years for one in found if not any(is_about(one, t) for t in PLANTED)]
    print(f"found beside what was planted: {len(others)}")
    for one in others:
        print(f"  {one}")
    return good


def say_clean(years: int) -> bool:
    """Say how often each kind is found in clean years; whether none is oftener than its stated rate allows."""
    found: Counter[Kind] = Counter()
    for seed in range(1, years + 1):
        for one in counted(Nature(seed, AUTUMN, ())):
            found[one.kind] += 1
            print(f"  clean year {seed}: {one}", flush=True)
    watched = sum(child.watched for child in Nature(1, AUTUMN, ()).children.values())
    good = True
    for kind in Kind:
        stated = SLIPS_BUDGET * watched if kind is Kind.SOUND else BUDGET
        most = poisson_quantile(0.99, stated * years)
        print(f"{kind}: found {found[kind]} times in {years} clean years; stated {stated:g} a year, so at most {most}")
        good = good and found[kind] <= most
    return good


def main(argv: list[str]) -> int:
    """Run what was asked for."""
    parser = ArgumentParser(prog="python -m tests.year", description=__doc__)
    parser.add_argument("--planted", type=int, default=0, metavar="N", help="count N planted years, seeds 1 to N")
    parser.add_argument("--clean", type=int, default=0, metavar="N", help="count N clean years, seeds 1 to N")
    parser.add_argument("--lived", type=Path, metavar="FOLDER", help="look into a lived year")
    args = parser.parse_args(argv)
    good = True
    if args.lived:
        good = say_planted([lived(args.lived)])
    if args.planted:
        natures = [Nature(seed, AUTUMN) for seed in range(1, args.planted + 1)]
        good = say_planted([(counted(nature), nature) for nature in natures]) and good
    if args.clean:
        good = say_clean(args.clean) and good
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
