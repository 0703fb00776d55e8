from urllib.parse import urlencode

from fastapi import Response

from app.errors import FieldError, InvalidError
from app.measures.describe import KINDS, describe
from app.pages.admission import PageDep, PageRouter
from app.schemas.forms import read_id
from app.services import bowlers, counter_notices, counter_rows, first_day, fit_texts, fits, taken_back

router = PageRouter()


@router.get("/")
def show_counter(page: PageDep, q: str = "") -> Response:
    """One box, results as you type; below it who waits for what, and who was here."""
    found = bowlers.search(page.session, q) if q.strip() else []
    if page.is_fragment:
        return page.show("counter.html", "results", q=q, found=found, removed=[])
    waiting, here = ([], []) if q.strip() else counter_rows.list_at_the_counter(page.session)
    board = counter_rows.sort_tasks(waiting)
    begun = [task for kind in ("drill", "drill on", "measure") for task in board[kind]]
    is_at_work = bool(q.strip()) or len(begun) > 1  # on more than the first ball
    notices = counter_notices.find_notices(page.session)
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
    )


@router.get("/bowlers/match")
def show_matches(page: PageDep, q: str = "") -> Response:
    """Enter in the box: opens the record when it is clear whose, else shows the list."""
    found = bowlers.search(page.session, q) if q.strip() else []
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
    return page.show("read_back.html", "read_back", shown=shown, error=error, name=asked.get("of", ""))
