"""Serves the app again and again, each time in a process of its own that may be killed: python -m ... URL PORT

For each line on standard input a server is forked off and its process id printed. Forking spares loading Python anew.
"""

import os
import sys

import uvicorn
from fastapi import FastAPI

from app.main import create_app
from app.settings import Settings


def serve(app: FastAPI, port: int) -> None:
    uvicorn.run(app, host="127.0.0.1", port=port, log_level="critical", access_log=False)


def main() -> None:
    url, port = sys.argv[1], int(sys.argv[2])
    app = create_app(Settings(database_url=url))  # it opens its first connection when the first request comes
    for _ in sys.stdin:
        child = os.fork()
        if not child:
            sys.stdin.close()
            serve(app, port)
            os._exit(0)
        print(child, flush=True)
        os.waitpid(child, 0)


if __name__ == "__main__":
    main()
