"""Does for many at once what many ask for at the same time, so that they share one transaction and one commit."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from threading import Lock, Thread
from typing import Generic, TypeVar

from service.engine.desk import NotSetUp
from service.store.errors import StoreError

Asked = TypeVar("Asked")
Given = TypeVar("Given")
Start = Callable[[Callable[[], None]], object]

AT_MOST = 100
"""How many are done together: enough to share a commit, few enough that nobody waits long for the others."""


def in_thread_of_its_own(run: Callable[[], None]) -> None:
    """Run what is waiting now in a thread that ends with it."""
    Thread(target=run, name="together", daemon=True).start()


@dataclass(frozen=True)
class _Waiting(Generic[Asked, Given]):
    asked: Asked
    answer: "Future[Given]"


class Together(Generic[Asked, Given]):
    """Hands `work` everything that was asked for while it was busy, in the order asked; one call at a time.

    `work` gives one answer for each, in the same order, once what it did is committed. Where it fails for several,
    each is tried by itself, unless the database or the configuration is what fails. `start` runs a function in
    another thread. Anybody may ask, from any thread and any loop.
    """

    def __init__(
        self,
        work: Callable[[Sequence[Asked]], Sequence[Given]],
        start: Start = in_thread_of_its_own,
        at_most: int = AT_MOST,
    ) -> None:
        self._work, self._start, self._at_most = work, start, at_most
        self._lock = Lock()
        self._waiting: list[_Waiting[Asked, Given]] = []
        self._busy = False

    def ask(self, asked: Asked) -> "Future[Given]":
        """The answer as it will be, or the exception that `work` failed with."""
        waiting = _Waiting[Asked, Given](asked, Future())
        with self._lock:
            self._waiting.append(waiting)
            idle, self._busy = not self._busy, True
        if idle:
            self._start(self._run)
        return waiting.answer

    def _run(self) -> None:
        while batch := self._next():
            # Who has gone away meanwhile is passed over; who is still there cannot go any more.
            there = [waiting for waiting in batch if waiting.answer.set_running_or_notify_cancel()]
            if there:
                self._do(there)

    def _next(self) -> Sequence[_Waiting[Asked, Given]]:
        with self._lock:
            batch, self._waiting = self._waiting[: self._at_most], self._waiting[self._at_most :]
            self._busy = bool(batch)
            return batch

    def _do(self, batch: Sequence[_Waiting[Asked, Given]]) -> None:
        try:
            answers = self._work([waiting.asked for waiting in batch])
        except Exception as failure:
            if len(batch) > 1 and not isinstance(failure, (StoreError, NotSetUp)):
                for waiting in batch:
                    self._do([waiting])
                return
            for waiting in batch:
                waiting.answer.set_exception(failure)
            return
        for waiting, answer in zip(batch, answers, strict=True):
            waiting.answer.set_result(answer)
