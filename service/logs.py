"""The log on standard error: lines for people, or one JSON object a line for programs.

It holds ids, kinds of failures and their places in the code; never words, aliases, names, addresses or tokens.
"""

import json
import logging
from datetime import UTC, datetime

from service.engine.trouble import place_of

TEXT = "%(asctime)s %(levelname)s %(name)s %(message)s"


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
            "message": record.getMessage(),
            "instance": self._instance,
        }
        if record.exc_info and record.exc_info[1] is not None:
            line["failure"] = place_of(record.exc_info[1])
        return json.dumps(line)


def set_up(kind: str, level: str, instance: str) -> None:
    """Write what is logged from now on, by whatever library, as `json` or `text`, from `level` on."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines(instance) if kind == "json" else logging.Formatter(TEXT))
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    for chatty in ("alembic", "uvicorn"):
        logging.getLogger(chatty).setLevel(logging.WARNING)
    # It warns whenever a look falls due while a long pass runs, which costs nothing.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
