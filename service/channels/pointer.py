"""JSON Pointer (RFC 6901): where in a document a value stands."""


def follow(document: object, pointer: str) -> object | None:
    """The value at `pointer`, or None where there is none; a JSON null counts as none."""
    if pointer == "":
        return document
    if not pointer.startswith("/"):
        return None
    here: object | None = document
    for step in pointer[1:].split("/"):
        here = _into(here, step.replace("~1", "/").replace("~0", "~"))
    return here


def _into(value: object | None, step: str) -> object | None:
    if isinstance(value, dict):
        return value.get(step)
    if isinstance(value, list) and step.isascii() and step.isdigit() and (step == "0" or step[0] != "0"):
        return value[int(step)] if len(step) < 10 and int(step) < len(value) else None
    return None
