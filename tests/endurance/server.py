"""Serves the app again and again on one port, each time in a process of its own that is killed: python -m ... URL

Its port is printed first. For each line on standard input a server is forked off and its process id printed, and an
empty line once it is dead. The line says at which step of a save the server prints its name and dies, 0 for none. A step is a
statement about to be sent, a commit about to be made, or a transaction that is over before its form is answered; steps
count from the moment the first form has the writers' lock. Forking spares loading Python anew, and the parent holds
the port, so that nobody else can take it meanwhile.
"""

import os
import signal
import socket
import sys

import uvicorn
from fastapi import FastAPI
from sqlalchemy import event

from app.main import create_app
from app.settings import Settings

TAKES_THE_LOCK = ("BEGIN IMMEDIATE", "SELECT pg_advisory_xact_lock")


def kill_at(app: FastAPI, last: int) -> None:
    steps: list[str] = []

    def step(name: str) -> None:
        if steps or name.startswith(TAKES_THE_LOCK):
            steps.append(name)
        if len(steps) == last:
            print(" ".join(name.split()[:3]), flush=True)
            os.kill(os.getpid(), signal.SIGKILL)

    event.listen(app.state.engine, "before_cursor_execute", lambda _c, _cursor, statement, *_rest: step(statement))
    event.listen(app.state.engine, "commit", lambda *_: step("commit"))
    event.listen(app.state.engine, "checkin", lambda *_: step("over"))


def main() -> None:
    app = create_app(Settings(database_url=sys.argv[1]))  # it opens its first connection when the first request comes
    config = uvicorn.Config(app, log_level="critical", access_log=False)
    config.load()
    with socket.create_server(("127.0.0.1", 0)) as listening:
        print(listening.getsockname()[1], flush=True)
        for line in sys.stdin:
            child = os.fork()
            if not child:
                sys.stdin.close()
                if int(line):
                    kill_at(app, int(line))
                uvicorn.Server(config).run([listening])
                os._exit(0)
            print(child, flush=True)
            os.waitpid(child, 0)
            print(flush=True)


if __name__ == "__main__":
    main()
