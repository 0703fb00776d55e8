"""The command `spanbook`: serve and demo; owner and invite; backup and restore; export and import."""

import ipaddress
import json
import logging
import sqlite3
import sys
import tempfile
import threading
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Timer
from typing import Annotated, NoReturn

import typer
import uvicorn
from sqlalchemy import Engine, make_url, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.db import READ_ONLY, open_engine, sessions, upgrade
from app.db import revision as head
from app.errors import ShopError
from app.main import create_app
from app.models import Staff
from app.pages.render import Demo
from app.queries import troubles_of
from app.schemas.identities import SetupForm
from app.services import backups, identities, lookup, portable, shops
from app.settings import Settings
from seed_demo import PIN, fill

command = typer.Typer(help="Fit records of a bowling pro shop, and the geometry behind them.", no_args_is_help=True)
Host = Annotated[str, typer.Option(help="Address to listen on; 0.0.0.0 lets the shop's network in.")]
Port = Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")]
log = logging.getLogger("spanbook")


@command.command()
def serve(
    host: Host = "127.0.0.1",
    port: Port = 8765,
    migrate: Annotated[bool, typer.Option(help="Bring the tables up to date first.")] = True,
) -> None:
    """Opens the shop's database, bringing its tables up to date, and serves it."""
    settings = Settings()
    with _told_in_words():
        if migrate:
            upgrade(settings.url)
        with _session(settings) as session:
            is_set_up = identities.is_set_up(session)
            if lookup.is_missing(session):
                lookup.rebuild(session)
                session.commit()
    if not _is_loopback(host):
        if not is_set_up:
            _stop(
                "Nobody can sign in yet, so the network is not let in. Run “spanbook owner”, or serve "
                "without --host and open it on this machine."
            )
        typer.echo("On the shop's network everything travels readable: put TLS in front (Help, “Running Spanbook”).")
    typer.echo(f"Spanbook: http://{host}:{port}  database: {make_url(settings.url).render_as_string()}")
    if settings.backup_hours:
        threading.Thread(target=_back_up_again_and_again, args=(settings,), daemon=True).start()
    _run(create_app(settings), host, port)


@command.command()
def demo(
    host: Host = "127.0.0.1",
    port: Port = 8765,
    browser: Annotated[bool, typer.Option(help="Open a browser on it.")] = True,
) -> None:
    """Serves an invented shop from a database that is thrown away at the end, on this machine only."""
    if not _is_loopback(host):
        _stop("The demo signs everybody in as its owner, so it is served on this machine only.")
    with tempfile.TemporaryDirectory(prefix="spanbook-demo-") as folder:
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'demo.db'}", backup_folder=f"{folder}/backups")
        upgrade(settings.url)
        with _session(settings) as session:
            fill(session)
            owner = shops.staff(session)[0]
            session.commit()
        typer.echo(f"Spanbook demo: http://{host}:{port}  (Ctrl-C ends it, and nothing is kept)")
        if browser:
            opener = Timer(1.0, webbrowser.open, [f"http://{host}:{port}"])
            opener.daemon = True
            opener.start()
        _run(create_app(settings, Demo(owner.id, PIN)), host, port)


@command.command()
def owner() -> None:
    """Sets up the shop and its owner from the terminal."""
    settings = Settings()
    with _told_in_words():
        upgrade(settings.url)
        with _session(settings) as session:
            known = shops.our_shop(session)
            typed = {"who": "0", "shop_name": known.name if known else typer.prompt("Name of the shop")}
            typed |= {"staff_name": typer.prompt("Your name"), "initials": typer.prompt("Your initials")}
            typed["password"] = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
            shops.set_up(session, SetupForm.read(typed))
            session.commit()
    typer.echo(f"Done. Sign in as {typed['initials'].casefold()}.")


@command.command()
def invite(sign_in_name: Annotated[str, typer.Argument(help="The name somebody signs in with.")]) -> None:
    """Makes a code with which somebody who has lost the password sets a new one, at /welcome."""
    with _told_in_words(), _session(Settings()) as session:
        found = session.scalar(select(Staff).where(Staff.sign_in_name == sign_in_name.casefold()))
        if found is None:
            _stop("Nobody signs in by that name.")
        code = identities.invite(session, None, found.id)
        session.commit()
    typer.echo(f"Within a day, once, at /welcome as {sign_in_name.casefold()}: {code}")


@command.command()
def backup(
    folder: Annotated[
        Path | None, typer.Argument(help="Where to put the copy; beside the database by default.")
    ] = None,
) -> None:
    """Copies the shop's database while it may be in use, checks the copy, and removes the oldest ones."""
    settings = Settings()
    with _told_in_words():
        target = backups.make(settings.url, folder or settings.backups, settings.backups_kept)
    typer.echo(f"Copied and checked: {target}")


@command.command()
def restore(copy: Annotated[Path, typer.Argument(help="A copy that “spanbook backup” made.", exists=True)]) -> None:
    """Puts a copy in the database's place; stop the server first. The present file is kept aside."""
    with _told_in_words():
        aside = backups.restore(Settings().url, copy)
    typer.echo("Restored and checked." + (f" What was there before is kept as {aside}." if aside else ""))


@command.command(name="index")
def index_anew() -> None:
    """Makes the index anew by which bowlers are found; needed only after changes made by other programs."""
    with _told_in_words(), _session(Settings()) as session:
        count = lookup.rebuild(session)
        session.commit()
    typer.echo(f"{count} bowlers are found by their words again.")


@command.command(name="export")
def export_lines(file: Annotated[Path, typer.Argument(help="The file to write; - is the terminal.")]) -> None:
    """Writes everything as JSON lines, the same bytes from SQLite and PostgreSQL."""
    with _told_in_words(), _engine(Settings()) as engine, engine.connect() as connection:
        connection.execution_options(**READ_ONLY)
        lines = (f"{line}\n" for line in portable.exported(connection, head()))
        if str(file) == "-":
            sys.stdout.writelines(lines)
        else:
            with file.open("w", encoding="utf-8", newline="\n") as opened:
                opened.writelines(lines)


@command.command(name="import")
def import_lines(
    file: Annotated[Path, typer.Argument(help="A file that “spanbook export” wrote.", exists=True)],
) -> None:
    """Fills an empty database from JSON lines; all of it or nothing."""
    with _told_in_words():
        filled = backups.fill(Settings().url, file)
    typer.echo(f"Imported {sum(filled.values())} rows into {len(filled)} tables.")


# Helpers --------------------------------------------------------------------------------------------------------------


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


@contextmanager
def _engine(settings: Settings) -> Iterator[Engine]:
    engine = open_engine(settings.url)
    try:
        yield engine
    finally:
        engine.dispose()


@contextmanager
def _session(settings: Settings) -> Iterator[Session]:
    with _engine(settings) as engine, sessions(engine)() as session:
        yield session


@contextmanager
def _told_in_words() -> Iterator[None]:
    """A refusal or a database that does not work ends the command with a sentence, not a traceback."""
    try:
        yield
    except ShopError as error:
        _stop(" ".join([error.message, *(f.message for f in error.fields.values() if f.message != error.message)]))
    except DBAPIError as error:
        told = troubles_of(error)
        if told is None:
            raise
        _stop(f"{told.words} {told.way_on}")
    except (sqlite3.DatabaseError, OSError) as error:
        _stop(f"That did not work: {error}.")


def _stop(words: str) -> NoReturn:
    typer.echo(words, err=True)
    raise typer.Exit(1)


def _run(app: object, host: str, port: int) -> None:
    """Serves with one JSON line a request on stderr; uvicorn's own access log, which shows addresses, stays off."""
    handler = logging.StreamHandler()
    handler.setFormatter(_Lines())
    logging.getLogger("spanbook").addHandler(handler)
    logging.getLogger("spanbook").setLevel(logging.INFO)
    uvicorn.run(
        app,  # type: ignore[arg-type]
        host=host,
        port=port,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_keep_alive=75,  # longer than proxies keep an idle connection, so that no form is sent into a closed one
    )


class _Lines(logging.Formatter):
    """A message that is JSON gets its time and place; any other becomes JSON."""

    def format(self, record: logging.LogRecord) -> str:
        said = record.getMessage()
        more = json.loads(said) if said.startswith("{") else {"said": said}
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        return json.dumps({"at": at, "log": record.name, "level": record.levelname.lower(), **more})


def _back_up_again_and_again(settings: Settings, pause: float = 60) -> None:
    """Makes a copy whenever the newest is older than the setting says."""
    waiting = threading.Event()
    while True:
        newest = next(iter(backups.copies(settings.backups)), None)
        if newest is None or datetime.now(UTC) - newest.made_at > timedelta(hours=settings.backup_hours):
            try:
                made = backups.make(settings.url, settings.backups, settings.backups_kept)
                log.info(json.dumps({"backup": made.name}))
            except (ShopError, DBAPIError, sqlite3.DatabaseError, OSError) as error:
                log.error(json.dumps({"backup": "failed", "why": type(error).__name__}))
        waiting.wait(pause)


if __name__ == "__main__":
    command()
