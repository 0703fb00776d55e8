"""The marks of a layout as a plan freezes them, against what the calculation laid out and hand-worked halves."""

import math

import pytest

from app.calculation.marking import lay_out
from app.models import Drilling
from app.models.numbers import MarkNumber
from app.services.mark_numbers import tell_marks, tell_marks_of
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.conftest import Make

pytestmark = pytest.mark.once  # numbers, which no database changes
MARK_IN = 5e-3  # half a bridge square off the line: less than half the arc from edge to edge, as two spans differ


def marks_of(of: Drilling, action: str) -> list[tuple[str, float, str]]:
    step = next(s for s in of.steps if s.action == action)
    return [(n.what, n.value_in, n.words) for n in step.numbers if isinstance(n, MarkNumber)]


@pytest.mark.parametrize(("hand", "sides"), [("right", ("left", "right")), ("left", ("right", "left"))])
def test_marks_are_told_in_the_order_in_which_they_are_drawn(make: Make, hand: str, sides: tuple[str, str]) -> None:
    of = make(hand=hand, bridge="1/4")
    worked = work_out(not_none(of.plan))
    laid_out, told = lay_out(worked.solved), marks_of(of, "mark")
    assert [(what, words) for what, _, words in told] == [
        ("thumb's cut line", "back from the grip centre"),
        ("sleeve bore's edge", "back from the grip centre"),
        ("half the bridge, middle", f"{sides[0]} of the centre line"),
        ("half the bridge, ring", f"{sides[1]} of the centre line"),
        ("tape to the middle", "from the thumb's cut line to its near edge"),
        ("tape to the ring", "from the thumb's cut line to its near edge"),
    ]
    values = [value for _, value, _ in told]
    assert values[0] == pytest.approx(not_none(worked.solved.half_span_in), abs=1e-9)
    assert values[1] == -worked.cuts_of("bore")[0].near_edge_in[0]
    assert values[2:4] == pytest.approx([not_none(worked.solved.bridge_cut_in) / 2] * 2, abs=MARK_IN)
    assert values[4:] == [laid_out.fingers["middle"].tape_in, laid_out.fingers["ring"].tape_in]
    assert marks_of(of, "ring_check") == [told[5], told[3]]
    assert marks_of(of, "bore_check") == [told[1]]


def test_two_fingers_are_marked_from_the_plus(make: Make) -> None:
    of = make("none", "right", grip_holes="thumbless", thumb_hole="", thumb_pitch="", system_id="")
    told = marks_of(of, "mark")
    assert [what for what, _, _ in told] == [
        "half the bridge, middle", "half the bridge, ring", "tape to the middle", "tape to the ring",
    ]  # fmt: skip
    reaches = work_out(not_none(of.plan)).predictions_in
    assert [value for _, value, _ in told[2:]] == pytest.approx([reaches["middle"], reaches["ring"]], abs=1e-9)
    assert told[2][2] == "from the plus to its near edge"


def test_the_first_plunge_of_an_oval_is_set_beside_the_line(make: Make) -> None:
    worked = work_out(not_none(make(hand="right", thumb_hole="15/16 + 1/16 45°").plan))
    along, across = worked.cuts_of("thumb")[0].near_edge_in
    assert [(n.value_in, n.words) for n in tell_marks_of("thumb", worked) if isinstance(n, MarkNumber)] == [
        (-along, "back from the grip centre"),
        (-across, "left of the centre line"),
    ]
    assert len(tell_marks(worked)) == 6


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_thumb_beside_the_centre_line_has_a_line_of_its_own_on_its_side(make: Make, side: str) -> None:
    # straight ahead of a centre (b along, a across, as angles) runs the great circle through the places a quarter of
    # the ball ahead and behind: tan a / cos b is the same all along it, by Napier's rules
    of = make(hand="right", thumb_offset=f"1/8 {side}")
    radius_in = 13.5 / math.pi
    back, own = marks_of(of, "mark")[:2]
    along_in, across_in = work_out(not_none(of.plan)).places["thumb"]
    expected = math.tan(0.125 / radius_in) * math.cos(back[1] / radius_in) / math.cos(along_in / radius_in)
    assert across_in == pytest.approx(0.125 if side == "right" else -0.125, abs=1e-9)
    assert (own[0], own[2]) == ("thumb's own line", f"{side} of the centre line, along the cut line")
    assert own[1] == pytest.approx(radius_in * math.atan(expected), abs=1e-9)
