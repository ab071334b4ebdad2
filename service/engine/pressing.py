"""Presses on pages: stored in one commit with whatever else comes in just then, and applied many in a transaction."""

from service.engine import commands
from service.engine.answering import Heard
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.inward import Inward
from service.engine.together import Together


class Pressing:
    """Stores what was pressed through `door`, then applies it, from any thread; `commands.press` takes it as `through`.

    Where applying several fails, each is tried by itself and fails alone; it is stored by then, and the engine's next
    pass comes to it. One that has to wait for another instance, or for its own sender's other press, keeps nobody else.
    """

    def __init__(self, desk: Desk, door: Inward) -> None:
        self._desk, self._door = desk, door
        self._applied = Together[str, Heard | None](lambda ids: commands.hear_together(desk, ids))

    def __call__(self, received: Received) -> Heard:
        """What came of the press, once all of it is committed."""
        stored = self._door.store(received)
        if not stored.new:
            return Heard()
        heard = self._applied.ask(stored.id).result()
        return commands.hear(self._desk, stored.id) if heard is None else heard
