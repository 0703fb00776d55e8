import math
import random
import re
from dataclasses import replace
from itertools import combinations, pairwise

import pytest

from app.calculation.grip_solver import solve_grip
from app.calculation.holes import OldHole
from app.measures.wording import inches, mark_words
from app.models.old_holes import PlannedOldHole
from app.models.plans import read_plan
from app.pages.ball_labels import SIZES, letter_ball
from app.pages.ground import Point
from app.pages.labels import Text
from app.pages.lettering import DOWN, UP, set_line
from app.pages.pictures import draw_grip, draw_old_holes
from app.pages.sections import draw_section
from app.schemas.calc_grips import GripIn
from app.services.work_outs import work_out
from tests.calculation.grips import example
from tests.calculation.test_walls import random_plan
from tests.conftest import not_none
from tests.drawn_fits import random_fits


@pytest.mark.parametrize(("off", "words"), [(0.0015, "4 27/64"), (-0.0015, "4 27/64"), (0.0025, "4 27/64 full")])
def test_full_and_shy_mean_on_the_ball_what_they_mean_at_the_bench(off: float, words: str) -> None:
    span_in = 4 + 27 / 64 + off
    grip = GripIn.model_validate(example()).to_grip()
    fingers = {name: replace(finger, span_in=span_in) for name, finger in grip.fingers.items()}
    solved = solve_grip(replace(grip, middle=fingers["middle"], ring=fingers["ring"]))
    told = [line[0] for note in draw_grip(solved).notes for form in note.forms for line in form]
    assert words in told
    assert mark_words(span_in) == words


def test_a_fraction_is_built_up_on_the_line_of_its_words() -> None:
    runs = set_line("4 27/64 shy", 1.0, "figure").runs
    assert [(run.text, run.size < 1) for run in runs] == [
        ("4\u2009", False), ("27", True), ("⁄", False), ("64", True), (" shy", False),
    ]  # fmt: skip
    assert sum(run.down for run in runs) == pytest.approx(0)  # back on the line's own baseline
    assert runs[1].down < 0 < runs[3].down


Box = tuple[float, float, float, float]


def box_of(text: Text) -> Box:
    """The cell of a line of lettering, by its reckoned width."""
    left = text.x - text.line.width * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.anchor]
    return left, text.y - UP * text.line.size, left + text.line.width, text.y + DOWN * text.line.size


def meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] - 1e-9 and b[0] < a[2] - 1e-9 and a[1] < b[3] - 1e-9 and b[1] < a[3] - 1e-9


@pytest.mark.parametrize("size", ["page", "print", "bench"])
def test_labels_meet_neither_each_other_nor_a_line_and_stay_in_view(size: str) -> None:
    """Reckoned here by plain geometry, over random fits; what a browser draws is measured in tests/browser."""
    told = 0
    for i, fit in enumerate(random_fits(24, 11)):
        drawn = draw_grip(*fit)
        lit = ("thumb bore", "middle", "spans", "notch")[i % 4] if size == "bench" else ""
        lettering = letter_ball(drawn, size, lit)
        boxes = [box_of(text) for text in lettering.texts]
        told += len(boxes)
        left, top, width, height = SIZES[size].view
        assert all(b[0] >= left and b[1] >= top and b[2] <= left + width and b[3] <= top + height for b in boxes)
        assert not [(a, b) for a, b in combinations(boxes, 2) if meet(a, b)]
        lines = [[(x, -y) for x, y, _ in s.points] for s in drawn.shapes if not s.only_lit or lit in s.parts]
        lines += [[leader.start, leader.end] for leader in lettering.leaders]
        dots = [at for line in lines for a, b in pairwise(line) for at in along(a, b)]
        dots += [(drawn.radius_in * math.cos(t / 40), drawn.radius_in * math.sin(t / 40)) for t in range(252)]
        assert not [(box, at) for box in boxes for at in dots if meet(box, (*at, *at))]
    assert told > (30 if size == "bench" else 200)


def test_paper_leaves_hardly_a_number_out_and_hardly_leads_the_bridge_over_a_span() -> None:
    """Fits no shop would make; letters on paper are large beside the ball, so an oval may be in the table alone."""
    drawn = [draw_grip(*fit) for fit in random_fits(100, 15)]
    left_out, over = [], 0
    for picture in drawn:
        lettering = letter_ball(picture, "print")
        left_out += [text for text in lettering.left_out if not text.startswith(("old", "oval"))]
        spans = [[(x, -y) for x, y, _ in s.points] for s in picture.shapes if s.kind == "span"]
        led = [(leader.start, leader.end) for leader in lettering.leaders if "bridge" in leader.parts]
        over += any(cross(*line, a, b) for line in led for span in spans for a, b in pairwise(span))
    assert len(left_out) <= 10, left_out
    assert over <= 10


def cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 > side(c, d, a) * side(c, d, b)


def along(a: tuple[float, float], b: tuple[float, float]) -> list[tuple[float, float]]:
    return [(a[0] + (b[0] - a[0]) * i / 12, a[1] + (b[1] - a[1]) * i / 12) for i in range(13)]


def test_a_fit_as_shops_make_them_has_all_its_numbers_on_the_drawing_and_the_hands_are_mirrored() -> None:
    right = example(sleeve_od_in=1.5)
    left = example(sleeve_od_in=1.5, hand="left")
    for name in ("thumb", "middle", "ring"):
        left[name]["right_in"] *= -1
    left["thumb"]["oval_deg"] = 315
    for body, side, clock in ((right, "left", "1:30"), (left, "right", "10:30")):
        drawn = draw_grip(solve_grip(GripIn.model_validate(body).to_grip()), 180.0)
        lettering = letter_ball(drawn, "page")
        assert lettering.left_out == ()
        told = " | ".join(text.line.text for text in lettering.texts)
        for words in ("4", "4 1/8", "1/4 bridge", "Thumb", "Middle", "Ring", "11/16 in 31/32", "1/4 reverse", f"1/8 {side}",
                      "oval + 1/16", f"at {clock}", "notch 6:00", "sleeve 1 1/2", "cut line 2 1/32"):  # fmt: skip
            assert words in told
        at = {text.line.text: text.x for text in lettering.texts}
        assert (at["Middle"] < at["Ring"]) == (body["hand"] == "right")


def points_of(path: str) -> list[tuple[float, float]]:
    numbers = [float(text) for text in re.findall(r"-?\d+\.\d+", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_an_old_hole_is_drawn_where_it_is_and_cut_through_as_deep_as_it_is() -> None:
    made = not_none(read_plan(random_plan(random.Random(1))))
    radius = made.grip.circumference_in / 2 / math.pi
    thumb_along = work_out(made).places["thumb"][0]
    shape = OldHole(thumb_along, 0.0, 2.0, 0.0, 0.0, 3.0, "thumb")  # round the new bore, straight
    far = replace(shape, along_in=13.0)
    old = tuple(
        PlannedOldHole(1, "thumb hole", at, is_filled, "", None, ()) for at, is_filled in ((shape, True), (far, False))
    )
    over = replace(made, old_holes=old)
    worked = work_out(over)
    drawn = draw_grip(worked.solved, None, over.old_holes)
    assert [at.kind for at in drawn.shapes if at.kind in {"plug", "old"}] == ["plug"]  # the other is behind the ball
    rim = points_of(drawn.shapes[0].path)
    # plane trigonometry: a straight hole's rim is as wide as the hole, and lies about the foot of its axis
    assert max(x for x, _ in rim) == pytest.approx(1.0, abs=1e-6)
    lowest = -radius * math.sin(thumb_along / radius - math.asin(1 / radius))
    assert max(y for _, y in rim) == pytest.approx(lowest, abs=1e-6)
    (plug,) = (at for at in draw_section(over, worked, "middle").shapes if at.kind == "plug")
    assert min(math.hypot(*at) for at in points_of(plug.path)) == pytest.approx(math.hypot(radius - 3.0, 1.0), abs=1e-5)
    seen = draw_old_holes(over.old_holes[:1], radius)
    assert [at.words for at in seen.shapes if at.kind == "span"] == [f"along {inches(-thumb_along)}"]


def test_each_span_drawn_is_as_long_as_its_figure_from_the_sleeve_or_cut() -> None:
    """Outside source: the great circle's length between the ends that are drawn, by the angle of two vectors."""
    counted = 0
    for solved, notch, *_ in random_fits(80, 4):
        for is_from_sleeve in (True, False):
            drawn = draw_grip(solved, notch, (), is_from_sleeve)
            for name, span in solved.spans.items():
                points = next(s.points for s in drawn.shapes if s.kind == "span" and f"{name} span" in s.parts)
                radius = solved.radius_in
                between = radius * math.acos(sum(a * b for a, b in zip(points[0], points[-1], strict=True)) / radius**2)
                told = span.sleeve_to_cut_in if is_from_sleeve and span.sleeve_to_cut_in is not None else span.cut_in
                assert between == pytest.approx(told, abs=1e-6)
                assert mark_words(told) in [line[0] for note in drawn.notes for form in note.forms for line in form]
                counted += is_from_sleeve and span.sleeve_to_cut_in is not None
    assert counted > 40
