"""The rows of a route's form: every step with its place and words, and what an arrow that was pressed makes of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.services.routes import ACTIONS

_STEP = 10  # between two places, so that a form filled in by hand can put one between


@dataclass(frozen=True)
class RouteRow:
    """One step in the form; its words are empty where the usual ones hold."""

    action: str
    place: int
    words: str
    is_kept: bool

    @property
    def usual(self) -> str:
        return ACTIONS[self.action].words

    @property
    def is_cut(self) -> bool:
        return ACTIONS[self.action].is_cut


def list_rows(own: Sequence[tuple[str, str]]) -> list[RouteRow]:
    """Returns a saved route, and after it the steps that it leaves out."""
    words = dict(own)
    order = [*words, *(action for action in ACTIONS if action not in words)]
    return [
        RouteRow(action, _STEP * place, _own_words(action, words.get(action, "")), action in words)
        for place, action in enumerate(order, 1)
    ]


def _own_words(action: str, words: str) -> str:
    return "" if words == ACTIONS[action].words else words


def list_typed(posted: Mapping[str, str]) -> list[RouteRow]:
    """Returns the rows as they were typed, in the order of their places; a place that is no number comes last."""

    def place(action: str) -> int:
        text = posted.get(f"place-{action}", "")
        return int(text) if text.isdecimal() and len(text) < 5 else 9999

    order = sorted(ACTIONS, key=place)
    return [
        RouteRow(action, _STEP * number, posted.get(f"words-{action}", ""), f"keep-{action}" in posted)
        for number, action in enumerate(order, 1)
    ]


def move(rows: Sequence[RouteRow], asked: str) -> list[RouteRow]:
    """Returns the rows with one step a place up or down, as `up-ACTION` or `down-ACTION` asks; else as they are."""
    way, _, action = asked.partition("-")
    order = list(rows)
    at = next((number for number, row in enumerate(order) if row.action == action), None)
    to = None if at is None else at + {"up": -1, "down": 1}.get(way, 0)
    if at is not None and to is not None and 0 <= to < len(order):
        order.insert(to, order.pop(at))
    return [RouteRow(row.action, _STEP * number, row.words, row.is_kept) for number, row in enumerate(order, 1)]
