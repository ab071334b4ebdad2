"""The same lines as a timeline to read."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

Line = Mapping[str, Any]


def timeline(lines: Sequence[Line]) -> str:
    """One moment a paragraph: the time, then what happened in plain words."""
    out: list[str] = []
    last = ""
    for line in lines:
        for text in _words(line):
            clock = line["at"][11:19].removesuffix(":00")
            out.append(f"{clock if clock != last else '':<9}{text}")
            last = clock
    return "\n".join(out)


def _words(line: Line) -> Iterator[str]:
    write = WRITERS.get(line["kind"])
    if write is not None:
        yield from write(line)


def _round(line: Line) -> Iterator[str]:
    students = ", ".join(f"{s['number']} {s['alias']}" for s in line["students"])
    yield f"planned   {line['due'][11:16]} {line['checker']} at {line['school']}: {students}"


def _event(line: Line) -> Iterator[str]:
    kind = next(k for k in ("says", "page", "notice", "channel", "service") if k in line)
    what = line[kind]
    if kind == "says":
        yield f"SAYS      {what['person']}: “{what['text']}”"
    elif kind == "service":
        yield f"SERVICE   {what}"
    else:
        yield f"{kind.upper():<10}" + ", ".join(f"{k} {v}" for k, v in what.items())


def _reading(line: Line) -> Iterator[str]:
    parts = [f"{n} {_outcome(o)}" for n, o in line["outcomes"].items()]
    parts += [w for w in (line["command"], "to be asked" if line["ask"] else None) if w]
    yield f"  read    {'; '.join(parts) or 'nothing'}" + (" EMERGENCY" if line["emergency"] else "")


def _outcome(outcome: Mapping[str, Any]) -> str:
    faults = " ".join(f"{f['code']} {f['side'] or ''}".strip() for f in outcome["faults"])
    return f"{outcome['result']} {faults}".strip()


def _check(line: Line) -> Iterator[str]:
    faults = " ".join(f"{f['code']} {f['side'] or ''}".strip() for f in line["faults"])
    yield f"  check   {line['student']}: {line['result'] or 'open'} {faults}".rstrip()


def _chase(line: Line) -> Iterator[str]:
    ahead = f", next {line['next']['person']} at {line['next']['at'][11:16]}" if line["next"] else ""
    until = f" until {line['until'][11:16]}" if line["until"] and not line["next"] else ""
    yield f"  chase   {line['id']}: {line['state']}{until}{ahead}"


def _message(line: Line) -> Iterator[str]:
    mark = "" if line["outcome"] == "accepted" else f" ({line['outcome']})"
    first = line["text"].split("\n")[0]
    yield f"→ {line['to']:<7} {line['purpose']}{mark}: {first}"


def _withheld(line: Line) -> Iterator[str]:
    yield f"  held    {line['to']} {line['purpose']}: {line['reason']}"


def _end(line: Line) -> Iterator[str]:
    results = ", ".join(f"{n} {r}" for r, n in line["results"].items())
    yield f"end       {results or 'no checks'}; {len(line['open'])} chases open"
    for fault in line["broken"]:
        yield f"BROKEN    {fault['invariant']}: lines {', '.join(map(str, fault['lines']))}"


WRITERS: Mapping[str, Callable[[Line], Iterator[str]]] = {
    "round": _round,
    "event": _event,
    "reading": _reading,
    "check": _check,
    "chase": _chase,
    "message": _message,
    "withheld": _withheld,
    "end": _end,
}
