"""Runs one of the commands again and again, each time in a process of its own that ends at a chosen step.

Each line on standard input is JSON: `do` (the command's words), `env`, and `at`, the step at which the process is
killed, or `room`, how many bytes any file may grow to. A step is a file opened to be written, renamed, linked or
removed, or a statement sent to the database; without `at` none is its end, and all of them are answered. With `empty` a new
SQLite file is a copy of that, a migrated database: else most steps of a rehearsal would be those of its migrations.
"""

import json
import os
import resource
import signal
import sys
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from functools import partial
from io import StringIO
from typing import Any

from sqlalchemy import Engine, event

from app.cli import command
from app.db import alembic_config
from app.services import rebuilds
from tests.migrated import upgrade_or_copy

FILES = {"os.rename", "os.remove", "os.link"}


def run(asked: dict[str, Any], answer: int) -> None:
    steps: list[str] = []

    def step(name: str) -> None:
        steps.append(name)
        if len(steps) == asked.get("at"):
            os.kill(os.getpid(), signal.SIGKILL)

    def audited(name: str, arguments: tuple[Any, ...]) -> None:
        writes = name == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        if name in FILES or name == "sqlite3.connect" or writes:
            step(name)

    os.environ.update(asked["env"])
    tempfile.tempdir = None
    said, status = StringIO(), 0
    if asked["empty"]:
        setattr(rebuilds, "upgrade", partial(upgrade_or_copy, lambda _step: asked["empty"]))  # noqa: B010
    sys.addaudithook(audited)
    event.listen(Engine, "before_cursor_execute", lambda *_: step("statement"))
    event.listen(Engine, "commit", lambda *_: step("commit"))
    if "room" in asked:
        resource.setrlimit(resource.RLIMIT_FSIZE, (asked["room"], asked["room"]))
    try:
        with redirect_stdout(said), redirect_stderr(said):
            command(asked["do"])
    except SystemExit as ended:
        status = int(ended.code or 0)
    told = json.dumps({"status": status, "said": said.getvalue(), "steps": steps})
    os.write(answer, told.encode())
    os._exit(0)


def main() -> None:
    alembic_config("sqlite://")  # loaded once, for all
    for line in sys.stdin:
        reading, writing = os.pipe()
        child = os.fork()
        if not child:
            os.close(reading)
            run(json.loads(line), writing)
        os.close(writing)
        with os.fdopen(reading, "rb") as told:
            body = told.read()
        os.waitpid(child, 0)
        print(body.decode() or json.dumps({"killed": True}), flush=True)


if __name__ == "__main__":
    main()
