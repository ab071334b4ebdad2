"""The measures in words: what each counts, of how many, and how to read it."""

from dataclasses import dataclass

from service.core.measures.figures import LIMITS, Figure, Limits, Measure
from service.core.measures.interval import Estimate
from service.languages import FALLBACK, N_, gettext, phrase, spoken


@dataclass(frozen=True)
class Words:
    """A measure's name, what it is taken of, and how to read it."""

    name: str
    of: str
    reading: str


WORDS: dict[Measure, Words] = {
    Measure.DONE: Words(
        N_("Checks done"),
        N_("checks expected: planned, less children away and days called off"),
        N_("Somebody looked and said what they found."),
    ),
    Measure.UNANSWERED: Words(
        N_("Checks without an answer"),
        N_("checks expected: planned, less children away and days called off"),
        N_("We asked and nothing came before the day's last bell. A check we could ask nobody about is none of these."),
    ),
    Measure.WORKING_ON_ARRIVAL: Words(
        N_("Working when checked"),
        N_("checks done"),
        N_("Nothing had to be put right. A check nobody did is neither working nor faulty."),
    ),
    Measure.FAULT_FOUND: Words(
        N_("Something wrong when checked"),
        N_("checks done"),
        N_("Put right on the spot or not."),
    ),
    Measure.FIXED_IN_CLASS: Words(
        N_("Put right in class"),
        N_("checks at which something was wrong"),
        N_("By whoever found it, on the same day."),
    ),
    Measure.CHILDREN_WITH_FAULT: Words(
        N_("Students with something wrong at least once"),
        N_("students checked at least once"),
        N_("The longer the time and the more checks, the more students it will be: compare only like with like."),
    ),
    Measure.FAULTS: Words(
        N_("Days with something wrong, in 100 device-days"),
        N_("device-days: devices looked at, each once a day"),
        N_("A student's day counts once, whatever was wrong. Faults in bursts make the limits too narrow."),
    ),
    Measure.TO_ANSWER: Words(
        N_("Minutes from question to answer"),
        N_("checks asked about"),
        N_("Half were answered within this time."),
    ),
    Measure.TO_TOLD: Words(
        N_("Minutes from report to the next person being told"),
        N_("faults that set off a chain"),
        N_("Half were known to somebody who could help within this time."),
    ),
    Measure.TO_WORKING: Words(
        N_("School minutes from report to working"),
        N_("faults that set off a chain"),
        N_("Half worked again within this time, counted between bells."),
    ),
}

HOW: dict[Limits, str] = {
    Limits.EACH_ONCE: N_("Limits after Wilson; each student counts once."),
    Limits.BY_CHILD: N_("Limits by student: the days of one student are alike and count for less."),
    Limits.COUNT: N_("Limits after Garwood."),
    Limits.MEDIAN: N_(
        "What is still open counts as longer than so far. Limits after Brookmeyer and Crowley, as if each time were of "
        "another student: a little too narrow."
    ),
}


def value(figure: Figure) -> str:
    """A figure with its limits: "15 of 17: 88 % (62 to 97)"."""
    if figure.estimate.value is None:
        return _nothing(figure)
    count, of = figure.count, figure.of
    if figure.limits is Limits.MEDIAN:
        within = {"half": _whole(figure.estimate.value), "limits": _limits(figure.estimate, 1, 0)}
        return phrase("%(count)s of %(of)s ended; half within %(half)s min %(limits)s", count=count, of=of, **within)
    if figure.limits is Limits.COUNT:
        rate = {"rate": _number(figure.estimate.value, 1), "limits": _limits(figure.estimate, 1, 1)}
        return phrase("%(count)s in %(of)s device-days: %(rate)s in 100 %(limits)s", count=count, of=of, **rate)
    return share(count, of, figure.estimate)


def share(count: int, of: int, estimate: Estimate) -> str:
    """A share with its limits; of none nothing can be said."""
    if estimate.value is None:
        return phrase("none of none: nothing can be said")
    within = _limits(estimate, 100, 0) or phrase("(no limits: one student)")
    return phrase(
        "%(count)s of %(of)s: %(share)s %% %(limits)s",
        count=count, of=of, share=_whole(100 * estimate.value), limits=within,
    )  # fmt: skip


def _nothing(figure: Figure) -> str:
    if figure.of == 0:
        return phrase("none of none: nothing can be said")
    return phrase("%(count)s of %(of)s ended; fewer than half", count=figure.count, of=figure.of)


def _limits(estimate: Estimate, times: float, digits: int) -> str:
    low, high = estimate.low, estimate.high
    if low is None:
        return ""
    if high is None:
        return phrase("(%(low)s or more)", low=_number(low * times, digits))
    return phrase("(%(low)s to %(high)s)", low=_number(low * times, digits), high=_number(high * times, digits))


def _whole(number: float) -> str:
    return _number(number, 0)


def _number(number: float, digits: int) -> str:
    """A number as the language spoken writes it."""
    if spoken() == FALLBACK or digits == 0:
        return f"{number:.{digits}f}"
    from babel.numbers import format_decimal  # noqa: PLC0415 - only who speaks another language waits for it

    return format_decimal(number, format=f"0.{'0' * digits}", locale=spoken())


def explained(measure: Measure) -> tuple[str, str, str]:
    """A measure's name, what its denominator is, and how to read figure and limits, in the language spoken."""
    words = WORDS[measure]
    return gettext(words.name), gettext(words.of), f"{gettext(words.reading)} {gettext(HOW[LIMITS[measure]])}"
