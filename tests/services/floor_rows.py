"""Tickets as rows, for tests of what is read of them: in any state, at once."""

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.models import Ticket, TicketWait, now
from tests.conftest import not_none


class Rows:
    """Makes tickets taken in by `who` for balls of the demo shop."""

    def __init__(self, session: Session, who: str, at: datetime | None = None) -> None:
        self.session, self.who, self.at = session, int(who), at or now()

    def ticket(
        self, ball_id: int = 1, what: str = "sand", state: str = "ready", due: int | None = None, **more: object
    ) -> int:
        """The id of a ticket promised in `due` minutes."""
        promised_at = None if due is None else self.at + timedelta(minutes=due)
        made = Ticket(ball_id=ball_id, what=what, state=state, promised_at=promised_at, staff_id=self.who, **more)
        self.session.add(made)
        self.session.flush()
        return made.id

    def set_state(self, ticket_id: int, state: str) -> None:
        not_none(self.session.get(Ticket, ticket_id)).state = state
        self.session.flush()

    def wait(self, ticket_id: int, kind: str, minutes: int | None = None, why: str = "") -> None:
        until = None if minutes is None else self.at + timedelta(minutes=minutes)
        self.session.add(TicketWait(ticket_id=ticket_id, kind=kind, why=why, until=until, raised_by_id=self.who))
        self.session.flush()
