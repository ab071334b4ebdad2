"""What a transaction has read ahead: the rows of many questions in one statement, found again when each is asked.

Whoever does one thing after the other asks for rows one by one; whoever does many such things in one transaction reads
ahead what they will ask for. What is found here are the session's own objects, so a change to one shows at once; what
adds rows, or moves them from one answer to another, forgets the answers that it changes.
"""

from collections.abc import Mapping
from typing import Any, Generic, TypeVar

from sqlmodel import Session

Answer = TypeVar("Answer")

AHEAD = "read ahead"


class Question(Generic[Answer]):
    """A question that is asked by a key, and in each transaction the answers that were read ahead."""

    def known(self, tx: Session, key: object) -> Answer | None:
        """The answer, where it was read ahead."""
        return self._answers(tx).get(key)

    def tell(self, tx: Session, answers: Mapping[Any, Answer]) -> None:
        """Keep answers that were read ahead."""
        self._answers(tx).update(answers)

    def forget(self, tx: Session, key: object) -> None:
        """An answer is not the same any more."""
        self._answers(tx).pop(key, None)

    def _answers(self, tx: Session) -> dict[object, Answer]:
        held: dict[Question[Answer], dict[object, Answer]] = tx.info.setdefault(AHEAD, {})
        return held.setdefault(self, {})


def forget_all(tx: Session) -> None:
    """Anything may have changed: ask the database again."""
    tx.info.pop(AHEAD, None)


def look_again(tx: Session) -> None:
    """The same, and every row that the session holds is read afresh when it is next looked at."""
    forget_all(tx)
    tx.expire_all()
