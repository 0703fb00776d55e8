"""The command `spanbook`: serve and demo; owner and invite; backup and restore; export and import; spreadsheets in."""

import ipaddress
import signal
import sqlite3
import sys
import tempfile
import threading
import webbrowser
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from threading import Timer
from typing import Annotated, NoReturn

import typer
from sqlalchemy import make_url, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app import logs, serving
from app.db import READ_ONLY, file_of, is_up_to_date, open_engine, sessions, stored_revision, upgrade
from app.errors import InvalidError, ShopError
from app.main import create_app
from app.models import Staff
from app.pages.render import Demo
from app.queries import find_fault
from app.schemas.identities import SetupForm
from app.services import accounts, backups, bowler_words, rebuilds, restores, sheet_commands, shops
from app.settings import Settings

command = typer.Typer(help="Fit records of a bowling pro shop, and the geometry behind them.", no_args_is_help=True)
Host = Annotated[str, typer.Option(help="Address to listen on; 0.0.0.0 lets the shop's network in.")]
Port = Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")]
New = Annotated[bool, typer.Option("--new", help="Start an empty shop although files of an older one lie beside it.")]


@command.command()
def serve(
    host: Host = "127.0.0.1",
    port: Port = 8765,
    migrate: Annotated[bool, typer.Option(help="Bring the tables up to date first.")] = True,
    new: New = False,
) -> None:
    """Opens the shop's database, migrates its tables, and serves it."""
    settings = Settings()
    with ExitStack() as held:
        held.enter_context(logs.open_log())
        with _report_errors():
            held.enter_context(_open_in_use(settings, new))
            is_set_up = _make_ready(settings, migrate)
        _refuse_early_visitors(host, is_set_up)
        typer.echo(f"Spanbook: http://{host}:{port}  database: {make_url(settings.url).render_as_string()}")
        app = create_app(settings)
        if settings.backup_hours:
            app.state.backup_thread = backups.BackupThread(settings)
            threading.Thread(target=app.state.backup_thread.run, args=(threading.Event(),), daemon=True).start()
        serving.run(app, host, port)


@command.command()
def demo(
    host: Host = "127.0.0.1",
    port: Port = 8765,
    browser: Annotated[bool, typer.Option(help="Open a browser on it.")] = True,
) -> None:
    """Serves an invented shop from a database that is thrown away at the end, on this machine only."""
    from seed_demo import PIN  # noqa: PLC0415 - a shop's server does not need it
    from seed_demo.saturday import TIPS, make_demo  # noqa: PLC0415

    if not _is_loopback(host):
        _stop("The demo signs everybody in as its owner, so it is served on this machine only.")
    for ending in ("SIGTERM", "SIGHUP"):  # so that the folder is deleted as well when a signal ends the demo
        if hasattr(signal, ending):
            signal.signal(getattr(signal, ending), _stop_serving)
    with logs.open_log(), tempfile.TemporaryDirectory(prefix="spanbook-demo-") as folder:
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'demo.db'}", backup_folder=f"{folder}/backups")
        owner = make_demo(settings.url, settings.backups)
        typer.echo(f"Spanbook demo: http://{host}:{port}  (Ctrl-C ends it, and nothing is kept)")
        if browser:
            opener = Timer(1.0, webbrowser.open, [f"http://{host}:{port}"])
            opener.daemon = True
            opener.start()
        serving.run(create_app(settings, Demo(owner, PIN, TIPS)), host, port)


@command.command()
def owner(new: New = False) -> None:
    """Sets up the shop and its owner from the terminal."""
    settings = Settings()
    with _report_errors(), _open_in_use(settings, new):
        upgrade(settings.url)
        with _open_session(settings) as session:
            known = shops.get_our_shop(session)
            typed = {"shop_name": known.name if known else typer.prompt("Name of the shop")}
            typed |= {"staff_name": typer.prompt("Your name"), "initials": typer.prompt("Your initials")}
            typed["password"] = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
            shops.set_up(session, SetupForm.read(typed))
            session.commit()
    typer.echo(f"Done. Sign in as {typed['initials'].casefold()}.")


@command.command()
def invite(sign_in_name: Annotated[str, typer.Argument(help="The name somebody signs in with.")]) -> None:
    """Makes a code with which a person who has lost the password sets a new one, at /welcome."""
    settings = Settings()
    with _report_errors(), _open_existing(settings), _open_session(settings) as session:
        found = session.scalar(select(Staff).where(Staff.sign_in_name == sign_in_name.casefold()))
        if found is None:
            _stop("Nobody signs in by that name.")
        code = accounts.invite(session, None, found.id)
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
    with _report_errors(), _open_existing(settings):
        target = backups.make_backup(settings.url, folder or settings.backups, settings.backups_kept)
    typer.echo(f"Copied and checked: {target}")


@command.command()
def restore(copy: Annotated[Path, typer.Argument(help="A copy that “spanbook backup” made.", exists=True)]) -> None:
    """Replaces the database by a copy; stop the server first. The present file is kept beside it."""
    with _report_errors():
        aside = restores.restore(Settings().url, copy)
    typer.echo("Restored and checked." + (f" What was there before is kept as {aside}." if aside else ""))


@command.command(name="index")
def index() -> None:
    """Rebuilds the search index of bowlers; needed only after other programs have changed the database."""
    settings = Settings()
    with _report_errors(), _open_existing(settings), _open_session(settings) as session:
        count = bowler_words.rebuild_index(session)
        session.commit()
    typer.echo(f"{count} bowlers are found by their words again.")


@command.command(name="export")
def export_lines(
    file: Annotated[Path, typer.Argument(help="The file to write; - is the terminal.", dir_okay=False)],
) -> None:
    """Writes all records as JSON lines, the same bytes from SQLite and PostgreSQL; an incomplete file is never left."""
    settings = Settings()
    with _report_errors(), _open_existing(settings):
        lines = rebuilds.export_from(settings.url)
        if str(file) == "-":
            sys.stdout.writelines(f"{line}\n" for line in lines)
        else:
            rebuilds.write_lines(file, lines)


@command.command(name="import")
def import_lines(
    file: Annotated[Path, typer.Argument(help="A file that “spanbook export” wrote.", exists=True)],
    without_end: Annotated[
        bool, typer.Option("--without-end", help="Take a file of before lines had an end, which may have been cut.")
    ] = False,
) -> None:
    """Fills an empty database from JSON lines of this version or an older one; all of them or none."""
    with _report_errors():
        filled = restores.import_lines(Settings().url, file, needs_end=not without_end)
    typer.echo(f"Imported {sum(filled.values())} rows into {len(filled)} tables.")


@command.command(name="import-sheet")
def import_sheet(
    file: Annotated[Path, typer.Argument(help="A workbook or a text with separators.", exists=True, dir_okay=False)],
    habit: Annotated[str, typer.Option(help="The name under which columns and conventions were saved.")] = "",
    sheet: Annotated[str, typer.Option(help="The sheet in the workbook; the first by default.")] = "",
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Read every row and make no record.")] = False,
) -> None:
    """Takes a spreadsheet of fits in, or goes on with it; ends with 0 if every row was taken, with 2 if not."""
    settings = Settings()
    with _report_errors(), _open_existing(settings):
        told = sheet_commands.import_file(settings.url, file, sheet_commands.SheetChoices(sheet, habit, dry_run))
    typer.echo(told.words)
    if not told.is_whole:
        raise typer.Exit(2)


# Helpers --------------------------------------------------------------------------------------------------------------


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _refuse_early_visitors(host: str, is_set_up: bool) -> None:
    if _is_loopback(host):
        return
    if not is_set_up:
        _stop(
            "Nobody can sign in yet, so the network is not let in. Run “spanbook owner”, or serve "
            "without --host and open it on this machine."
        )
    typer.echo("On the shop's network everything travels readable: put TLS in front (Help, “Running Spanbook”).")


def _stop_serving(_signal: int, _frame: object) -> NoReturn:
    raise SystemExit(0)


@contextmanager
def _open_in_use(settings: Settings, new: bool) -> Iterator[None]:
    """Holds the database open for a command; an interrupted restore is first finished or undone, and reported."""
    with restores.hold_in_use(settings.url, typer.echo):
        if not new:
            restores.refuse_leftover_files(settings.url, settings.backups)
        _require_not_newer(settings)
        yield


@contextmanager
def _open_existing(settings: Settings) -> Iterator[None]:
    """Holds open a database that has to exist; raises InvalidError, without making one, if it does not."""
    with _open_in_use(settings, new=True):
        database = file_of(settings.url)
        if database and not database.exists():
            raise InvalidError(
                f"There is no database at {database}: SPANBOOK_DATABASE_URL says where, “spanbook serve” makes one."
            )
        yield


def _require_not_newer(settings: Settings) -> None:
    """Raises NewerDatabaseError for a database of a newer version; does not make a missing file."""
    database = file_of(settings.url)
    if database and not database.exists():
        return
    with _open_session(settings, **READ_ONLY) as session:
        stored_revision(session.connection())


def _make_ready(settings: Settings, migrate: bool) -> bool:
    """Migrates the tables, rebuilds a missing index, and returns whether anybody can sign in."""
    if migrate:
        upgrade(settings.url)
    with _open_session(settings, **READ_ONLY) as session:
        connection = session.connection()
        if not is_up_to_date(connection):
            step = stored_revision(connection) or "none"
            raise InvalidError(f"The tables are of an older step ({step}): serve without --no-migrate once.")
        is_set_up, is_missing = accounts.is_set_up(session), bowler_words.is_index_missing(session)
    if is_missing:
        with _open_session(settings) as session:
            bowler_words.rebuild_index(session)
            session.commit()
    return is_set_up


@contextmanager
def _open_session(settings: Settings, **options: bool) -> Iterator[Session]:
    engine = open_engine(settings.url)
    try:
        with sessions(engine)() as session:
            session.connection(execution_options=options)
            yield session
    finally:
        engine.dispose()


@contextmanager
def _report_errors() -> Iterator[None]:
    """Ends the command with a sentence instead of a traceback on a refusal or an error of the database."""
    try:
        yield
    except ShopError as error:
        _stop(" ".join([error.message, *(f.message for f in error.fields.values() if f.message != error.message)]))
    except DBAPIError as error:
        told = find_fault(error)
        if told is None:
            raise
        _stop(f"{told.words} {told.way_on}")
    except (sqlite3.DatabaseError, OSError) as error:
        _stop(f"That did not work: {error}.")


def _stop(words: str) -> NoReturn:
    typer.echo(words, err=True)
    raise typer.Exit(1)


if __name__ == "__main__":
    command()
