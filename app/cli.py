"""The command `spanbook`: serve, demo, backup."""

import sqlite3
import tempfile
import webbrowser
from datetime import datetime
from pathlib import Path
from threading import Timer
from typing import Annotated

import typer
import uvicorn
from sqlalchemy import make_url

from app.db import open_engine, sessions, upgrade
from app.main import create_app
from app.settings import Settings
from seed_demo import fill

command = typer.Typer(help="Fit records of a bowling pro shop, and the geometry behind them.", no_args_is_help=True)
Host = Annotated[str, typer.Option(help="Address to listen on; 0.0.0.0 lets the shop's network in.")]
Port = Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")]


@command.command()
def serve(host: Host = "127.0.0.1", port: Port = 8765) -> None:
    """Opens the shop's database, bringing its tables up to date, and serves it."""
    settings = Settings()
    upgrade(settings.url)
    typer.echo(f"Spanbook: http://{host}:{port}  database: {make_url(settings.url).render_as_string()}")
    uvicorn.run(create_app(settings), host=host, port=port, log_level="warning")


@command.command()
def demo(
    host: Host = "127.0.0.1",
    port: Port = 8765,
    browser: Annotated[bool, typer.Option(help="Open a browser on it.")] = True,
) -> None:
    """Serves an invented shop from a database that is thrown away at the end."""
    with tempfile.TemporaryDirectory(prefix="spanbook-demo-") as folder:
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'demo.db'}")
        upgrade(settings.url)
        engine = open_engine(settings.url)
        with sessions(engine)() as session:
            fill(session)
            session.commit()
        engine.dispose()
        typer.echo(f"Spanbook demo: http://{host}:{port}  (Ctrl-C ends it, and nothing is kept)")
        if browser:
            opener = Timer(1.0, webbrowser.open, [f"http://{'127.0.0.1' if host == '0.0.0.0' else host}:{port}"])
            opener.daemon = True
            opener.start()
        uvicorn.run(create_app(settings), host=host, port=port, log_level="warning")


@command.command()
def backup(
    folder: Annotated[Path, typer.Argument(help="Where to put the copy.")] = Path("."),
) -> None:
    """Copies the shop's SQLite database while it may be in use, and checks the copy."""
    url = make_url(Settings().url)
    if url.get_backend_name() != "sqlite" or not url.database or not Path(url.database).exists():
        typer.echo(f"There is no SQLite database at {url.render_as_string()}.", err=True)
        raise typer.Exit(1)
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / f"spanbook-{datetime.now():%Y%m%d-%H%M%S}.db"
    with sqlite3.connect(url.database) as source, sqlite3.connect(target) as copy:
        source.backup(copy)
        problems = [row[0] for row in copy.execute("PRAGMA quick_check") if row[0] != "ok"]
    if problems:
        typer.echo(f"The copy is damaged: {problems[0]}", err=True)
        raise typer.Exit(1)
    typer.echo(f"Copied and checked: {target}")


if __name__ == "__main__":
    command()
