"""The written form of a reading, as `read-reply` prints it."""

from service.core.reading import Outcome, Reading


def as_json(reading: Reading, reply_id: str) -> dict[str, object]:
    """`reading` as plain values for JSON; sounds are listed only with a `SOUND` fault, silences that
    were answered and sounds that were only noticed where there are any.
    """
    return {
        "id": reply_id,
        "outcomes": {str(number): _outcome(outcome) for number, outcome in sorted(reading.outcomes.items())},
        "command": reading.command.value if reading.command else None,
        "minutes": reading.minutes,
        "ask": reading.ask,
        "emergency": reading.emergency,
    }


def _outcome(outcome: Outcome) -> dict[str, object]:
    form: dict[str, object] = {
        "result": outcome.result.value,
        "faults": [{"code": f.code, "side": f.side.value if f.side else None} for f in outcome.faults],
    }
    if any(fault.code == "SOUND" for fault in outcome.faults):
        form["missed_sounds"] = list(outcome.missed_sounds)
    if outcome.listened and outcome.listened.false:
        form["silences_answered"] = outcome.listened.false
    noticed = [sound for heard in outcome.listened.sides for sound in heard.noticed] if outcome.listened else []
    if noticed:
        form["noticed_sounds"] = list(dict.fromkeys(noticed))
    return form
