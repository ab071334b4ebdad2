"""The road of a fault, from its report until the device works again: where it is, who holds it, what comes next.

A fault is one code on one device of one student. It is nothing but its steps, in the order in which they happened;
where it stands is folded from those that were not taken back, so that an undo is a step less. Each module is one
question: `stand` where it is, `joining` whether a report is of a fault that is open, or comes again too soon,
`dates` when a promise has passed, `asking` what the morning asks of it, `access` what the child had meanwhile,
`loaners` who may have which.
"""

from service.core.road.stand import OutOfPlace, Stand, follow, may, stand, take_back
from service.core.road.values import CLOSED, Access, Fault, Stage, Step, What

__all__ = [
    "CLOSED", "Access", "Fault", "OutOfPlace", "Stage", "Stand", "Step", "What", "follow", "may", "stand", "take_back",
]  # fmt: skip
