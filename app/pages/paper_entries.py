"""One paper card typed off: a line a hole, its read-back, the picture, and the ways of writing of the stack."""

from collections.abc import Mapping

from fastapi import Response

from app.errors import InvalidError, ShopError
from app.models import CardStack
from app.pages import pictures
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, Shown
from app.schemas.paper_stacks import CardForm, ChangeForm, LeavingOutForm
from app.services import paper_entries, paper_pictures, paper_stacks
from app.services.paper_entries import Entry
from app.sheets.paper_lines import LINES, SHOWN, USUAL_ORDER, WAYS

router = PageRouter(prefix="/moving-in/cards")
_LABELS = {
    "name": "Name, hand", "middle": "Middle finger", "ring": "Ring finger", "thumb": "Thumb", "rest": "Anything else",
}  # fmt: skip
_THUMB_HAS_NO = "span"


def _list_lines(stack: CardStack) -> list[tuple[str, str, str]]:
    """Returns (name, label, what is written in it) of each line, in the order of the house."""
    order = stack.ways.get("line_order") or USUAL_ORDER
    words = WAYS["line_order"][order]
    of_thumb = ", ".join(w for w in words.split(", ") if w != _THUMB_HAS_NO)
    helps = dict.fromkeys(("middle", "ring"), words) | {"thumb": of_thumb}
    helps |= {"name": "such as Odo Brandt, r", "rest": "b 1/4; phone …; on 2019-03-08; fitted; a note"}
    fingers = ("ring", "middle") if stack.ways.get("first_finger") == "ring" else ("middle", "ring")
    return [(name, _LABELS[name], helps[name]) for name in ("name", *fingers, "thumb", "rest")]


def _load(page: Page, stack_id: int, number: int, texts: Mapping[str, str]) -> Shown:
    card = paper_stacks.get_card(page.session, stack_id, number)
    me = page.me().staff_id
    shown: Shown = {
        "card": card,
        "stack": card.stack,
        "counts": paper_stacks.count_states(page.session, stack_id),
        "lines": _list_lines(card.stack),
        "ways": _list_ways(card.stack),
        "ways_in_short": _tell_ways(card.stack),
        "is_open": card.state == "waiting" and not paper_stacks.is_held_by_another(card, me),
        "before": paper_stacks.load_before(page.session, me, card),
        "values": texts,
        "is_swapped": False,
        "stored": paper_entries.read_stored(card) if card.lines else None,
    }
    is_sent = texts.get("do") == "save" or bool(texts.get("is_sent"))
    return shown | _read(page, stack_id, number, texts, is_sent) | {"was_sent": is_sent, "is_sent": False}


def _list_ways(stack: CardStack) -> list[tuple[str, str, str, str]]:
    """Returns (name, key, words, choice in words) of each convention that is shown."""
    chosen = {name: stack.ways.get(name, "") for name in SHOWN}
    return [(n, key, words, WAYS[n].get(chosen[n], "asked of each card")) for n, (key, words) in SHOWN.items()]


def _tell_ways(stack: CardStack) -> str:
    """The ways that matter most in one short line, and how many are asked of each card."""
    shown = {"units": "{}", "first_finger": "{} first", "span_edges": "{}", "style": "{}"}
    said = [form.format(WAYS[n][stack.ways[n]]) for n, form in shown.items() if stack.ways.get(n) in WAYS[n]]
    asked = sum(not stack.ways.get(name) for name in SHOWN if name != "line_order")
    return ", ".join([*said, *([f"{asked} ways asked of each card"] if asked else [])])


def _read(page: Page, stack_id: int, number: int, texts: Mapping[str, str], is_sent: bool) -> Shown:
    """What is read of the typed lines so far; a question is shown once something stands in its line."""
    card = paper_stacks.get_card(page.session, stack_id, number)
    try:
        form = CardForm.read({**texts, "who": page.me().staff_id})
    except InvalidError:
        return {"entry": None, "picture": None, "asked": {}}
    entry = paper_entries.read(page.session, card.stack, card, form)
    solved = paper_entries.solve(page.session, entry)
    return {
        "entry": entry,
        "picture": pictures.draw_grip(solved) if solved else None,
        "asked": _pick(entry, form, is_sent),
    }


def _pick(entry: Entry, form: CardForm, is_sent: bool) -> dict[str, object]:
    """The questions to show: of a card that was sent or is whole all, of another those of a line that has words."""
    is_whole = is_sent or all(form.lines[name] for name in LINES if name != "rest")
    return {line: asked for line, asked in entry.asked.items() if form.lines[line] or is_whole}


@router.get("/{stack_id}/{number}")
def show_card(page: PageDep, stack_id: RecordId, number: RecordId) -> Response:
    """A card to be typed; one that is typed already, as it was."""
    return page.show("moving_in/card.html", **_load(page, stack_id, number, _list_lines_before(page, stack_id, number)))


def _list_lines_before(page: Page, stack_id: int, number: int) -> dict[str, str]:
    """The lines of a card that was taken back, to be put right."""
    lines = paper_stacks.get_card(page.session, stack_id, number).lines
    return {f"line_{name}": text for name, text in lines.items()}


@router.get("/{stack_id}/{number}/reading")
def show_reading(page: PageDep, stack_id: RecordId, number: RecordId) -> Response:
    """How the lines read while they are being typed."""
    texts = {name: value[:400] for name, value in page.request.query_params.items()}
    return page.show("moving_in/card.html", "reading", **(_load(page, stack_id, number, texts) | {"is_swapped": True}))


@router.post("/{stack_id}/{number}")
def send_card(page: PageDep, stack_id: RecordId, number: RecordId, posted: Posted) -> Response:
    """Stores a card and gives the next one, or does what another button of its form says and keeps what is typed."""
    try:
        if posted.get("do") == "save":
            return page.redirect(f"/moving-in/cards/{stack_id}/{_save(page, stack_id, number, posted)}")
        _change(page, stack_id, number, posted)
    except ShopError as error:
        is_sent = {"is_sent": posted.get("do") == "save"}
        return page.show_refused(
            error, "moving_in/card.html", posted, lambda: _load(page, stack_id, number, posted) | is_sent
        )
    page.session.flush()
    return page.show("moving_in/card.html", **_load(page, stack_id, number, posted))


def _save(page: Page, stack_id: int, number: int, posted: Posted) -> int:
    """Stores the card; returns the number of the next one."""
    card = paper_stacks.get_card(page.session, stack_id, number)
    form = page.read(CardForm, posted)
    photo = paper_pictures.prepare_photo(page.session, card)
    page.refuse_sent_already()
    card = paper_stacks.get_card(page.session, stack_id, number)
    entry = paper_entries.save(page.session, card.stack, card, form, photo)
    if entry.is_asked:
        raise InvalidError("Something is asked. Nothing was saved yet.")
    return paper_stacks.take_next(page.session, form.who, card.stack).number


def _change(page: Page, stack_id: int, number: int, posted: Posted) -> None:
    """Sets a convention of the stack to its next choice, or turns the picture; Enter alone changes nothing."""
    form = page.read(ChangeForm, posted)
    if form.way:
        paper_stacks.change_way(page.session, form.who, paper_stacks.get_stack(page.session, stack_id), form.way)
    elif form.turn:
        paper_pictures.turn(page.session, form.who, paper_stacks.get_card(page.session, stack_id, number))


@router.post("/{stack_id}/{number}/leaving-out")
def leave_out(page: PageDep, stack_id: RecordId, number: RecordId, posted: Posted) -> Response:
    card = paper_stacks.get_card(page.session, stack_id, number)
    try:
        paper_stacks.leave_out(page.session, card, page.read(LeavingOutForm, posted))
    except ShopError as error:
        return page.show_refused(
            error, "moving_in/card.html", posted, lambda: _load(page, stack_id, number, {}), "leaving-out"
        )
    return page.redirect(f"/moving-in/cards/{stack_id}")
