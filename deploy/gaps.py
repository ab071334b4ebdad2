"""Lists, from a test report, what could not be tested on this machine and why.

Exit code 1 where BELLCHECK_ALL=1 and something of the machine was missing (PostgreSQL, a browser, a mail server);
2 without a report. Data that lies beside the repository (BELLCHECK_SHARED) is named but is never a failure.
"""

import os
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree

BESIDE = "BELLCHECK_SHARED"


def gaps(report: Path) -> Counter[str]:
    """Reason to number of tests that were skipped for it."""
    tree = ElementTree.parse(report)  # noqa: S314 - written by our own test run a moment ago
    return Counter(str(skipped.get("message")) for skipped in tree.iter("skipped"))


def main(reports: Sequence[Path]) -> int:
    """Print the gaps of all reports and judge them."""
    found: Counter[str] = Counter()
    try:
        for report in reports:
            found += gaps(report)
    except (OSError, ElementTree.ParseError):
        sys.stdout.write("No test report was written.\n")
        return 2
    for reason, count in sorted(found.items()):
        sys.stdout.write(f"could not be tested here ({count}): {reason}\n")
    if not found:
        sys.stdout.write("Nothing was left out.\n")
    missing = [reason for reason in found if BESIDE not in reason]
    return 1 if missing and os.environ.get("BELLCHECK_ALL") == "1" else 0


if __name__ == "__main__":
    sys.exit(main([Path(name) for name in sys.argv[1:]]))
