"""A line of the log: what it holds, and what somebody typed never in it."""

import json
import logging
import sys
from datetime import datetime

from app import logs


def line(name: str, level: int, message: str, *args: object, **extra: object) -> dict[str, object]:
    """What is written of a record made while an exception may be in hand."""
    error = sys.exc_info() if sys.exc_info()[0] else None
    record = logging.getLogger(name).makeRecord(name, level, "f", 1, message, args, error, extra=extra)
    read: dict[str, object] = json.loads(logs.Lines().format(record))
    return read


def test_a_record_is_a_line_with_time_place_level_and_its_fields() -> None:
    read = line("spanbook.requests", logging.INFO, "request", id="ab12", status=200, ms=1.5)
    at = datetime.fromisoformat(str(read.pop("at")))
    assert at.utcoffset() is not None
    assert read == {
        "log": "spanbook.requests", "level": "info", "said": "request", "id": "ab12", "status": 200, "ms": 1.5
    }  # fmt: skip


def test_records_of_libraries_pass_the_same_chain() -> None:
    read = line("uvicorn.error", logging.WARNING, "Invalid request from port %d", 4711, color_message="x")
    assert read.pop("at")
    assert read == {"log": "uvicorn.error", "level": "warning", "said": "Invalid request from port 4711"}


def test_a_field_nobody_listed_and_the_text_of_an_exception_are_left_out() -> None:
    try:
        raise ValueError("PIN 7391")
    except ValueError:
        read = line("uvicorn.error", logging.ERROR, "Exception in the app", body="pin=7391", token="7391")
    assert "7391" not in json.dumps(read)
    assert isinstance(read["exception"], dict)
    assert read["exception"]["broken"] == "ValueError"
    assert "test_logs.py" in read["exception"]["places"][0]


def test_only_the_root_gets_a_handler_and_only_meanwhile() -> None:
    before = list(logging.getLogger().handlers)
    with logs.open_log():
        added = [h for h in logging.getLogger().handlers if h not in before]
        assert [type(h.formatter) for h in added] == [logs.Lines]
        assert logging.getLogger("alembic.runtime.migration").propagate
    assert logging.getLogger().handlers == before
