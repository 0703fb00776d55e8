"""In which stage a ticket is: its own state, with its drilling and what it waits for read over it. Pure.

A drilling rules what it knows: planned, begun and closed are never stored with the ticket, so that a tick that comes an
hour late, is taken back, or a plan that is called off needs no hook, and two records cannot disagree.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast

from app.closed_sets import TicketKind, TicketStage, TicketState, WaitKind

LIVE_DRILLINGS = ("planned", "drilled", "closed")  # plugged and not drilled count as no drilling
OPEN = ("taken in", "ready", "on the bench", "done")  # named, as an index finds states and not their absence
ENDED: frozenset[str] = frozenset(("handed over", "followed up", "called off"))


@dataclass(frozen=True)
class DrillingPart:
    """What a ticket's drilling says: its state, how many of its steps are ticked or skipped, a stop of the bench."""

    state: str
    steps_done: int = 0
    steps: int = 0
    has_stop: bool = False


@dataclass(frozen=True)
class WaitPart:
    """What a ticket waits for; one with `until` ends by itself then."""

    id: int
    kind: WaitKind
    why: str = ""
    until: datetime | None = None


@dataclass(frozen=True)
class Stage:
    """Where a ticket is. `is_to_measure`: drilled and on the bench; `wait` is what holds it while it is waiting."""

    name: TicketStage
    is_to_measure: bool = False
    wait: WaitPart | None = None


@dataclass(frozen=True, kw_only=True)
class ShownTicket:
    """One ticket as boards and pages show it; `drilling_id` is that of a live drilling alone.

    `current_drilling_id` is what is in the ball now and could be plugged; `fit_id` the owner's fit in force of the hand
    on the record, `draft_id` a draft of it. `is_mixed_up`: the newest scan named another ball. `is_taken_by_tag`: its
    own tag was read as it last left the rack. `is_to_ask`: the shop's day has come on which it is asked after.
    """

    id: int
    version: int
    what: TicketKind
    state: TicketState
    stage: Stage
    ball_id: int | None
    inner_id: int | None
    label: str
    serial: str = ""
    bowler_id: int
    bowler_name: str
    words: str = ""
    symptom: str = ""
    wishes: str = ""
    promised_at: datetime | None = None
    priority: str = "usual"
    priority_reason: str = ""
    price: str = ""
    squad_id: int | None = None
    squad_label: str = ""
    squad_begins_at: datetime | None = None
    is_tournament: bool = False
    holder_id: int | None = None
    holder_initials: str = ""
    drilling_id: int | None = None
    drilling: DrillingPart | None = None
    current_drilling_id: int | None = None
    fit_id: int | None = None
    draft_id: int | None = None
    is_mixed_up: bool = False
    is_taken_by_tag: bool = False
    is_checked: bool = False
    handed_to: str = ""
    handed_over_at: datetime | None = None
    follow_up_on: date | None = None
    is_to_ask: bool = False
    outcome: str = ""
    redo_of_id: int | None = None
    created_at: datetime
    made_by_shop_id: int | None = None

    @property
    def needs_tag(self) -> bool:
        """Whether its tag is to be read whenever it changes hands."""
        return self.is_tournament and self.ball_id is not None

    @property
    def is_to_be_taken(self) -> bool:
        """Whether its tag is to be read before anything is done to it at the bench."""
        return self.needs_tag and (self.is_mixed_up or not self.is_taken_by_tag)

    @property
    def thing_href(self) -> str:
        return f"/balls/{self.ball_id}" if self.ball_id else f"/inners/{self.inner_id}"


def read_true_stages(told: Sequence[str]) -> list[str]:
    """Returns the stages that a ticket came into, in their order, those taken back to as they were.

    Taken back, or taken up again, a ticket has its own state of before, and its drilling may have brought it further.
    """
    true: list[str] = []
    before = ""
    for stage in told:
        is_back = bool(true) and true[-1] in ENDED and stage not in ENDED
        true.append(before or stage if is_back else stage)
        before = before if true[-1] in ENDED else true[-1]
    return true


def read_stage(state: str, drilling: DrillingPart | None, wait: WaitPart | None, at: datetime) -> Stage:
    """Returns the stage of a ticket at a moment from its own state, its drilling and its open wait."""
    if state in ENDED:
        return Stage(cast("TicketStage", state))
    if wait and (wait.until is None or wait.until > at):
        return Stage("waiting", wait=wait)
    if drilling is None or drilling.state not in LIVE_DRILLINGS:
        return Stage(cast("TicketStage", state))
    if drilling.state == "closed":
        return Stage("done")
    if drilling.state == "drilled":
        return Stage("on the bench", is_to_measure=True)
    return Stage("on the bench" if drilling.steps_done else "planned")
