"""The log of the server: one JSON line on standard error for each record, of the app and of its libraries alike.

Every record passes one chain of structlog's processors. Fields that are not listed here never reach a line, nor does
the text of an exception, which may quote what somebody typed.
"""

import logging
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from structlog.typing import EventDict

FIELDS = ("id", "method", "route", "status", "ms", "query", "backup", "why", "words", "database", "broken", "places")


def _add_name(_logger: object, _method: str, line: "EventDict") -> "EventDict":
    line["log"] = line["_record"].name
    return line


def describe_place(error: BaseException) -> dict[str, object]:
    """The kind of an exception and the last places in the code that it passed, without its text."""
    places = [f"{frame.filename}:{frame.lineno}" for frame in traceback.extract_tb(error.__traceback__)[-6:]]
    return {"broken": type(error).__name__, "places": places}


@cache
def _build_chain() -> logging.Formatter:
    from structlog import stdlib  # noqa: PLC0415 - takes a tenth of the time to start
    from structlog.processors import (  # noqa: PLC0415
        EventRenamer,
        ExceptionRenderer,
        JSONRenderer,
        TimeStamper,
    )

    return stdlib.ProcessorFormatter(
        foreign_pre_chain=[
            TimeStamper(fmt="iso", key="at"),
            _add_name,
            stdlib.add_log_level,
            stdlib.ExtraAdder(allow=FIELDS),
            ExceptionRenderer(lambda exc_info: describe_place(exc_info[1])),
            EventRenamer("said"),
        ],
        processors=[stdlib.ProcessorFormatter.remove_processors_meta, JSONRenderer()],
    )


class Lines(logging.Formatter):
    """A record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        return _build_chain().format(record)


@contextmanager
def open_log() -> Iterator[None]:
    """Writes the records of the app from INFO up, those of its libraries from WARNING up."""
    handler = logging.StreamHandler()
    handler.setFormatter(Lines())
    logging.getLogger().addHandler(handler)
    logging.getLogger("spanbook").setLevel(logging.INFO)
    logging.getLogger("psycopg").setLevel(logging.ERROR)  # its warnings tell the address of the database
    try:
        yield
    finally:
        logging.getLogger().removeHandler(handler)
