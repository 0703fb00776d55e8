"""The one next tap on a ticket for the role that looks: counter, board and every page offer the same. Pure.

A tap that needs something typed leads to the form on the ticket's page; any other is sent at once. Nothing is offered
that the role may not do: `access.needed_role` decides, and a test tries each stage with each role.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from app.access import COUNTER
from app.closed_sets import DRILLS
from app.services.ticket_stages import ENDED, ShownTicket

_SCANNED_AT = ("#ready", "#take", "#hand-over")  # forms that read the tag themselves


@dataclass(frozen=True)
class Tap:
    """A link (GET), or a form (POST) with its fields; without `href` it only says what is missing."""

    words: str
    method: Literal["GET", "POST", ""] = ""
    href: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)


def name_tap(of: ShownTicket, role: str) -> Tap | None:
    """Returns the one next tap, None where this role has nothing to do. Owners act as drillers."""
    named = _NAMED_AT.get(of.stage.name)
    tap = named(of, role == COUNTER) if named else None
    if of.is_mixed_up and of.stage.name not in ENDED and not (tap and tap.href.endswith(_SCANNED_AT)):
        return Tap("Scan its tag", "GET", f"/tickets/{of.id}#scan")
    return tap


def name_undo(of: ShownTicket) -> Tap | None:
    """Returns the tap that takes a *Fine* back which was just tapped."""
    if of.stage.name != "followed up" or of.outcome != "fine":
        return None
    return _send(of, "Undo", "taking-back", {"why": "tapped by mistake"})


def _send(of: ShownTicket, words: str, act: str, fields: Mapping[str, str] | None = None) -> Tap:
    return Tap(words, "POST", f"/tickets/{of.id}/{act}", {"version": str(of.version), **(fields or {})})


def _name_ready(of: ShownTicket, is_counter: bool) -> Tap | None:
    return _tell_missing(of) if is_counter else _prepare(of)


def _name_planned(of: ShownTicket, is_counter: bool) -> Tap | None:
    if is_counter:
        return None
    is_in_hand = of.holder_id and not of.is_to_be_taken  # somebody took it already
    return Tap("Go on", "GET", f"/drillings/{of.drilling_id}/bench") if is_in_hand else _take(of)


def _rack(of: ShownTicket) -> Tap:
    if of.needs_tag:
        return Tap("Tagged and racked", "GET", f"/tickets/{of.id}#ready")
    return _send(of, "Tagged and racked", "ready")


def _take(of: ShownTicket) -> Tap:
    """In a tournament the tag is scanned when a ball changes hands."""
    if of.needs_tag:
        return Tap("Take it", "GET", f"/tickets/{of.id}#take")
    return _send(of, "Take it", "take")


def _prepare(of: ShownTicket) -> Tap:
    if of.what not in DRILLS:
        return _take(of)
    if of.what == "redrill" and of.current_drilling_id:
        return Tap("Plug it", "GET", f"/drillings/{of.current_drilling_id}")
    if of.fit_id:
        return Tap("Plan it", "GET", f"/balls/{of.ball_id}/drillings/new")
    if of.draft_id:
        return Tap("Confirm the fit", "GET", f"/fits/{of.draft_id}")
    return Tap("New fit", "GET", f"/bowlers/{of.bowler_id}/fits/new")


def _tell_missing(of: ShownTicket) -> Tap | None:
    if of.what not in DRILLS or of.fit_id:
        return None
    return Tap("A draft of the fit is to be confirmed" if of.draft_id else "No fit is in force")


def _name_on_bench(of: ShownTicket, is_counter: bool) -> Tap | None:
    if is_counter:
        return None
    if of.drilling_id is None:
        if of.what in DRILLS:  # its drilling was called off or plugged: it is planned anew
            return _prepare(of)
        return _send(of, "Done", "done")
    if of.stage.is_to_measure:
        return Tap("Measure and close", "GET", f"/drillings/{of.drilling_id}")
    if of.is_to_be_taken:
        return _take(of)
    return Tap("Go on", "GET", f"/drillings/{of.drilling_id}/bench")


def _name_waiting(of: ShownTicket, is_counter: bool) -> Tap | None:
    wait = of.stage.wait
    if wait is None:
        return None
    if wait.kind in ("bowler", "question"):
        return Tap("Answered", "GET", f"/tickets/{of.id}#wait")
    if is_counter:
        return None
    if wait.kind == "glue":  # before it is cured, a reason is asked
        return Tap("Go on", "GET", f"/tickets/{of.id}#wait")
    return Tap("Go on", "POST", f"/waits/{wait.id}/end")


_NAMED_AT: dict[str, Callable[[ShownTicket, bool], Tap | None]] = {
    "taken in": lambda of, _: _rack(of),
    "ready": _name_ready,
    "planned": _name_planned,
    "on the bench": _name_on_bench,
    "waiting": _name_waiting,
    "done": lambda of, _: Tap("Hand over", "GET", f"/tickets/{of.id}#hand-over"),
    "handed over": lambda of, _: _send(of, "Fine", "follow-up", {"outcome": "fine"}) if of.is_to_ask else None,
}
