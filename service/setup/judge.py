"""The checks that need more than one value: names that must exist, days that must fit, people who can be reached."""

from service.setup.docs import Documents
from service.setup.kinds import Reading


def judge(documents: Documents, to: Reading) -> None:
    """Note in `to` everything that is wrong between the documents."""
