"""Authorisation: roles, the routes that each may call, and the chain's rule on editing. Pure; decided nowhere else.

Everybody who works here may read; a writing route in none of the sets below requires a driller. The chain's rule on
editing is checked where history is written (`services/changes.py`).
"""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

COUNTER, DRILLER, OWNER = "counter", "driller", "owner"
_RANK = {COUNTER: 0, DRILLER: 1, OWNER: 2}

CLOCK_SLACK = timedelta(minutes=5)  # how far the clocks of one shop's machines may differ

OPEN = {"/sign-in", "/welcome", "/setup", "/healthz", "/readyz"}  # no account needed
OWN_ACCOUNT = {"/sign-out", "/me/password", "/me/pin", "/me/sign-outs"}
_STACK, _CARD = "/moving-in/cards/{stack_id}", "/moving-in/cards/{stack_id}/{number}"
_SHEET = "/moving-in/{import_id}"
COUNTER_WRITES = OWN_ACCOUNT | {
    "/bowlers",
    "/bowlers/{bowler_id}",
    "/bowlers/{bowler_id}/balls",
    "/balls/{ball_id}",
    "/balls/{ball_id}/retirement",
    "/balls/{ball_id}/removal",
    "/balls/{ball_id}/return",
    "/bowlers/{bowler_id}/removal",
    "/bowlers/{bowler_id}/return",
    "/tickets",
    "/tickets/{ticket_id}",
    "/tickets/{ticket_id}/ready",
    "/tickets/{ticket_id}/scan",
    "/tickets/{ticket_id}/hand-over",
    "/tickets/{ticket_id}/follow-up",
    "/tickets/{ticket_id}/taking-back",
    "/tickets/{ticket_id}/calling-off",
    "/tickets/{ticket_id}/calling-off-removal",
    "/tickets/{ticket_id}/waits",
    "/waits/{wait_id}/end",
    "/squads",
    "/squads/{squad_id}",
    "/visitors",
    "/visitors/set",
    "/troubles",
    "/photos/of/{noun}/{record_id}",
    "/photos/{photo_id}/removal",
    "/parts/{part_id}/deliveries",
    "/demo/tips",
    "/cards/read",
    "/bowlers/{bowler_id}/card",
    f"{_SHEET}/rows/{{number}}",
    "/moving-in/cards",
    f"{_STACK}/pictures",
    f"{_STACK}/next",
    _CARD,
    f"{_CARD}/leaving-out",
    f"{_CARD}/second-look",
    f"{_CARD}/second-look/taking-back",
    f"{_CARD}/taking-back",
}
OWNER_READS = {
    "/people",
    "/people/{staff_id}",
    "/backups",
    "/retention",
    "/keys",
    "/bowlers.csv",
    "/bowlers.xlsx",
    f"{_SHEET}/columns",
    f"{_SHEET}/conventions",
}
OWNER_WRITES = {
    "/staff",
    "/people/{staff_id}",
    "/people/{staff_id}/invitation",
    "/people/{staff_id}/sign-outs",
    "/chain-shops",
    "/shops/{shop_id}/look",
    "/rules/{name}",
    "/settings/{name}",
    "/floor",
    "/tokens",
    "/tokens/{token_id}/removal",
    "/backups",
    "/keys/replacement",
    "/keys/paper",
    "/keys/paper/showing",
    "/keys/{key_id}/acceptance",
    "/first-day/putting-away",
    "/bowlers/{bowler_id}/erasure",
    "/regulations",
    "/regulations/import",
    "/regulations/example",
    "/regulations/{regulation_id}/ending",
    "/moving-in",
    f"{_SHEET}/columns",
    f"{_SHEET}/conventions",
    f"{_SHEET}/dry-run",
    f"{_SHEET}/import",
    f"{_SHEET}/going-on",
    f"{_SHEET}/taking-back",
}


def needed_role(method: str, path: str) -> str:
    """Returns the least role that may call a route of the pages, given its template."""
    if method in {"GET", "HEAD"}:
        return OWNER if path in OWNER_READS else COUNTER
    if path in OWNER_WRITES:
        return OWNER
    return COUNTER if path in COUNTER_WRITES else DRILLER


@dataclass(frozen=True)
class Actor:
    """The person who acts in a session, with shop and role; a session without an actor is the app's own."""

    staff_id: int
    shop_id: int | None
    role: str
    edits_own_shop_only: bool = False

    def is_at_least(self, role: str) -> bool:
        return _RANK[self.role] >= _RANK[role]

    def may_edit(self, record: Any) -> bool:
        """Whether this record may be changed: by owners always, by others perhaps only in their own shop."""
        maker = getattr(record, "made_by_shop_id", None)
        return maker is None or self.may_speak_for(maker)

    def may_speak_for(self, shop_id: int) -> bool:
        """Whether the actor may record bore depths of this shop: owners of any, others perhaps only of their own."""
        return not self.edits_own_shop_only or self.role == OWNER or shop_id == self.shop_id


def role_here(role: str, is_full: bool) -> str:
    """Returns the role in this browser: by PIN an owner acts as a driller, because owners' routes need the password."""
    return role if is_full or role != OWNER else DRILLER


@dataclass(frozen=True)
class Lifetime:
    """How long a sign-in lasts: without a request, and in total."""

    idle: timedelta
    absolute: timedelta
