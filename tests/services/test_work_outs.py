import math
from dataclasses import replace

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Ball, Drilling, Fit
from app.pages.environment import templates
from app.pages.pictures import draw_section
from app.schemas.drillings import PlanForm
from app.services import plans
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.test_checks import found
from tests.services.test_plans import other_system, planned_on


def test_a_wall_is_more_than_the_web_that_bounds_it(make: Make) -> None:
    worked = work_out(not_none(make().plan))
    # the thumb's floor and the finger's side: the rounded ends of a web came half an inch too near
    assert worked.walls["thumb_middle"].least_in > worked.solved.web_thumb_middle_in + 0.05


def test_depths_nobody_gave_are_marked_wherever_they_are_told(make: Make) -> None:
    of = make(middle_depth="", system={"sleeve_length": "2 3/4"})
    worked = work_out(not_none(of.plan))
    assert worked.depths_nobody_gave == [("bore", 2.75), ("middle", 1.0)]
    told = {(s.action, n.what): n.words for s in of.steps for n in s.numbers if n.kind == "length"}
    assert told["middle_bore", "depth"] == "from the surface, to full diameter; ASSUMED"
    assert told["ring_bore", "depth"] == "from the surface, to full diameter"
    assert told["bore", "depth"].endswith("; ASSUMED")
    assert found(of)["Wall between the finger holes"].reason.endswith("; depth of the middle ASSUMED")
    assert draw_section(not_none(of.plan), worked, "middle").words.endswith("Depth of the bore and the middle ASSUMED.")
    assert draw_section(not_none(of.plan), worked, "ring").words.endswith("Depth of the bore ASSUMED.")


def test_a_thumb_without_hardware_has_a_depth_that_nobody_gave(make: Make) -> None:
    of = make("none")
    assert work_out(not_none(of.plan)).depths_nobody_gave == [("thumb", 2.75)]


def test_a_section_is_drawn_on_the_balls_own_circumference(make: Make) -> None:
    of = make()
    planned = not_none(of.plan)
    plan = replace(planned, grip=replace(planned.grip, circumference_in=26.704))
    drawn = draw_section(plan, work_out(plan), "middle")
    assert drawn.radius_in == pytest.approx(26.704 / (2 * math.pi))
    svg = templates.from_string("{{ show.section_picture(drawn) }}").render(drawn=drawn)
    assert 'class="ball" r="4.2501"' in svg


def test_a_straight_bore_predicts_another_sleeve_to_cut(session: Session, plan: Drilling, who: str) -> None:
    form = {"who": who, "fit_id": str(plan.fit_id), "system_id": str(plan.system_id), "bore_runs": "straight"}
    other_ball = not_none(session.scalar(select(Ball).where(Ball.label == "Unbored")))
    straight = plans.plan_drilling(session, other_ball, PlanForm.read(form))
    one, other = work_out(not_none(plan.plan)), work_out(not_none(straight.plan))
    assert one.solved.middle_spans.cut_in == pytest.approx(other.solved.middle_spans.cut_in, abs=1e-9)
    assert (
        abs(one.predicted_in("middle") - other.predicted_in("middle")) > 0.001
    )  # about R·(asin((p + r)/R) − asin(p/R) − asin(r/R))
    assert (
        not_none(one.wall).least_wall_in > not_none(other.wall).least_wall_in
    )  # the tilted hole nears the inner's side


def test_over_a_sleeve_of_unknown_size_the_cut_span_is_predicted(
    session: Session, by_the_sleeve: Fit, who: str
) -> None:
    vague = other_system(session, who, "unknown")
    worked = work_out(not_none(planned_on(session, by_the_sleeve, who, system_id=str(vague.id)).plan))
    assert worked.edges == "cut"
    assert worked.predicted_in("middle") == worked.solved.middle_spans.cut_in
