from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import Response

from app.errors import FieldError, InvalidError
from app.measures.describe import KINDS, describe
from app.pages.admission import PageDep, PageRouter, asks_first
from app.pages.board import load_board
from app.pages.render import Page
from app.prepared import AnyAsked
from app.schemas.forms import read_id
from app.services import bowlers, counter_notices, counter_rows, first_day, fit_texts, fits, taken_back, words
from app.services.ticket_boards import Line

router = PageRouter()
_SHOWN = 2  # lines of a column: the rest stands on the board, and who is here today is near
_BOARD, _FOLLOW_UPS = "/board", "/follow-ups"
_ONLY_ONE = "The one above is the only one."
Column = tuple[str, Sequence[Line], str, str]  # heading, lines, words for none, and the page that shows all


@dataclass(frozen=True)
class OwnWork:
    """The one next job of whoever looks, and the other tickets of their role in columns."""

    next_line: Line | None = None
    columns: Sequence[Column] = ()
    most: int = _SHOWN
    is_driller: bool = False
    ticketed: frozenset[int] = frozenset()  # drillings that stand there already


def _ask_first(page: Page, q: str) -> tuple[AnyAsked, ...]:
    newer = _ask_newer(page, q)
    if page.is_fragment:
        return newer
    return (counter_notices.ask_notices(), *(newer if q.strip() else counter_rows.ask_at_the_counter()))


def _ask_newer(page: Page, q: str) -> tuple[AnyAsked, ...]:
    return words.ask_newer(page.request.app.state.reader) if q.strip() else ()


@router.get("/")
@asks_first(_ask_first)
def show_counter(page: PageDep, q: str = "") -> Response:
    """One box, results as you type; below it who waits for what, and who was here."""
    if page.is_fragment:
        found = bowlers.search(page.session, q, newer=page.asked_first) if q.strip() else []
        return page.show("counter.html", "results", q=q, found=found, removed=[])
    notice_lines, *others = page.asked_first
    notices = counter_notices.read_notices(notice_lines.rows)
    found = bowlers.search(page.session, q, newer=others) if q.strip() else []
    waiting, here = ([], []) if q.strip() else counter_rows.read_at_the_counter(*(asked.rows for asked in others))
    own = OwnWork() if q.strip() else _load_own(page, notices.has_work)
    board = counter_rows.sort_tasks(waiting, own.ticketed)
    begun = [task for row in waiting for task in row.tasks if task.drilling_id]
    is_at_work = bool(q.strip()) or len(begun) > 1  # on more than the first ball
    return page.show(
        "counter.html",
        q=q,
        found=found,
        removed=taken_back.list_removed(page.session, q) if q.strip() and not found else [],
        here=here,
        first_day_lines=[] if is_at_work or notices.is_first_day_over else first_day.list_lines(page.session),
        board=board,
        newest_in_future=notices.newest_in_future,
        late_backup=page.describe_late_backup(looks=False),
        guessed=notices.guessed if page.may("GET", "/people") else [],
        **vars(own),
    )


@router.get("/next")
def show_next(page: PageDep) -> Response:
    """The part of the counter that changes when somebody else has done something; as a page, the counter."""
    if not page.is_fragment:
        return page.redirect("/")
    return page.show("counter.html", "own_work", **vars(_load_own(page)))


def _load_own(page: Page, has_work: bool = True) -> OwnWork:
    """The order of jobs is a driller's: nobody else is offered what to take to the bench."""
    is_driller = page.may("POST", "/balls/{ball_id}/drillings")
    view = load_board(page, with_order=is_driller, has_work=has_work)
    lines = view.lines
    columns: list[Column] = [
        ("To hand over", lines.done, "Nothing is to be fetched.", _BOARD),
        ("To answer", lines.questions, "Nothing is asked.", _BOARD),
        ("Taken in", lines.taken_in, "Everything is tagged and racked.", _BOARD),
        ("To ask after", view.follow_ups, "Nobody is to be asked.", _FOLLOW_UPS),
    ]
    if is_driller:
        to_do: Column = ("To do, in this order", lines.to_do, "No ticket waits.", _BOARD)
        columns = [to_do, ("In hand", lines.in_hand, "Nobody has one.", _BOARD), *columns[:2]]
    has_tickets = bool(lines.to_do or lines.in_hand or lines.waiting) or any(found for _, found, *_ in columns)
    below = [_leave_out(view.next_line, column) for column in columns] if has_tickets else []
    return OwnWork(view.next_line, below, is_driller=is_driller, ticketed=view.ticketed)


def _leave_out(shown: Line | None, column: Column) -> Column:
    """Returns a column without the job that heads the page already."""
    heading, found, idle, every = column
    others = [line for line in found if shown is None or line.of.id != shown.of.id]
    return heading, others, idle if len(others) == len(found) else _ONLY_ONE, every


@router.get("/bowlers/match")
@asks_first(_ask_newer)
def show_matches(page: PageDep, q: str = "") -> Response:
    """Enter in the box: opens the record when it is clear whose, else shows the list."""
    found = bowlers.search(page.session, q, newer=page.asked_first) if q.strip() else []
    if bowlers.is_clear(found):
        return page.redirect(f"/bowlers/{found[0].bowler.id}?found=1")
    return page.redirect(f"/?{urlencode({'q': q})}")


@router.get("/read-back/{kind}")
def read_back(page: PageDep, kind: str) -> Response:
    """What a field that was just left reads as: words, 64ths, a small drawing, or what is wrong."""
    if kind not in KINDS:
        raise InvalidError("There is no such kind of measure.")
    asked = page.request.query_params
    name = asked.get("of", "")
    revised = fits.find_fit(page.session, read_id(asked.get("revises", "")))
    text = fit_texts.repeat_same({name: asked.get(name, "")}, revised)[name]
    grip = (asked.get("first_finger", ""), asked.get("grip_holes", "three"))
    shown = describe(kind, text, asked.get("hand", ""), asked.get("hole", ""), *grip)
    reading = shown.reading
    error = None if reading.is_usable else FieldError(reading.message, reading.choices)
    return page.show("read_back.html", "read_back", shown=shown, error=error, id=asked.get("id", name))
