"""Tickets, parts and figures made up for the page of the design, which shows the floor's components as pages do."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from app.closed_sets import TicketKind
from app.models import Part
from app.services.next_taps import Tap
from app.services.quality import Group, Share
from app.services.shelf import Shelved
from app.services.ticket_boards import Line
from app.services.ticket_stages import DrillingPart, ShownTicket, Stage, WaitPart

_IDS_APART = 1_000_000  # beyond any ticket of a shop


@dataclass(frozen=True)
class Floor:
    """What one scheme of the page shows; ids differ from scheme to scheme, as a page holds each once."""

    to_do: Sequence[Line]
    held: Sequence[Line]
    done: Sequence[Line]
    parts: Sequence[Shelved]
    figures: Group


def make_floor(scheme: str, number: int, at: datetime) -> Floor:
    """Returns the examples of the scheme that is shown as such a number on the page."""
    first_id = _IDS_APART * number
    soon, later = at + timedelta(minutes=40), at + timedelta(hours=3)
    on_bench = DrillingPart("planned", 5, 32)
    cures, asks = WaitPart(1, "glue", "two-part resin", soon), WaitPart(2, "bowler", "bevel it wider?")
    tap = {words: Tap(words, "GET", f"#{scheme}") for words in ("Take it", "Go on", "Answered", "Hand over")}
    new = _make_ticket(first_id, "new", Stage("planned"), soon)
    like = _make_ticket(first_id + 1, "same", Stage("planned"), later)
    late = _make_ticket(first_id + 2, "thumb", Stage("on the bench"), at - timedelta(minutes=20), on_bench)
    mixed = _make_ticket(first_id + 3, "check", Stage("ready"), None, is_mixed_up=True)
    return Floor(
        to_do=[
            Line(new, tap["Take it"], place=1, set_up="bore 1 1/2", is_new_set_up=True, ends_at=later),
            Line(like, tap["Take it"], place=2, set_up="bore 1 1/2", ends_at=later),
        ],
        held=[
            Line(late, tap["Go on"], is_late=True),
            Line(_make_ticket(first_id + 4, "insert", Stage("waiting", wait=cures), later), tap["Go on"]),
            Line(_make_ticket(first_id + 5, "layout", Stage("waiting", wait=asks), None), tap["Answered"]),
        ],
        done=[
            Line(_make_ticket(first_id + 6, "sand", Stage("done"), soon), tap["Hand over"]),
            Line(mixed, tap["Take it"]),
        ],
        parts=_list_parts(),
        figures=Group(f"Closed drillings, {scheme}", "", [Share("within", 42, 38), Share("bit no. 3", 7, 7)]),
    )


def _make_ticket(
    number: int,
    what: TicketKind,
    stage: Stage,
    promised_at: datetime | None,
    drilling: DrillingPart | None = None,
    is_mixed_up: bool = False,
) -> ShownTicket:
    return ShownTicket(
        id=number,
        version=1,
        what=what,
        state="ready",
        stage=stage,
        ball_id=1,
        inner_id=None,
        label="Blue pearl",
        serial=f"S-{number % 100 + 20}",
        bowler_id=1,
        bowler_name="A name",
        promised_at=promised_at,
        holder_initials="AB" if drilling else "",
        drilling=drilling,
        is_mixed_up=is_mixed_up,
        created_at=promised_at or datetime.min,
    )


def _list_parts() -> list[Shelved]:
    """Enough of one part, too few of another, and one of which more was used than was ever counted in."""
    of = [Part(id=1, kind="inner", label="Inner", size_in=Fraction(5, 4), lot="", colour="", least=4) for _ in range(3)]
    return [Shelved(of[0], 9, 9, 6), Shelved(of[1], 3, 3, 2), Shelved(of[2], -1, -1, 2)]
