"""Moving house: everything of one database into another, proved there, so that at most one of them is ever served from.

The other database cannot be used until all of it is there. Then the one that was moved is held, for good unless
somebody says otherwise, and only after that the other is let go: whatever breaks off in between leaves no two that
would serve, and the move can be begun again.
"""

from dataclasses import dataclass, replace

from service.engine import held
from service.engine.desk import Desk, Moment
from service.engine.proving import Verdict, prove_all
from service.store import identity, marks, moving
from service.store.base import Store, serving_lock
from service.store.errors import StoreError
from service.store.moving import Tell

__all__ = ["CannotMove", "Moved", "Tell", "move"]


class CannotMove(Exception):
    """The move cannot be begun, or was not made; the message says why and what would help."""


@dataclass(frozen=True)
class Moved:
    """What was moved: how many rows, and what proving says, of both databases alike."""

    rows: int
    verdict: Verdict


def move(desk: Desk, to: Store, by: str, tell: Tell) -> Moved:
    """Move everything to an empty database. Nobody may serve from this one; it is held afterwards.

    Raises `CannotMove`, `AlreadyServing`, `NotEmpty` and other `StoreError`: this database is as it was then.
    """
    with serving_lock(desk.store), serving_lock(to):
        _refuse(desk, to)
        moving.prepare(to, desk.clock.now())
        there_desk = replace(desk, store=to, planned={})
        # The inner transaction is committed first: the old house is shut before the new one is opened.
        with to.transaction() as tx, desk.store.transaction() as ours:
            here = Moment(desk, ours, desk.clock.now())
            there = Moment(there_desk, tx, here.now)
            moved = _moved(here, there, by, tell)
            held.move_away(here, to.place)
            instance, beats = _settle(there)
        identity.count_beside(to, instance, beats)
    return moved


def _refuse(desk: Desk, to: Store) -> None:
    desk.store.check_version()
    with desk.store.reading() as tx:
        others, found = moving.sessions_of_others(tx), held.held(tx)
    if others:
        raise CannotMove(
            f"{others} connections of a service or another command are open to {desk.store.place}. Stop every "
            "instance first; nobody may write while the data is moved."
        )
    if found is not None and found.moved_to and (found.moved_to != to.place or _is_whole(to)):
        raise CannotMove(f"{desk.store.place} is {held.say(found)}.")


def _is_whole(to: Store) -> bool:
    """Whether the move there was finished, as opposed to broken off after this database was held."""
    try:
        to.check_version()
    except StoreError:
        return False
    return True


def _moved(here: Moment, there: Moment, by: str, tell: Tell) -> Moved:
    moving.stand_still(here.tx)
    moving.be_patient(there.tx)
    marks.drop(here.tx, held.MOVED)
    here.note(held.STREAM, "moved", held.INSTANCE, [], by, to=there.desk.store.place)
    here.write_down()
    rows = moving.copy(here.tx, there.tx, tell)
    tell("proving", rows, rows)
    ours, theirs = prove_all(here), prove_all(there)
    if ours != theirs:
        raise StoreError("The record proves otherwise after it was written than before; nothing was moved.")
    return Moved(rows, theirs)


def _settle(there: Moment) -> tuple[str, int]:
    moving.finish(there.tx)
    return held.count_beat(there)
