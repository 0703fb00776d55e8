"""A spreadsheet taken in from the terminal: its exit code, its counts, and a death in the middle of it."""

import multiprocessing
import signal
import time
from pathlib import Path

from sqlalchemy import Engine, func, select
from typer.testing import CliRunner, Result

from app.cli import command
from app.db import READ_AT_ONE_MOMENT, open_engine, sessions
from app.models import Bowler, BowlerWord, Change, Fit, FitHole, SheetImport, SheetRow
from app.services import sheet_commands, sheet_imports
from tests.conftest import not_none
from tests.services.sheets import make_csv, take_in, write_row
from tests.sheets.moved_shop import BOWLERS, TROUBLES, make_sheet


def run(*arguments: str, url: str) -> Result:
    return CliRunner().invoke(command, ["import-sheet", *arguments], env={"SPANBOOK_DATABASE_URL": url})


def test_a_dry_run_and_then_the_import_of_the_same_file(database_url: str, tmp_path: Path) -> None:
    file = tmp_path / "cards.csv"
    file.write_bytes(make_sheet())
    save_habit(database_url)
    tried = run(str(file), "--habit", "cards", "--dry-run", url=database_url)
    assert (tried.exit_code, tried.output) == (2, "cards.csv, tried: 360 taken, 40 asked, 0 refused.\n")
    done = run(str(file), url=database_url)
    assert done.output == "cards.csv, done: 360 taken, 40 asked, 0 refused. Answer what is asked at /moving-in.\n"
    again = run(str(file), url=database_url)
    assert (again.exit_code, again.output) == (done.exit_code, done.output)
    assert count(database_url)[0] == BOWLERS - TROUBLES


def test_without_a_habit_every_fit_is_a_draft_or_asked(database_url: str, tmp_path: Path) -> None:
    file = tmp_path / "cards.csv"
    file.write_bytes(make_csv(write_row("Odo Brandt")))
    told = run(str(file), url=database_url)
    assert (told.exit_code, "0 taken, 1 asked" in told.output) == (2, True)


def test_whole_files_end_with_0_and_wrong_ones_with_words(database_url: str, tmp_path: Path) -> None:
    file = tmp_path / "people.csv"
    file.write_text("Name,Phone,Hand\nOdo Brandt,555 9999,R\n")
    assert run(str(file), url=database_url).exit_code == 0
    wrong = run(str(file), "--habit", "nobody's", "--sheet", "x", url=database_url)
    assert (wrong.exit_code, "No way of writing is saved under that name" in wrong.output) == (1, True)
    file.write_bytes(b"PK\x03\x04nonsense")
    assert run(str(file), url=database_url).exit_code == 1


def save_habit(url: str) -> None:
    engine = open_engine(url)
    with sessions(engine)() as session:
        import_id = take_in(session, 2, make_sheet() + b"\n")
        sheet_imports.save_habit(session, 2, sheet_imports.get_import(session, import_id), "cards")
        session.commit()
    engine.dispose()


def count(url: str) -> tuple[int, int, int, int, str]:
    """Bowlers, fits and holes that sheets made, lines of history of them, and the state of the last import."""
    engine = open_engine(url)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_AT_ONE_MOMENT)
        made = select(SheetRow.bowler_id).where(SheetRow.made_bowler.is_(True))
        found = (
            session.scalar(select(func.count(Bowler.id)).where(Bowler.id.in_(made))) or 0,
            session.scalar(select(func.count(Fit.id)).where(Fit.reason.startswith("sheet "))) or 0,
            session.scalar(select(func.count(FitHole.id)).join(Fit).where(Fit.reason.startswith("sheet "))) or 0,
            session.scalar(select(func.count(Change.id)).where(Change.why.startswith("sheet "))) or 0,
            not_none(session.scalar(select(SheetImport.state).order_by(SheetImport.id.desc()).limit(1))),
        )
        words = select(func.count(func.distinct(BowlerWord.bowler_id))).where(BowlerWord.bowler_id.in_(made))
        assert session.scalar(words) == found[0]
        owned = select(func.count(Bowler.id)).where(Bowler.name.in_(select(Bowler.name).where(Bowler.id.in_(made))))
        assert session.scalar(owned) == found[0]
    engine.dispose()
    return found


def count_made(engine: Engine) -> int:
    with engine.connect() as connection:
        connection.execution_options(**READ_AT_ONE_MOMENT)
        made = select(func.count(SheetRow.id)).where(SheetRow.made_bowler.is_(True))
        return connection.execute(made).scalar_one()


def test_killed_in_the_middle_it_goes_on_and_nothing_is_half_or_twice(database_url: str, tmp_path: Path) -> None:
    """A process of its own is killed, again and again, until the import is done.

    They are forked from one that has imported the app, and share nothing of this one.
    """
    file = tmp_path / "cards.csv"
    file.write_bytes(make_sheet())
    save_habit(database_url)
    forks = multiprocessing.get_context("forkserver")
    forks.set_forkserver_preload([sheet_commands.__name__])
    kills, between = 0, 0
    watching = open_engine(database_url)
    for attempt in range(40):
        words = (database_url, file, sheet_commands.SheetChoices(habit="cards"))
        process = forks.Process(target=sheet_commands.import_file, args=words)
        before, deadline = count_made(watching), time.monotonic() + 60
        process.start()
        while attempt < 6 and process.is_alive() and time.monotonic() < deadline:
            time.sleep(0.01)
            if count_made(watching) > before:  # amid the import: at its next chunk
                time.sleep(0.01 * attempt)
                process.kill()
                break
        process.join(60)
        assert process.exitcode is not None
        made = count(database_url)
        assert made[1:4] == (
            made[0],
            3 * made[0],
            3 * made[0],
        )  # a bowler, a fit of three holes, three lines of history
        kills += process.exitcode == -signal.SIGKILL
        between += 0 < made[0] < BOWLERS - TROUBLES
        if made[4] == "done":
            break
    watching.dispose()
    assert count(database_url)[0] == BOWLERS - TROUBLES
    assert made[4] == "done" and kills > 0 and between > 0
