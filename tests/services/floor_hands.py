"""What tests of the floor do to a ticket, each through the service that a page calls."""

from sqlalchemy.orm import Session

from app.models import Ball, Squad, Ticket, TicketWait, now
from app.schemas.taken_back import TakingBackForm
from app.schemas.tickets import (
    FollowUpForm,
    HandOverForm,
    MoveForm,
    RackForm,
    ScanForm,
    SquadForm,
    TakeForm,
    TicketForm,
    WaitEndForm,
    WaitForm,
)
from app.services import squads, ticket_moves, ticket_reads, ticket_waits, tickets
from app.services.ticket_stages import ShownTicket


class Floor:
    """Moves tickets as the person `who`, always with the version that they have now."""

    def __init__(self, session: Session, who: str) -> None:
        self.session, self.who = session, who

    def signed(self, of: Ticket | Squad | None = None, /, **typed: str) -> dict[str, str]:
        return {"who": self.who, "version": str(of.version) if of else ""} | typed

    def take_in(self, thing: Ball | str, what: str = "sand", **typed: str) -> Ticket:
        named = thing if isinstance(thing, str) else f"ball:{thing.id}"
        made = tickets.take_in(self.session, TicketForm.read(self.signed(**{"thing": named, "what": what} | typed)))
        self.session.flush()
        return made

    def squad(self, label: str = "Sunday squad", **typed: str) -> Squad:
        form = SquadForm.read(self.signed(**{"label": label, "begins": "2099-05-03T10:00"} | typed))
        made = squads.add(self.session, form)
        self.session.flush()
        return made

    def ready(self, of: Ticket, scan: str = "") -> Ticket:
        return ticket_moves.make_ready(self.session, of.id, RackForm.read(self.signed(of, scan=scan)))

    def scan(self, of: Ticket, scan: str) -> Ticket:
        return ticket_moves.scan(self.session, of.id, ScanForm.read(self.signed(of, scan=scan)))

    def take(self, of: Ticket, scan: str = "") -> Ticket:
        return ticket_moves.take(self.session, of.id, TakeForm.read(self.signed(of, scan=scan)))

    def put_back(self, of: Ticket, scan: str = "") -> Ticket:
        return ticket_moves.put_back(self.session, of.id, RackForm.read(self.signed(of, scan=scan)))

    def finish(self, of: Ticket) -> Ticket:
        return ticket_moves.finish(self.session, of.id, MoveForm.read(self.signed(of)))

    def hand_over(self, of: Ticket, to: str = "Anna herself", **typed: str) -> Ticket:
        form = HandOverForm.read(self.signed(of, handed_to=to, **typed))
        return ticket_moves.hand_over(self.session, of.id, form)

    def come_to_ask(self, of: Ticket) -> Ticket:
        """The day has come on which it is asked after."""
        of.follow_up_on = now().astimezone().date()
        self.session.flush()
        return of

    def follow_up(self, of: Ticket, outcome: str = "fine", **typed: str) -> Ticket:
        form = FollowUpForm.read(self.signed(of, outcome=outcome, **typed))
        return ticket_moves.follow_up(self.session, of.id, form)

    def wait(self, of: Ticket, kind: str, **typed: str) -> TicketWait:
        return ticket_waits.begin(self.session, of.id, WaitForm.read(self.signed(of, kind=kind, **typed)))

    def end_wait(self, of: TicketWait, why: str = "") -> TicketWait:
        return ticket_waits.end(self.session, of.id, WaitEndForm.read(self.signed(why=why)))

    def why(self, of: Ticket, why: str = "a mistake") -> TakingBackForm:
        return TakingBackForm.read(self.signed(of, why=why))

    def done(self, thing: Ball | str, **typed: str) -> Ticket:
        """Work without a drilling, taken in and done."""
        return self.finish(self.take(self.ready(self.take_in(thing, **typed))))

    def shown(self, of: Ticket) -> ShownTicket:
        self.session.flush()
        return ticket_reads.get_shown(self.session, of.id)

    def stage(self, of: Ticket) -> str:
        return self.shown(of).stage.name
