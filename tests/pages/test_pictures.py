import math
import random
import re
from dataclasses import replace

import pytest

from app.calculation.holes import OldHole
from app.measures.wording import inches
from app.models.old_holes import PlannedOldHole
from app.models.plans import read_plan
from app.pages.environment import templates
from app.pages.pictures import GripPicture, Label, draw_grip, draw_old_holes
from app.pages.sections import draw_section
from app.services.work_outs import work_out
from tests.calculation.test_walls import random_plan
from tests.conftest import not_none


def test_a_span_off_the_64ths_fits_the_paper_pictures_width() -> None:
    label = Label(0.5, 0.0, "4 27/64 − 0.001", "start")
    page = templates.from_string("{% import 'macros/printed.html' as printed %}{{ printed.grip(picture) }}")
    drawn = page.render(picture=GripPicture(4.3, (), (label,), ""))
    assert "4 27/64<tspan" in drawn and ">− 0.001</tspan>" in drawn


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
