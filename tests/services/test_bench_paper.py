"""What was written down on paper agrees with what the bench has read, and keeps what it was measured from."""

from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Change, Drilling
from app.schemas.drillings import DrilledForm
from app.services import bench, bench_paper, drillings, layout_choices
from tests.conftest import not_none
from tests.services import test_axis_points
from tests.services.conftest import Make
from tests.services.test_bench_stops import tick_to
from tests.services.test_layout_choices import choose


def test_on_paper_the_depth_read_at_the_bench_stays(session: Session, make: Make, who: str) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", depth="2 49/64 collar")
    form = {"who": who, "version": str(of.version), "datum": "unknown"}
    bench_paper.finish_on_paper(session, of.id, DrilledForm.read(form))
    bore = not_none(drillings.get_drilling(session, of.id).bore)
    assert (bore.depth_in, bore.datum, bore.typed["depth"]) == (Fraction(177, 64), "collar", "2 49/64 collar")
    line = session.scalars(select(Change).where(Change.field == "open steps")).one()
    assert line.new.startswith(f"steps {bored.position + 1}, ")


@pytest.mark.parametrize(("text", "chosen"), [("2 49/64 crown", "unknown"), ("2 49/64", "crown")])
def test_a_depth_written_on_paper_keeps_what_it_was_measured_from(
    session: Session, make: Make, who: str, text: str, chosen: str
) -> None:
    # by hand: 1 1/2 at 1/4 reverse in a 27 in ball: crown above collar by √(R² − 0.25²) − √(R² − 0.5²) = 0.021910 in
    of = make()
    form = {"who": who, "version": str(of.version), "depth": text, "datum": chosen}
    bench_paper.finish_on_paper(session, of.id, DrilledForm.read(form))
    bored = next(step for step in bench.get_drilling(session, of.id).steps if step.action == "bore")
    assert (bored.met_depth_in, bored.met_datum, bored.typed["depth"]) == (Fraction(177, 64), "crown", text)
    assert not_none(not_none(of.as_met).bore).depth_in == pytest.approx(2.765625 - 0.021910, abs=1e-6)
    bore = not_none(drillings.get_drilling(session, of.id).bore)
    assert (bore.depth_in, bore.datum) == (Fraction(177, 64), "crown")


def test_on_paper_an_unknown_depth_stays_unknown(session: Session, make: Make, who: str) -> None:
    of = make()
    form = {"who": who, "version": str(of.version), "depth": "unknown", "datum": "unknown"}
    bench_paper.finish_on_paper(session, of.id, DrilledForm.read(form))
    bored = next(step for step in bench.get_drilling(session, of.id).steps if step.action == "bore")
    bore = not_none(drillings.get_drilling(session, of.id).bore)
    assert (bored.is_done, bored.met_depth_in, bore.depth_in, bore.datum) == (True, None, None, "unknown")


def test_on_paper_the_depth_read_at_the_bench_may_be_written_again_but_no_other(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    bored = tick_to(session, of, who, "bore", depth="2 49/64 collar")
    form = {"who": who, "version": str(of.version), "datum": "unknown"}
    for other in ("2 3/4 collar", "2 49/64 crown"):
        with pytest.raises(InvalidError) as refused:
            bench_paper.finish_on_paper(session, of.id, DrilledForm.read(form | {"depth": other}))
        assert set(refused.value.fields) == {"depth"}
        form["version"] = str(of.version)
    bench_paper.finish_on_paper(session, of.id, DrilledForm.read(form | {"depth": "2.765625 collar"}))
    bore = not_none(drillings.get_drilling(session, of.id).bore)
    assert (bored.typed["depth"], bore.depth_in, bore.datum) == ("2 49/64 collar", Fraction(177, 64), "collar")


def test_a_layout_conflict_asks_its_reason_without_the_bench_too(session: Session, plan: Drilling, who: str) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id, track="4 1/8")
    made = choose(session, who, plan.ball_id, point.id)
    conflicts = layout_choices.list_conflicts(session, plan)
    assert conflicts
    form = {"who": who, "version": str(plan.version), "depth": "unknown"}
    with pytest.raises(InvalidError) as refused:
        bench_paper.finish_on_paper(session, plan.id, DrilledForm.read(form))
    assert all(words in refused.value.fields["reason"].message for words in conflicts)
    form |= {"version": str(plan.version), "reason": "as the bowler asks"}
    bench_paper.finish_on_paper(session, plan.id, DrilledForm.read(form))
    assert (plan.state, made.drilling_id) == ("drilled", plan.id)
