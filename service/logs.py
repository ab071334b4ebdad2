"""The log on standard error: lines for people, or one JSON object a line for programs.

It holds ids, kinds of failures and their places in the code; never words, aliases, names, addresses or tokens.
"""

import json
import logging
import sys
import threading
from datetime import UTC, datetime

from service.engine.trouble import place_of

TEXT = "%(asctime)s %(levelname)s %(name)s %(message)s"


class TextLines(logging.Formatter):
    """One line for people. Of an error only its kind and place: its words may be somebody's."""

    def __init__(self) -> None:
        super().__init__(TEXT)

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        failed = failure_of(record)
        record.message = " ".join(message_of(record).splitlines()) + (f": {failed}" if failed else "")
        record.asctime = self.formatTime(record)
        return self.formatMessage(record)


class JsonLines(logging.Formatter):
    """One object a line: instant (UTC), level, logger, message and the instance that speaks."""

    def __init__(self, instance: str) -> None:
        super().__init__()
        self._instance = instance

    def format(self, record: logging.LogRecord) -> str:
        """The line. Of an error only its kind and place: its words may be somebody's."""
        line = {
            "instant": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": message_of(record),
            "instance": self._instance,
        }
        failed = failure_of(record)
        return json.dumps({**line, "failure": failed} if failed else line)


def message_of(record: logging.LogRecord) -> str:
    """What is said. Of the event loop only its first line: below it the words of an error would follow."""
    said = record.getMessage()
    return said.partition("\n")[0] if record.name == "asyncio" else said


def failure_of(record: logging.LogRecord) -> str:
    """Kind and place of the error that is logged, if there is one."""
    failed = record.exc_info[1] if record.exc_info else None
    return place_of(failed) if failed is not None else ""


def _ended(failure: BaseException | None) -> None:
    """What nobody caught: told like everything else, not as a traceback with somebody's words."""
    logging.getLogger(__name__).critical("a thread or the process ended by a failure", exc_info=failure)


def set_up(kind: str, level: str, instance: str) -> None:
    """Write what is logged from now on, by whatever library, as `json` or `text`, from `level` on."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines(instance) if kind == "json" else TextLines())
    sys.excepthook = lambda _, failure, __: _ended(failure)
    threading.excepthook = lambda ended: _ended(ended.exc_value)
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    for chatty in ("alembic", "uvicorn"):
        logging.getLogger(chatty).setLevel(logging.WARNING)
    # It warns whenever a look falls due while a long pass runs, which costs nothing.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
