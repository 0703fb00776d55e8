"""A second-hand ball of the demo that is laid out for its next drilling, twice: the second layout counts."""

from sqlalchemy import select

from app.models import Ball
from app.schemas.layouts import LayoutForm
from app.services import axis_points, layout_choices
from seed_demo.bench_hands import DRILLER, Hands
from seed_demo.past import Story

FIRST = {"pin_axis": "5", "axis_line": "40", "drilling": "60"}
THEN = {"pin_axis": "4 1/2", "axis_line": "35", "drilling": "50", "note": "smoother off the spot"}


def lay_out(hands: Hands, serial: str) -> Story:
    """On the day before, from the axis point that its bowler has by then."""
    yield 0.9
    ball = hands.session.scalars(select(Ball).where(Ball.serial == serial)).one()
    for point in axis_points.list_of_bowler(hands.session, ball.bowler_id)[:1]:
        shown = "0"
        for numbers in (FIRST, THEN):
            typed = {"who": DRILLER, "axis_point_id": str(point.id), "version": shown} | numbers
            shown = str(layout_choices.choose(hands.session, ball.id, LayoutForm.read(typed)).id)
