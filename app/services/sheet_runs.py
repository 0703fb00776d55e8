"""Runs passes over sheets beside the server, each in a process of its own.

A pass computes all the time, and in a thread of the server every look-up would wait for it. Ending such a process at
any moment is safe: whoever starts the server next goes on with the pass. It is a module to run: its argument is the
number of the import and its server's process, and the database is the one of the settings.
"""

import os
import subprocess
import sys
from collections.abc import Callable

from sqlalchemy import select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session, sessionmaker

from app import queries
from app.db import READ_ONLY, open_engine, sessions
from app.models import SheetImport
from app.services import restores, sheet_passes
from app.settings import Settings

_NICENESS = 5  # the counter's pages come first
NO_ROOM = 74  # exit code of a pass that could not write; `EX_IOERR` of sysexits.h


class SheetRuns:
    """The passes that this server has started."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.processes: dict[int, list[subprocess.Popen[bytes]]] = {}

    def start(self, import_id: int) -> None:
        """Runs an import's pass. What the caller has begun is waited for.

        One that still runs from here may be about to end, with an earlier pass: two take turns, and harm nothing.
        """
        started = subprocess.Popen(
            [sys.executable, "-m", "app.services.sheet_runs", str(import_id), str(os.getpid())],
            env=os.environ | {"SPANBOOK_DATABASE_URL": self.url},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self.processes[import_id] = [p for p in self.processes.get(import_id, []) if p.poll() is None] + [started]

    def is_running(self, import_id: int) -> bool:
        return any(process.poll() is None for process in self.processes.get(import_id, []))

    def find_failure(self, import_id: int) -> str:
        """Returns in words why the last pass over an import ended before its end; empty if it did not."""
        own = self.processes.get(import_id, [])
        code = own[-1].poll() if own else None
        if code == NO_ROOM:
            return "The disk is full. Make room, then go on: what was taken in is whole."
        return "It ended with a fault, and what was taken in is whole. Go on; if it ends again, ask." if code else ""

    def wait(self, import_id: int) -> None:
        for process in self.processes.get(import_id, []):
            process.wait()

    def stop(self) -> None:
        """Ends what runs; a server that starts goes on with it."""
        for process in [process for own in self.processes.values() for process in own]:
            process.terminate()
            process.wait()

    def resume(self, made: sessionmaker[Session]) -> None:
        """Goes on with every pass that a stopped server left."""
        with made() as session:
            session.connection(execution_options=READ_ONLY)
            left = session.scalars(select(SheetImport.id).where(SheetImport.state.in_(sheet_passes.ENDS))).all()
        for import_id in left:
            self.start(import_id)


def main(import_id: int, server: int) -> int:
    """Runs an import's pass in this process, behind whoever began it and may not have committed yet.

    It ends after its chunk when its server is gone, killed perhaps: the next server goes on with the pass.
    """
    os.nice(_NICENESS)
    settings = Settings()
    with restores.hold_in_use(settings.url, print):
        engine = open_engine(settings.url)
        made = sessions(engine)
        with made() as session:
            session.connection()
        code = go_on(made, import_id, lambda: os.getppid() != server)
        engine.dispose()
    return code


def go_on(made: sessionmaker[Session], import_id: int, is_over: Callable[[], bool] = lambda: False) -> int:
    """Runs an import's pass to its end and returns 0, or the exit code of a disk without room."""
    try:
        sheet_passes.run(made, import_id, True, is_over)
    except DBAPIError as error:
        fault = queries.find_fault(error)
        if fault is None or fault.name != "full":
            raise
        return NO_ROOM
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2])))
