"""Runs the server without uvicorn's access log, which would show addresses, and ends streams when it stops."""

import sys
from contextlib import suppress
from types import FrameType

import uvicorn
from fastapi import FastAPI

_DID_NOT_START = 3  # as the command of uvicorn says it


class Server(uvicorn.Server):
    """uvicorn waits for open responses before it stops, and a stream is open as long as a screen shows a board."""

    def __init__(self, config: uvicorn.Config, app: FastAPI) -> None:
        super().__init__(config)
        self.served = app

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self.served.state.board.close()
        super().handle_exit(sig, frame)

    def stop(self) -> None:
        """What a signal does, for a server in a thread."""
        self.served.state.board.close()
        self.should_exit = True


def make_server(app: FastAPI, host: str, port: int) -> Server:
    """A server on this address."""
    config = uvicorn.Config(
        app,
        host=host,
        port=port,
        log_config=None,  # its records pass through our logging
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_keep_alive=75,  # longer than proxies keep an idle connection, so that no form is sent into a closed one
    )
    return Server(config, app)


def run(app: FastAPI, host: str, port: int) -> None:
    """Serves until a signal ends it."""
    server = make_server(app, host, port)
    with suppress(KeyboardInterrupt):
        server.run()
    if not server.started:
        sys.exit(_DID_NOT_START)
