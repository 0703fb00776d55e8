"""Forms of tickets: intake, moves, waits, hand-over, follow-up; and of squads."""

from datetime import datetime
from typing import Annotated

from pydantic import BeforeValidator, Field

from app.closed_sets import Outcome, Priority, RedoReason, TicketKind, WaitKind
from app.errors import FieldError
from app.schemas.balls import Label
from app.schemas.forms import NoteText, OptionalId, ShortText, SignedForm, read_whole
from app.schemas.moments import MomentText, PromisedText, TappedText

Said = Annotated[str, Field(max_length=400)]
Person = Annotated[str, Field(max_length=120)]
Scan = Annotated[str, Field(max_length=400)]
_THING = r"new|(ball|inner):\d{1,10}"
LONGEST_MINUTES = 14 * 24 * 60


def _read_minutes(text: object) -> int | None:
    typed = str(text or "").strip()
    if not typed:
        return None
    return read_whole(typed, 1, LONGEST_MINUTES, "Write whole minutes, such as 30; at most two weeks.")


class TicketForm(SignedForm):
    """What is wanted for a ball or an inner; `thing` is `ball:17`, `inner:3`, or `new` for a ball not recorded yet.

    A promise that is typed counts before one that is tapped.
    """

    thing: Annotated[str, Field(pattern=f"^({_THING})$")]
    bowler_id: OptionalId = None
    ball_label: Annotated[str, Field(max_length=80)] = ""
    ball_serial: Annotated[str, Field(max_length=40)] = ""
    what: TicketKind
    words: NoteText = ""
    symptom: Said = ""
    wishes: Said = ""
    promised_quick: TappedText = None
    promised: PromisedText = None
    squad_id: OptionalId = None
    priority: Priority = "usual"
    priority_reason: ShortText = ""
    price: Annotated[str, Field(max_length=60)] = ""

    @property
    def promised_at(self) -> datetime | None:
        return self.promised or self.promised_quick

    def find_wrong(self) -> dict[str, FieldError]:
        wrong = {}
        if self.thing == "new" and not self.ball_label:
            wrong["ball_label"] = FieldError("What do you call the new ball?")
        if self.thing != "new" and (self.ball_label or self.ball_serial):
            wrong["thing"] = FieldError("A new ball is described below, and another is chosen here. Which is it?")
        if self.priority == "first" and not self.priority_reason:
            wrong["priority_reason"] = FieldError("Say why it goes before others.")
        if self.priority != "first" and self.priority_reason:
            wrong["priority"] = FieldError("A reason is written. Does it go before others? Else empty the reason.")
        return wrong


class MoveForm(SignedForm):
    note: Said = ""


class TakeForm(SignedForm):
    """Takes a ticket; `scan` is what a hand scanner read off the ball's tag."""

    scan: Scan = ""


class RackForm(MoveForm):
    """Puts a ball into the rack, tagged or back from the bench."""

    scan: Scan = ""


class ScanForm(SignedForm):
    """Reads a ball's tag again; nothing is moved."""

    scan: Annotated[str, Field(min_length=1, max_length=400)]


class HandOverForm(SignedForm):
    handed_to: Annotated[str, Field(min_length=1, max_length=120)]
    checked_with: Person = ""
    scan: Scan = ""


class FollowUpForm(SignedForm):
    outcome: Outcome
    redo_reason: RedoReason | None = None
    outcome_words: Said = ""

    def find_wrong(self) -> dict[str, FieldError]:
        if self.outcome == "not fine" and self.redo_reason is None:
            return {"redo_reason": FieldError("What is not fine?")}
        return {}


class WaitForm(SignedForm):
    """What a ticket waits for; glue until a time, so many minutes, or as long as the shop entered for it."""

    kind: WaitKind
    why: Said = ""
    part_id: OptionalId = None
    minutes: Annotated[int | None, BeforeValidator(_read_minutes)] = None
    until: PromisedText = None

    def find_wrong(self) -> dict[str, FieldError]:
        if self.kind == "glue" and not (self.part_id or self.minutes or self.until):
            return {"minutes": FieldError("How long does it cure, as its maker says?")}
        if self.kind in ("bowler", "question") and not self.why:
            return {"why": FieldError("What is asked?")}
        if self.kind == "part" and not (self.why or self.part_id):
            return {"why": FieldError("Which part?")}
        return {}


class WaitEndForm(SignedForm):
    """Ends a wait; `why` is the answer, or why glue is not waited for any longer."""

    why: Said = ""


class SquadForm(SignedForm):
    label: Label
    begins: MomentText
    is_tournament: bool = False
