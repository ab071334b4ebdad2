"""An unforeseen error as a line for the log: its kind and place, never its words, which may be somebody's."""

from pathlib import PurePath
from traceback import extract_tb

from service.store.errors import StoreError

__all__ = ["StoreError", "place_of"]

_DEEPEST = 3


def place_of(failure: BaseException) -> str:
    """Such as `KeyError at desk.py:41 in book < running.py:30 in run_due`, the innermost place first."""
    frames = extract_tb(failure.__traceback__)[-_DEEPEST:]
    places = [f"{PurePath(f.filename).name}:{f.lineno} in {f.name}" for f in reversed(frames)]
    return f"{type(failure).__name__} at " + " < ".join(places)
