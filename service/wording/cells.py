"""Tables as CSV that a spreadsheet opens safely."""

import csv
import io
from collections.abc import Iterable, Sequence

UNSAFE = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
"""What a spreadsheet could take for a formula at the beginning of a cell (OWASP, "CSV Injection"; from memory)."""


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A header and rows; a cell that could be taken for a formula has an apostrophe before it."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([f"'{cell}" if cell.startswith(UNSAFE) else cell for cell in row])
    return text.getvalue()
