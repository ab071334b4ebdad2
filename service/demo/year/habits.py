"""How devices, children and adults of the invented year are, as numbers.

All are invented and chosen so that a year shows something of everything; none is a finding about real schools.
"""

from collections.abc import Mapping

CHILD_AWAY = 0.014
"""An absence begins on a school day, of a child that is there."""

ADULT_AWAY = 0.018
"""The same of a member of staff."""

ANNOUNCED = 0.85
"""So many absences of staff are known in the morning; of the others nobody knows."""

SPELLS: Mapping[int, float] = {1: 55, 2: 25, 3: 15, 4: 5}
"""School days that an absence lasts, with how often."""

WINTER: Mapping[int, float] = {11: 1.3, 12: 1.6, 1: 1.8, 2: 1.6, 3: 1.2, 5: 0.7, 8: 0.6, 9: 0.8}
"""How many times as many fall ill in a month."""

FAULTS: Mapping[str, Mapping[str, float]] = {
    "cochlear-implant": {"BAT": 0.020, "CABLE": 0.010, "COIL": 0.002, "HOME": 0.002, "REFUSED": 0.003},
    "hearing-aid": {"BAT": 0.016, "MOULD": 0.005, "WHISTLE": 0.003, "HOME": 0.003, "REFUSED": 0.002},
}
"""The chance that a child arrives with a fault, by the kind of device."""

WEAR: Mapping[str, Mapping[int, float]] = {
    "REFUSED": {8: 2.0, 9: 1.5, 1: 1.4, 5: 1.5},
    "HOME": {8: 2.0, 9: 1.3, 1: 1.8, 3: 1.4},
    "MOULD": {9: 1.4, 11: 1.3, 12: 1.3},
}
"""How many times as often a month brings what is about wearing: after holidays, in the heat, in the growing weeks."""

MISSED = 0.006
"""A sound missed on one side by a child that usually hears it."""

NEW_WITHIN_THE_HOUR = 0.001
"""A device that worked at the bell and has a fault at the visit."""

SEEN = 0.97
"""A fault that is there is seen by who looks."""

FIXED: Mapping[str, float] = {"BAT": 0.93, "CABLE": 0.6, "MOULD": 0.6, "WHISTLE": 0.7, "COIL": 0.0}
"""Put right on the spot by the first remedy; what is not named is not."""

MENDED_OVER_NIGHT = 0.7
"""A fault that was left standing is gone by the next school morning."""

ANSWERS: Mapping[str, float] = {"checker": 0.975, "visiting": 0.985, "second": 0.85, "office": 0.7}
"""How often somebody answers in their own turn, by what they are to the check."""

MINUTES: Mapping[str, tuple[int, ...]] = {
    "checker": (2, 2, 4),
    "visiting": (5,),
    "second": (2,),
    "office": (4,),
}
"""After how many minutes they answer."""
