"""Moving in by pages alone, without scripts: upload, columns, conventions, dry run, import, inbox, taking back."""

import re
from collections.abc import Iterator
from functools import partial
from threading import Thread

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select, update
from sqlalchemy.orm import Session, sessionmaker

from app.models import Bowler, Change, SheetImport, SheetRow
from app.services.sheet_runs import SheetRuns, go_on
from tests.conftest import Client, CountQueries, not_none
from tests.pages.test_pages import text_of
from tests.services.sheets import MEASURES, make_csv, write_row

pytestmark = pytest.mark.both
SAID = {
    "said_style": "fingertip", "said_span_edges": "cut", "said_bridge_edges": "cut", "said_seen_from": "outside",
    "said_units": "in", "said_plain_vertical": "forward", "said_plain_lateral": "right",
}  # fmt: skip
DATED = MEASURES.replace("31/32", "8-Mar")
ROWS = (write_row("Odo Brandt"), write_row("Anna Johnson"), write_row("Ida Falk", measures=DATED), "Total,,,,")


class ThreadedRuns(SheetRuns):
    """Passes in threads of the test, which start no Python and import no app; test_sheet_runs has the processes."""

    def __init__(self, made: sessionmaker[Session]) -> None:
        super().__init__("")
        self.made = made
        self.threads: dict[int, Thread] = {}

    def start(self, import_id: int) -> None:
        self.threads[import_id] = Thread(target=self._run, args=(import_id,))
        self.threads[import_id].start()

    def _run(self, import_id: int) -> None:
        with self.made() as session:
            session.connection()  # as the process does: behind whoever began the pass
        assert go_on(self.made, import_id) == 0

    def is_running(self, import_id: int) -> bool:
        return import_id in self.threads and self.threads[import_id].is_alive()

    def wait(self, import_id: int) -> None:
        self.threads[import_id].join(60)


@pytest.fixture(autouse=True)
def run_in_threads(app: FastAPI) -> Iterator[None]:
    app.state.sheet_runs = runs = ThreadedRuns(app.state.sessions)
    yield
    for thread in runs.threads.values():
        thread.join(60)
        assert not thread.is_alive()


def upload(client: Client, data: bytes, **fields: str) -> str:
    answer = client.post("/moving-in", fields, files={"file": ("cards.csv", data)})
    assert answer.status_code == 303, text_of(answer.text)
    return re.sub("/columns$", "", answer.headers["location"])


def step(client: Client, where: str, **fields: str) -> str:
    shown = client.get(re.sub("/(dry-run|import|taking-back)$", "", where)).text
    version = next(iter(re.findall(r'name="version" value="(\d+)"', shown)), "")
    answer = client.post(where, {"version": version} | fields)
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"]


def move_in(client: Client, app: FastAPI, data: bytes) -> str:
    """The address of an import that is done."""
    where = upload(client, data)
    step(client, f"{where}/columns")
    step(client, f"{where}/conventions", **SAID)
    for name in ("dry-run", "import"):
        step(client, f"{where}/{name}")
        app.state.sheet_runs.wait(int(where.rsplit("/", 1)[-1]))
    return where


def test_a_sheet_moves_in_by_steps_and_each_step_leaves_history(app: FastAPI, client: Client, session: Session) -> None:
    session.rollback()
    app.state.sheet_runs = SheetRuns(app.state.settings.url)  # processes, as the app has them
    where = move_in(client, app, make_csv(*ROWS))
    page = text_of(client.get(where).text)
    assert "Taken 1 Asked 2 Refused 1" in page
    fields = select(Change.field).where(Change.noun == "sheet_import").order_by(Change.id)
    assert session.scalars(fields).all() == ["made", "columns", "conventions", *["state"] * 4]
    first = client.get(f"{where}/inbox")
    assert "Anna Johnson" in first.text and "Is this somebody we have already?" in first.text
    session.rollback()
    assert "8-Mar" in text_of(client.get(f"{where}/rows/4").text)
    choices = re.findall(r'name="answer_bowler" value="(\d+)"', first.text)
    after = step(client, f"{where}/rows/3", answer_bowler=choices[-1])
    assert after.endswith("/inbox?after=3")
    asked = text_of(client.get(after).text)
    assert "made a date of" in asked or "is a date" in asked
    assert step(client, f"{where}/rows/4", write_thumb_hole="31/32").endswith("/inbox?after=4")
    assert client.get(f"{where}/inbox").headers["location"] == where
    assert "Taken 3 Asked 0 Refused 1" in text_of(client.get(where).text)


def test_an_empty_answer_is_refused_and_what_was_written_stays(app: FastAPI, client: Client) -> None:
    where = move_in(client, app, make_csv(*ROWS))
    refused = client.post(f"{where}/rows/4", {})
    assert refused.status_code == 422
    assert "Choose an answer, or write it." in refused.text
    again = client.post(f"{where}/rows/4", {"write_thumb_hole": "7/8 or so"})
    assert again.headers["location"] == f"{where}/rows/4"


def test_a_row_is_left_out(app: FastAPI, client: Client, session: Session) -> None:
    session.rollback()
    where = move_in(client, app, make_csv(*ROWS))
    step(client, f"{where}/rows/4", leave_out="true")
    assert "left out by hand" in client.get(f"{where}/rows/4").text
    assert session.scalar(select(Bowler).where(Bowler.name == "Ida Falk")) is None


def test_the_same_file_is_told_to_the_second(client: Client, session: Session) -> None:
    session.rollback()
    upload(client, make_csv(*ROWS))
    second = client.post("/moving-in", {}, files={"file": ("copy.csv", make_csv(*ROWS))})
    assert second.status_code == 409
    assert "Tadeo Birk took this sheet in as cards.csv" in second.text
    assert session.scalar(select(func.count(SheetImport.id))) == 1


@pytest.mark.parametrize("data", [b"", b"   ", b"PK\x03\x04nonsense", b"\xd0\xcf\x11\xe0nonsense"])
def test_what_is_no_sheet_is_refused_with_the_form(client: Client, session: Session, data: bytes) -> None:
    session.rollback()
    answer = client.post("/moving-in", {"sheet": "Cards"}, files={"file": ("cards.xlsx", data)})
    assert answer.status_code == 422
    assert 'value="Cards"' in answer.text
    assert session.scalar(select(func.count(SheetImport.id))) == 0


def test_columns_without_a_name_are_refused(client: Client) -> None:
    where = upload(client, make_csv(*ROWS))
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get(f"{where}/columns").text))[1]
    answer = client.post(f"{where}/columns", {"version": version, "column_0": "league"})
    assert answer.status_code == 422
    assert "No column has the name" in answer.text


def test_columns_and_conventions_are_saved_under_a_name_for_next_time(client: Client) -> None:
    where = upload(client, make_csv(*ROWS))
    step(client, f"{where}/columns", column_18="league")
    step(client, f"{where}/conventions", **SAID, habit="Our old cards")
    other = upload(client, make_csv(*ROWS, write_row("Ulf Grimm")), habit="Our old cards")
    page = client.get(f"{other}/columns").text
    assert re.search(r'name="column_18".*?value="league" selected', page, re.S)
    assert re.search(r'name="said_span_edges" value="cut"\s+checked', client.get(f"{other}/conventions").text)


def test_an_import_is_taken_back_by_its_page(app: FastAPI, client: Client, session: Session) -> None:
    session.rollback()
    where = move_in(client, app, make_csv(*ROWS))
    without = client.post(f"{where}/taking-back", {})
    assert without.status_code == 422
    step(client, f"{where}/taking-back", why="the wrong file")
    app.state.sheet_runs.wait(int(where.rsplit("/", 1)[-1]))
    assert "taken back" in text_of(client.get(where).text)
    assert not_none(session.scalar(select(Bowler).where(Bowler.name == "Odo Brandt"))).removed_at is not None


def test_a_pass_that_stands_still_goes_on_by_its_button(app: FastAPI, client: Client, session: Session) -> None:
    where = upload(client, make_csv(*ROWS))
    session.execute(update(SheetImport).values(state="trying"))
    session.commit()
    assert "It stands still here" in client.get(where).text
    assert client.post(f"{where}/going-on", {}).status_code == 303
    app.state.sheet_runs.wait(int(where.rsplit("/", 1)[-1]))
    assert session.scalar(select(SheetImport.state)) == "tried"
    session.rollback()
    assert client.post(f"{where}/going-on", {}).status_code == 409


def test_a_server_that_starts_goes_on_with_what_was_left(app: FastAPI, client: Client, session: Session) -> None:
    where = upload(client, make_csv(*ROWS))
    session.execute(update(SheetImport).values(state="trying"))
    session.commit()
    app.state.sheet_runs.resume(app.state.sessions)
    app.state.sheet_runs.wait(int(where.rsplit("/", 1)[-1]))
    assert session.scalar(select(SheetImport.state)) == "tried"


def test_erasing_a_bowler_empties_the_rows_too(app: FastAPI, client: Client, session: Session, who: str) -> None:
    session.rollback()
    where = move_in(client, app, make_csv(*ROWS, write_row("Ida Falk", measures=DATED)))
    row = not_none(session.scalar(select(SheetRow).where(SheetRow.number == 2)))
    bowler_id = row.bowler_id
    session.rollback()
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get(f"/bowlers/{bowler_id}/held").text))[1]
    form = {"who": who, "name": "Odo Brandt", "version": version}
    assert client.post(f"/bowlers/{bowler_id}/erasure", form).status_code == 303
    session.expire_all()
    left = session.execute(select(SheetRow.cells, SheetRow.name_key).where(SheetRow.number == 2)).one()
    assert tuple(left) == ([], "")
    assert "Brandt" not in client.get(f"{where}/rows").text


def test_pages_of_rows_take_the_same_queries_however_many_rows(
    app: FastAPI, client: Client, count_queries: CountQueries
) -> None:
    few = move_in(client, app, make_csv(*ROWS))
    many = upload(client, make_csv(*(write_row(f"Person {chr(97 + n // 26)}{chr(97 + n % 26)}x") for n in range(300))))
    for of in ("/rows", "/rows?outcome=asked", ""):
        client.get(few + of)
        assert count_queries(partial(client.get, few + of)) >= count_queries(partial(client.get, many + of)) - 3
    page = client.get(f"{many}/rows?after=250").text
    assert page.count('<details class="fold read-row">') == 25 and "The next rows" in page


def test_a_fit_leads_to_its_row_and_back_for_whoever_may_see_the_sheet(
    app: FastAPI, client: Client, session: Session
) -> None:
    session.rollback()
    where = move_in(client, app, make_csv(*ROWS))
    row = not_none(session.scalar(select(SheetRow).where(SheetRow.number == 2)))
    fit_id = not_none(row.fit_id)
    session.rollback()
    assert f'href="{where}/rows/2"' in client.get(f"/fits/{fit_id}").text
    assert f'href="/fits/{fit_id}"' in client.get(f"{where}/rows/2").text
    assert "/moving-in/" not in client.get("/fits/1").text


def test_two_people_at_one_inbox_have_other_rows_and_the_second_answer_is_told(
    app: FastAPI, client: Client, session: Session
) -> None:
    session.rollback()
    dated = [write_row(f"{name} Falk", measures=DATED) for name in ("Ida", "Ode", "Uwe")]
    where = move_in(client, app, make_csv(*dated))
    other = Client(app).sign_in("TB")
    rows = [by.get(f"{where}/inbox").text for by in (client, other, client)]
    assert [re.findall(r"Row (\d+) of", row)[0] for row in rows] == ["2", "3", "2"]
    assert other.post(f"{where}/rows/2", {"write_thumb_hole": "31/32"}).status_code == 303
    late = client.post(f"{where}/rows/2", {"write_thumb_hole": "29/32"})
    assert late.status_code == 409 and "Row 2 is taken already: somebody else has answered it." in text_of(late.text)
    assert other.post(f"{where}/rows/3", {"write_thumb_hole": "31/32"}).status_code == 303
    assert "Row 4 of" in other.get(f"{where}/inbox?after=3").text
    last = client.get(f"{where}/inbox?after=2").text
    assert "Row 4 of" in last and "Somebody else has this row open" in last
    other.close()


def test_counter_staff_answer_what_is_asked_and_start_nothing(app: FastAPI, client: Client) -> None:
    where = move_in(client, app, make_csv(*ROWS))
    counter = Client(app).sign_in("RV")
    assert [counter.get(of).status_code for of in ("/moving-in", where, f"{where}/rows", f"{where}/inbox")] == [200] * 4
    assert (
        counter.post(f"{where}/rows/4", {"write_thumb_hole": "31/32"}).headers["location"] == f"{where}/inbox?after=4"
    )
    assert [counter.post(f"{where}/{of}", {}).status_code for of in ("dry-run", "import", "taking-back")] == [403] * 3
    assert counter.get(f"{where}/conventions").status_code == 403
    pages = counter.get("/moving-in").text + counter.get(where).text
    assert 'type="file"' not in pages and "Take it back whole" not in pages
    counter.close()


def test_the_first_grips_are_drawn_before_anything_is_taken_in(client: Client, session: Session) -> None:
    """The first three rows that make a whole grip; one that asks something is passed over."""
    session.rollback()
    rows = [write_row("Ida Falk", measures=DATED), *(write_row(f"{n} Brandt") for n in ("Odo", "Ode", "Odi", "Odu"))]
    where = upload(client, make_csv(*rows))
    step(client, f"{where}/columns")
    assert "drawn" not in client.get(f"{where}/conventions").text
    step(client, f"{where}/conventions", **SAID)
    page = client.get(f"{where}/conventions").text
    drawn = re.findall(r"<figure.*?<svg.*?rows/(\d+).*?</figure>", page, re.S)
    assert drawn == ["3", "4", "5"]


def test_the_letters_of_a_text_are_asked_before_anything_is_stored(client: Client, session: Session) -> None:
    session.rollback()
    data = make_csv(write_row("Łukasz Żółć")).decode().encode("cp1250")
    refused = client.post("/moving-in", {}, files={"file": ("cards.csv", data)})
    assert refused.status_code == 422 and "Łukasz Żółć" in refused.text
    assert session.scalar(select(func.count()).select_from(SheetImport)) == 0
    session.rollback()
    where = upload(client, data, encoding="cp1250", separator="commas")
    assert "Łukasz Żółć" in client.get(f"{where}/columns").text


def test_tabs_are_chosen_where_commas_would_be_found(client: Client, session: Session) -> None:
    session.rollback()
    upload(client, b"Name, first\tHand\nQuist, Una\tright\n", separator="tabs")
    rows = session.scalars(select(SheetRow).order_by(SheetRow.number)).all()
    assert [[text for text, _ in row.cells] for row in rows][-2:] == [["Name, first", "Hand"], ["Quist, Una", "right"]]
