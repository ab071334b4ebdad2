"""What the record says was sent against what really arrived: the receivers know nothing of the record."""

from collections.abc import Sequence
from typing import Any

from service.demo.pockets import Pockets

Line = dict[str, Any]


def unlike(lines: Sequence[Line], pockets: Pockets) -> list[str]:
    """Every difference, in plain words; nothing where the two agree."""
    sent = {
        (line["to"], line["id"]): line["n"]
        for line in lines
        if line["kind"] == "message" and line["outcome"] == "accepted"
    }
    notes = {(p, note.id): note for p in pockets.people() for note in pockets.of(p) if not note.mine}
    found = [f"refused by a receiver: {reason}" for reason in pockets.refused]
    found += [
        f"line {n}: recorded as sent to {person}, and never arrived"
        for (person, id), n in sent.items()
        if (person, id) not in notes
    ]
    found += [
        f"{person} got {id}, and the record does not say so" for person, id in sorted(notes.keys() - sent)
    ]
    found += [
        f"{person} got {id} {note.copies} times"
        for (person, id), note in sorted(notes.items())
        if note.copies > 1
    ]
    return found
