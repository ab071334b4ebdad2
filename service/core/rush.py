"""What a rate of sending means for a morning: how long the last of what falls due together has to wait."""

from collections import Counter, deque
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True)
class Rush:
    """The longest wait: for how long, of a message that was due when, and how many were due at that instant."""

    wait: timedelta
    due: datetime
    messages: int


def rush(dues: Iterable[datetime], count: int, span: timedelta) -> Rush | None:
    """The longest wait of messages due at `dues`, first come first served, where at most `count` may leave in any
    `span` (positive); None where there is no message.
    """
    due_at = Counter(dues)
    left: deque[datetime] = deque(maxlen=count)
    longest = None
    for due in sorted(due_at):
        for _ in range(due_at[due]):
            left.append(due if len(left) < count else max(due, left[0] + span))
        if longest is None or left[-1] - due > longest.wait:
            longest = Rush(left[-1] - due, due, due_at[due])
    return longest
