"""The demo's scale, the example of a regulation, and one bowler's axis points and marked balls."""

from datetime import timedelta

from sqlalchemy import select

from app.models import Ball, Bowler, Drilling, now
from app.schemas.forms import SignedForm
from app.schemas.layouts import AxisPointForm, BallMarksForm, FavouriteForm, LayoutForm
from app.schemas.scales import ScaleForm
from app.schemas.weighings import WeighingForm
from app.services import axis_points, ball_marks, layouts, regulations, scales, weighings
from seed_demo.bench_hands import DRILLER, OWNER, Hands
from seed_demo.past import Story

SCALE = {
    "label": "Two-way scale by the window", "resolution": "1/16", "mass": "150 g", "mass_step": "1 g", "place": "6 3/4",
    "lift": "3/8", "circumference": "27", "without_first": "5/8", "without_turned": "-1/2",
    "taped_first": "6 1/4", "taped_turned": "-6 1/8",
}  # fmt: skip
MARKS = {
    "label_weight": "15 lb", "real_weight": "15 lb 1 1/2 oz", "top_weight": "3 1/4", "has_mass_mark": "yes",
    "pin_mark": "6 3/4", "pin_centre": "2 1/2", "mark_centre": "5 7/8", "centre_side": "left",
    "doubt": "1/16",
}  # fmt: skip

LIKED = {"pin_axis": "4", "axis_line": "35", "drilling": "40"}
WEIGHED = {"weight": "15 lb 1 1/2 oz", "top_1": "2 3/4 top", "top_2": "2 11/16 top"}
PLANNED = "HK-3310"


def find_axis_points(hands: Hands, serial: str) -> Story:
    """From two months ago: a scale, the example, and the axis point and marked balls of the bowler of one ball."""
    yield 62
    day = (now() - timedelta(days=62)).date().isoformat()
    scales.add(hands.session, ScaleForm.read({"who": DRILLER, "calibrated_on": day} | SCALE))
    regulations.add_example(hands.session, SignedForm.read({"who": OWNER}))
    yield 56
    ball = hands.session.scalars(select(Ball).where(Ball.serial == serial)).one()
    bowler = hands.session.get_one(Bowler, ball.bowler_id)
    first = {"who": DRILLER, "hand": bowler.hand, "point": "4 3/4 over 1/4 up", "found_by": "watched"}
    axis_points.add(hands.session, bowler, AxisPointForm.read(first))
    read = MARKS | {"real_weight": "unknown", "mark_centre": "", "note": "read from the label only"}
    ball_marks.add(hands.session, ball, BallMarksForm.read({"who": DRILLER} | read))
    yield 20
    newer = first | {"point": "4 1/2 over 1/2 up", "found_by": "ring", "track": "4 1/8"}
    newer["found_on"] = (now() - timedelta(days=20)).date().isoformat()
    axis_points.add(hands.session, bowler, AxisPointForm.read(newer))
    liked = {
        "who": DRILLER,
        "hand": bowler.hand,
        "label": "Smooth",
        "pin_axis": "4",
        "axis_line": "35",
        "drilling": "40",
    }
    layouts.add_favourite(hands.session, bowler, FavouriteForm.read(liked))
    hands.session.flush()
    version = {"version": str(ball_marks.list_of_ball(hands.session, ball.id)[0].id)}
    ball_marks.add(hands.session, ball, BallMarksForm.read({"who": DRILLER} | MARKS | version))
    yield 1.1
    _lay_out(hands, bowler)


def _lay_out(hands: Hands, bowler: Bowler) -> None:
    """The ball that is planned for tomorrow: its marks, the layout that its plan uses, and its weight before a cut."""
    session, who = hands.session, {"who": DRILLER}
    ball = session.scalars(select(Ball).where(Ball.serial == PLANNED)).one()
    ball_marks.add(session, ball, BallMarksForm.read(who | MARKS | {"top_weight": "2 3/4", "note": "bought new"}))
    point = axis_points.find_current(session, bowler.id, bowler.hand)
    plan = session.scalars(select(Drilling).where(Drilling.ball_id == ball.id)).one()
    if point:
        chosen = {"axis_point_id": str(point.id), "drilling_id": str(plan.id)} | LIKED
        layouts.add(session, ball, LayoutForm.read(who | chosen))
    scale = scales.list_scales(session)[0]
    read = {"scale_id": str(scale.id), "stage": "before", "drilling_id": str(plan.id)} | WEIGHED
    weighings.add(session, ball, WeighingForm.read(who | read))
