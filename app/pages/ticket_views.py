"""What pages show of tickets: the one tap of whoever looks, promises to tap, and what an intake begins with."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta, tzinfo

from app.access import COUNTER
from app.models import Ball, Inner, Squad
from app.pages.formats import format_promise
from app.pages.render import Page
from app.schemas.moments import read_local
from app.services import squads
from app.services.next_taps import Tap, name_tap
from app.services.ticket_stages import ShownTicket

TappedTicket = tuple[ShownTicket, Tap | None]
_BACK = re.compile(r"/(board|follow-ups(\?heard=\d{1,9})?|squads/\d{1,9}|bowlers/\d{1,9}|balls/\d{1,9})?")
_NUMBER = re.compile(r"[+(]?\d[\d\s()/.-]*")
_CALLED = re.compile(r"\b(tel|phone|mobile)\b\.?:?\s*", re.IGNORECASE)
_CLOSES, _SATURDAY_CLOSES = time(17), time(12)  # ASSUMED: common practice, no source
_SATURDAY = 5
_SQUADS_SHOWN = 3


def role_of(page: Page) -> str:
    return page.actor.role if page.actor else COUNTER


def pair_taps(page: Page, shown: Iterable[ShownTicket]) -> list[TappedTicket]:
    """Returns each ticket with the one tap that whoever looks is offered."""
    return [(of, name_tap(of, role_of(page))) for of in shown]


def carry_scan(tapped: TappedTicket, path: str) -> TappedTicket:
    """Gives a link to a form on the ticket's page the tag that was read: this is the page that a tag leads to."""
    of, tap = tapped
    if tap is None or not tap.href.startswith("/tickets/") or tap.method != "GET":
        return tapped
    place, _, form = tap.href.partition("#")
    return of, replace(tap, href=f"{place}?scan={path}#{form}")


def find_way_back(posted: Mapping[str, str], usual: str) -> str:
    """Returns the page that a tap was made on, if it is one of those with taps; else the usual one."""
    back = posted.get("back", "")
    return back if back and _BACK.fullmatch(back) else usual


def list_promises(at: datetime, coming: Sequence[Squad] = (), zone: tzinfo | None = None) -> list[tuple[str, str]]:
    """Returns the promises to tap at a moment, each as its field holds it and in words; the first is none.

    By the clock of `zone`, the machine's without one. Each value says how far it is from UTC then: the clocks may
    change before it, and in that night a time comes twice.
    """
    soon = at.astimezone(UTC).replace(second=0, microsecond=0) + timedelta(hours=1)
    soon += timedelta(minutes=-soon.minute % 5)
    days = [at.astimezone(zone).date() + timedelta(days=number) for number in range(9)]
    saturday = next(day for day in days[2:] if day.weekday() == _SATURDAY)
    closing = [(days[0], _CLOSES), (days[1], _CLOSES)]
    if saturday in days[2:7]:
        closing.append((saturday, _SATURDAY_CLOSES))
    closed = (read_local(datetime.combine(*by_the_clock).isoformat(), zone) for by_the_clock in closing)
    offered = [soon, *(moment for moment in closed if moment > soon)]
    told = [(moment, format_promise(moment, at, zone)) for moment in offered]
    told += [(squads.promised_for(of), f"for {of.label}") for of in coming[:_SQUADS_SHOWN]]
    return [("", "open"), *((moment.astimezone(zone).isoformat(timespec="minutes"), words) for moment, words in told)]


def pick_name(person: str) -> str:
    """Returns the name in a text that says whom to call, without the number; "" if there is none."""
    parts = (_CALLED.sub("", part).strip(" ,;:()-–.") for part in _NUMBER.split(person))
    return next(filter(None, parts), "")


def format_field(moment: datetime | None) -> str:
    """A moment as a field for day and time holds it, by this machine's clock."""
    return moment.astimezone().strftime("%Y-%m-%dT%H:%M") if moment else ""


def list_things(owned: Iterable[Ball], inners: Iterable[Inner]) -> list[tuple[str, str]]:
    """Returns what work can be for: the newest ball in use, a new one, the others, inners."""
    balls = [
        (f"ball:{of.id}", of.label)
        for of in sorted(owned, key=lambda of: -of.id)
        if not (of.retired_at or of.removed_at)
    ]
    pieces = [(f"inner:{of.id}", of.label) for of in inners if not of.retired_at]
    return [*balls[:1], ("new", "a new ball"), *balls[1:], *pieces]
