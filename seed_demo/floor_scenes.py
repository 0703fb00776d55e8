"""The floor on this Saturday: a ticket in every stage, a tournament with two balls mixed up, and whom to ask how it is.

They come after all other stories, so that the numbers of bowlers, balls and drillings stay as they are.
"""

from collections.abc import Sequence
from datetime import datetime, time, timedelta

from sqlalchemy import select

from app.models import Ball, Bowler, Drilling, DrillingStep, Squad, Ticket, now
from app.schemas.taken_back import TakingBackForm
from app.schemas.tickets import (
    FollowUpForm,
    HandOverForm,
    MoveForm,
    RackForm,
    SquadForm,
    TakeForm,
    TicketForm,
    WaitForm,
)
from app.services import bowlers, squads, ticket_moves, ticket_waits, tickets
from seed_demo.bench_hands import COUNTER, DRILLER, Hands
from seed_demo.past import Story

_FOLLOWED_UP_AFTER = timedelta(days=14)


class FloorHands:
    """The demo's people move tickets."""

    def __init__(self, hands: Hands) -> None:
        self.session = hands.session

    def _sign(self, who: str, of: Ticket | None = None, /, **typed: str) -> dict[str, str]:
        self.session.flush()
        return {"who": who, "version": str(of.version) if of else ""} | typed

    def take_in(self, ball: Ball, what: str, **typed: str) -> Ticket:
        form = TicketForm.read(self._sign(COUNTER, thing=f"ball:{ball.id}", what=what, **typed))
        return tickets.take_in(self.session, form)

    def rack(self, of: Ticket, scan: str = "") -> Ticket:
        return ticket_moves.make_ready(self.session, of.id, RackForm.read(self._sign(COUNTER, of, scan=scan)))

    def take(self, of: Ticket, scan: str = "") -> Ticket:
        return ticket_moves.take(self.session, of.id, TakeForm.read(self._sign(DRILLER, of, scan=scan)))

    def finish(self, of: Ticket) -> Ticket:
        return ticket_moves.finish(self.session, of.id, MoveForm.read(self._sign(DRILLER, of)))

    def hand_over(self, of: Ticket, to: str) -> Ticket:
        form = HandOverForm.read(self._sign(COUNTER, of, handed_to=to, checked_with=to))
        return ticket_moves.hand_over(self.session, of.id, form)

    def follow_up(self, of: Ticket, **typed: str) -> Ticket:
        return ticket_moves.follow_up(self.session, of.id, FollowUpForm.read(self._sign(COUNTER, of, **typed)))

    def wait(self, of: Ticket, kind: str, **typed: str) -> None:
        ticket_waits.begin(self.session, of.id, WaitForm.read(self._sign(DRILLER, of, kind=kind, **typed)))

    def call_off(self, of: Ticket, why: str) -> None:
        ticket_moves.call_off(self.session, of.id, TakingBackForm.read(self._sign(COUNTER, of, why=why)))

    def add_squad(self, label: str, begins_at: datetime) -> Squad:
        form = SquadForm.read(self._sign(COUNTER, label=label, begins=_field(begins_at), is_tournament="true"))
        return squads.add(self.session, form)

    def find_balls(self, state: str) -> Sequence[Ball]:
        """Returns the balls in use whose drilling is in this state, oldest drilling first; their bowlers are here."""
        own = (Drilling.ball_id == Ball.id, Drilling.state == state)
        query = select(Ball).join(Drilling, own[0]).join(Bowler, Bowler.id == Ball.bowler_id).where(own[1])
        query = query.where(Ball.retired_at.is_(None), Ball.removed_at.is_(None), Bowler.removed_at.is_(None))
        return list(dict.fromkeys(self.session.scalars(query.order_by(Drilling.id))))

    def find_begun(self) -> list[Ball]:
        begun = select(DrillingStep.drilling_id).where(DrillingStep.ticked_at.is_not(None))
        query = select(Ball).join(Drilling).where(Drilling.state == "planned", Drilling.id.in_(begun))
        return list(self.session.scalars(query.order_by(Drilling.id)))


def _field(moment: datetime) -> str:
    return moment.astimezone().strftime("%Y-%m-%dT%H:%M")


def _in_hours(hours: float) -> str:
    return _field(now() + timedelta(hours=hours))


def list_stories(hands: Hands) -> list[Story]:
    """Returns what happened on the floor in the last weeks, each piece of work by itself, and this morning."""
    floor = FloorHands(hands)
    return [
        _work(floor, 40, -1, "sand", {"outcome": "fine"}),
        _work(
            floor,
            33,
            -2,
            "insert",
            {"outcome": "not fine", "redo_reason": "loose", "outcome_words": "turns in the hole"},
        ),
        _work(floor, 21, -3, "thumb", {}),
        _work(floor, 19, -4, "sand", {}),
        _work(floor, 18, -5, "check", {}),
        _work(floor, 16, -6, "insert", {}),
        today(floor),
    ]


def _work(floor: FloorHands, days: float, which: int, what: str, heard: dict[str, str]) -> Story:
    """Work without a drilling, handed over so many days ago; of some of it something was heard two weeks later."""
    yield days
    ball = floor.find_balls("closed")[which]
    name = bowlers.get_bowler(floor.session, ball.bowler_id).name
    of = floor.finish(floor.take(floor.rack(floor.take_in(ball, what, words="from the league night"))))
    floor.hand_over(of, name)
    of.follow_up_on = (now() - timedelta(days=days) + _FOLLOWED_UP_AFTER).date()
    if not heard:
        return
    yield days - 14
    again = floor.follow_up(of, **heard)
    if again is not of:
        floor.hand_over(floor.finish(floor.take(floor.rack(again))), name)
        again.follow_up_on = (now() + timedelta(days=5)).date()


def today(floor: FloorHands) -> Story:
    """This morning's tickets, one in every stage, and the tournament of tomorrow."""
    yield 0.03
    closed, planned = floor.find_balls("closed"), floor.find_balls("planned")
    begun = floor.find_begun()
    fresh = [ball for ball in planned if ball not in begun]
    floor.take_in(fresh[-1], "new", promised=_in_hours(3), words="For the league on Monday.")
    floor.rack(floor.take_in(closed[0], "redrill", promised=_in_hours(26), price="deposit 20"))
    on_bench = floor.rack(floor.take_in(begun[-1], "same", promised=_in_hours(2)))
    floor.take(on_bench)
    on_bench.promised_at = now() - timedelta(hours=1, minutes=10)  # late
    glued = floor.take(floor.rack(floor.take_in(closed[1], "insert", promised=_in_hours(4))))
    floor.wait(glued, "glue", minutes="95", why="two-part resin, as its maker says")
    asked = floor.rack(floor.take_in(closed[2], "thumb", promised=_in_hours(25), symptom="a blister at the side"))
    floor.wait(asked, "question", why="Bevel it wider, or only sand it?")
    parts = floor.take_in(closed[3], "insert")
    floor.wait(parts, "part", why="finger insert, 31/32")
    measured = floor.find_balls("drilled")
    floor.rack(floor.take_in(measured[-1], "same", promised=_in_hours(1.6)))
    floor.take_in(closed[4], "check", priority="first", priority_reason="waits at the counter", promised=_in_hours(1.2))
    floor.finish(floor.take(floor.rack(floor.take_in(closed[5], "sand", promised=_in_hours(2)))))
    floor.call_off(floor.take_in(closed[6], "layout"), "she keeps it as it is")
    _prepare_tournament(floor, closed[7:13])


def _prepare_tournament(floor: FloorHands, balls: Sequence[Ball]) -> None:
    """Six balls, some checked by their tags; of one another ball was scanned, and nobody has put that right yet."""
    tomorrow = datetime.combine(now().astimezone().date() + timedelta(days=1), time(10)).astimezone()
    squad = str(floor.add_squad("Ashmere Open, first squad", tomorrow).id)
    taken = [floor.rack(floor.take_in(ball, "check", squad_id=squad), f"/balls/{ball.id}") for ball in balls]
    for of in taken[:4]:
        floor.take(of, f"/balls/{of.ball_id}")
    for of in taken[:2]:
        floor.finish(of)
    floor.take(taken[4], f"/balls/{taken[5].ball_id}")
