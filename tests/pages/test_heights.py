"""The ten times larger view of proud and sunk, the strip of a card, and depths in section, by their numbers."""

import math
import random
import re
from dataclasses import replace

import pytest

from app.calculation.bores import Bore, flushness
from app.calculation.errors import CannotBuildError
from app.models.plans import read_plan
from app.pages.charts import draw_rim
from app.pages.environment import templates
from app.pages.sections import draw_section
from app.services.work_outs import work_out
from tests.calculation.test_walls import random_plan
from tests.conftest import not_none

MADE = Bore(27.0, 1.5, 2.75, -0.25, 0.0)
LIP_IN = 1 / 64


def numbers_of(path: str) -> list[float]:
    return [float(text) for text in re.findall(r"-?\d+\.?\d*", path)]


def test_a_bore_that_is_deeper_draws_its_inner_sunk_ten_times_as_far() -> None:
    # by hand: the same bore 3/64 deeper sinks the inner 3/64 all round
    rim = draw_rim(flushness(1.25, MADE, replace(MADE, depth_in=2.75 + 3 / 64)), 0.0, LIP_IN, 1.25)
    for section, names in zip(rim.sections, (["front", "centre", "back"], ["left", "centre", "right"]), strict=True):
        assert [side.name.text for side in section.sides] == names
        assert [(side.figure.text, not_none(side.way).text) for side in section.sides] == [("3/64", "sunk")] * 3
        assert all(side.is_off for side in section.sides)
        left, start, middle, control, right, end = numbers_of(section.top.replace("Q", " "))
        assert (start, control, end) == pytest.approx((30 / 64, 30 / 64, 30 / 64), abs=1e-4)  # down is sunk
        assert (left, middle, right) == (-0.625, 0.0, 0.625)
        assert section.lip == pytest.approx(10 / 64)


def test_a_turned_lock_draws_one_side_proud_and_the_other_sunk() -> None:
    found = flushness(1.25, MADE, MADE, 90.0)
    front, side = draw_rim(found, 0.0, LIP_IN, 1.25).sections
    drawn = {s.name.text: -s.y / 10 for section in (front, side) for s in section.sides}
    # independent: straight down the axis, the plane of the rim leans by the pitch over the radius, and the lock turned it
    lean = 0.625 * 0.25 / math.sqrt((13.5 / math.pi) ** 2 - 0.25**2)
    assert drawn["front"] == pytest.approx(-drawn["back"], abs=lean / 5)
    assert abs(drawn["front"]) == pytest.approx(lean, rel=0.05)
    assert drawn == pytest.approx(
        {"front": found.front_in, "back": found.back_in, "left": found.left_in, "right": found.right_in, "centre": 0}
    )


def test_figures_never_meet_however_narrow_the_inner() -> None:
    pick = random.Random(3)
    for _ in range(300):
        found = flushness(1.25, MADE, replace(MADE, depth_in=2.75 + pick.uniform(-0.4, 0.4)), pick.uniform(-60, 60))
        for section in draw_rim(found, 0.0, LIP_IN, pick.uniform(0.5, 1.5)).sections:
            across = [
                (side.x, side.name.width, side.figure.width, side.way.width if side.way else 0)
                for side in section.sides
            ]
            for line in (1, 2, 3):
                ends = [(x - share * told[line - 1], x + (1 - share) * told[line - 1]) for (x, *told), share in zip(across, (0, 0.5, 1), strict=True)]  # fmt: skip
                assert section.left <= ends[0][0] and ends[2][1] <= -section.left
                assert ends[0][1] < ends[1][0] and ends[1][1] < ends[2][0]


def test_the_strip_of_a_card_is_green_by_its_verdict_alone() -> None:
    rim = draw_rim(flushness(1.25, MADE, MADE), 0.1, LIP_IN, 1.25)
    strip = templates.from_string("{{ drawings.rim_strip(rim, verdict) }}")
    green = {
        verdict: "flush-all-round" in strip.render(rim=rim, verdict=verdict) for verdict in ("flush", "measure", "")
    }
    assert green == {"flush": True, "measure": False, "": False}


def test_a_bores_depth_is_dimensioned_from_where_its_collar_rests() -> None:
    pick, seen = random.Random(5), 0
    while seen < 5:
        made = not_none(read_plan(random_plan(pick)))
        if made.bore is None or made.bore.forward_in or made.bore.right_in:
            continue  # a straight bore lies in the plane of the section whole
        try:
            section = draw_section(made, work_out(made), "middle")
        except CannotBuildError:
            continue
        seen += 1
        dim = next(shape for shape in section.shapes if shape.kind == "dim" and "bore" in shape.parts)
        ax, ay, bx, by = numbers_of(dim.path)[:4]
        assert math.hypot(bx - ax, by - ay) == pytest.approx(made.bore.depth_in, abs=3e-4)
        # plane trigonometry: a collar rests on the edge of a straight bore, √(R² − r²) over the middle of the ball
        radius, half = section.radius_in, made.bore.bore_in / 2
        assert math.hypot(ax, ay) == pytest.approx(math.hypot(math.sqrt(radius**2 - half**2), half + 0.2), abs=3e-4)
