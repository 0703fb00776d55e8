"""Plans as they were stored before plans had a version, and that what is written is what is read."""

import json
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import JsonValue, ValidationError
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db import open_engine, steps, upgrade
from app.main import create_app
from app.models import Drilling, DrillingStep
from app.models.numbers import (
    ClockNumber,
    Number,
    PlaceNumber,
    read_numbers,
    write_numbers,
)
from app.models.plans import Plan, PlannedInner, PlannedLimit, read_plan, write_plan
from app.services import checks
from app.services.work_outs import work_out
from app.settings import Settings
from tests.calculation.test_cuts import plain, read_page
from tests.conftest import Client, Databases, not_none, signed_in

# The first version of a plan, as a database of that time has it, with every part that came later.
FIRST = """{
  "grip": {
    "circumference_in": 27.0, "hand": "right",
    "thumb": {"hole_in": 0.9375, "forward_in": -0.25, "right_in": 0.0, "oval_in": 0.0625, "oval_deg": 45.0, "depth_in": 2.7525},
    "middle": {"span_in": 4.1, "cut_in": 0.96875, "hole_in": 0.6875, "forward_in": -0.25, "right_in": -0.0625, "depth_in": 1.0},
    "ring": {"span_in": 4.2, "cut_in": 0.96875, "hole_in": 0.65625, "forward_in": -0.25, "right_in": 0.125, "depth_in": 0.875},
    "bridge_in": 0.3125, "span_edges": "finished", "bridge_edges": "cut", "sleeve_od_in": 1.5, "sleeve_pitch_in": [-0.25, 0.0]
  },
  "fit": "A",
  "bore": {
    "bore_in": 1.5, "depth_in": 2.7525, "depth_half_width_in": 0.026, "depth_words": "our collar", "is_depth_assumed": true,
    "forward_in": -0.25, "right_in": 0.0
  },
  "notch_deg": "375/2", "cusp_limit_in": 0.002, "inner_od_in": 1.25, "inner_length_in": 1.875, "typed": {"notch": "6:15"},
  "limits": {"least_wall": 0.0625, "least_web": 0.03125, "least_bridge": 0.1875, "least_surface": 1.0, "safe_depth": 3.25},
  "assumed": ["least_wall"],
  "system": {
    "label": "Twist lock", "kind": "bore_floor", "inner_ods": [1.25, 1.375], "lock_depth_in": 2.375, "inner_length_in": 1.875,
    "stock": {"1 1/4": 4, "1 3/8": 2}
  },
  "ball": {"safe_depth_in": 2.5}, "point_deg": "118", "assumed_depths": [],
  "kept": {
    "hardware": "Old sleeve", "sleeve_od_in": 1.375, "sleeve_to_cut_in": {"middle": 3.75, "ring": 3.875},
    "finished_in": {"middle": 4.1, "ring": 4.2}
  }
}"""
CHECKS, DEPTHS, KEPT = ("limits", "assumed", "system", "ball", "point_deg"), ("assumed_depths",), ("kept",)
LACKING = {"checks": (*CHECKS, *DEPTHS, *KEPT), "assumed depths": (*DEPTHS, *KEPT), "kept spans": KEPT, "nothing": ()}


def stored(lacking: str) -> dict[str, Any]:
    """A plan of the first version from before it had some parts."""
    plan = {k: v for k, v in json.loads(FIRST).items() if k not in LACKING[lacking]}
    return plan | ({"least_wall_in": 0.0625} if lacking == "checks" else {})  # what stood there before the limits


def assert_old_figures(plan: Plan, lacking: str) -> None:
    """The figures that the version of the app which read plans by their keys worked out from the same JSON."""
    worked = work_out(plan)
    assert [worked.predicted_in(f) for f in ("middle", "ring")] == pytest.approx([3.694493655, 3.786379079], abs=1e-9)
    assert not_none(worked.wall).least_wall_in == pytest.approx(0.125)
    walls = [worked.walls[pair].least_in for pair in ("thumb_middle", "thumb_ring", "middle_ring")]
    assert walls == pytest.approx([2.199913806, 2.348266267, 0.083149662], abs=1e-8)
    assert worked.bore_floor_in == pytest.approx(2.774409579, abs=1e-9)
    is_unmarked = lacking in {"checks", "assumed depths"}
    assert worked.assumed_depths == (("bore", "middle") if is_unmarked else ("bore",))
    found = {check.what: check for check in checks.run_checks(plan, worked)}
    if lacking == "checks":
        assert found == {}
        assert worked.window is None
        return
    assert (not_none(worked.window).least_in, not_none(worked.window).most_in) == pytest.approx(
        (2.156653415, 2.375), abs=1e-9
    )
    assert found["Least wall of the inner"].limit_words == "at least 1/16, ASSUMED"
    assert found["Bridge as cut"].limit_words == "at least 3/16"
    assert [check.what for check in checks.pick_failing(list(found.values()))] == ["Bore within the ball's safe depth"]
    assert found["Bore within the ball's safe depth"].limit_in == 2.5
    assert found["In stock at this size"].reason == "4 of the 1 1/4 inner in stock"


@pytest.mark.parametrize("lacking", LACKING)
def test_a_plan_of_each_earlier_shape_gives_its_old_figures(lacking: str) -> None:
    plan = not_none(read_plan(stored(lacking)))
    assert_old_figures(plan, lacking)
    assert plan.notch_deg == Fraction(375, 2)
    assert plan.inner == PlannedInner(1.25, 1.875)
    assert plan.point_deg == (180 if lacking == "checks" else 118)
    assert (plan.kept is None) == (lacking != "nothing")
    assert (plan.fit, plan.typed) == ("A", {"notch": "6:15"})
    assert read_plan(write_plan(plan)) == plan


def test_only_named_limits_are_assumed() -> None:
    limits = not_none(not_none(read_plan(stored("nothing"))).limits)
    assert limits.least_wall == PlannedLimit(0.0625, is_assumed=True)
    assert limits.safe_depth == PlannedLimit(3.25, is_assumed=False)


def test_a_drilling_made_elsewhere_has_no_plan_and_one_of_a_later_version_is_refused() -> None:
    assert read_plan({}) is None
    assert write_plan(None) == {}
    written = write_plan(read_plan(stored("nothing")))
    assert isinstance(written, dict)
    refused: list[JsonValue] = [written | {"version": 3}, {"grip": {}}, [], "plan", None]
    for wrong in refused:
        with pytest.raises(ValidationError):
            read_plan(wrong)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.from_type(Plan))
def test_what_is_written_of_a_plan_is_what_is_read(plan: Plan) -> None:
    assert repr(read_plan(json.loads(json.dumps(write_plan(plan))))) == repr(plan)  # not a number is not itself


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.one_of(*map(st.from_type, get_args(Number)))))
def test_what_is_written_of_a_steps_numbers_is_what_is_read(
    numbers: list[Number],
) -> None:
    assert repr(read_numbers(json.loads(json.dumps(write_numbers(tuple(numbers)))))) == repr(tuple(numbers))


def test_a_steps_numbers_are_read_from_the_json_of_every_age() -> None:
    old: list[JsonValue] = [
        {"kind": "place", "what": "near edge", "along_in": 2.07, "across_in": 0.57, "words": "from the grip centre"},
        {"kind": "clock", "what": "notch", "deg": "375/2"},
        {"kind": "clock", "what": "notch", "deg": None},
    ]
    place, notch, unknown = read_numbers(old)
    assert place == PlaceNumber("near edge", 2.07, 0.57, "from the grip centre")
    assert notch == ClockNumber("notch", Fraction(375, 2))
    assert unknown == ClockNumber("notch", None)


def store(url: str, plans: dict[int, dict[str, Any]]) -> None:
    """Writes plans into a database of any step, past the app."""
    engine = open_engine(url)
    with engine.begin() as connection:
        for drilling_id, plan in plans.items():
            written = json.dumps(plan).replace("'", "''")
            connection.exec_driver_sql(f"UPDATE drilling SET plan = '{written}' WHERE id = {drilling_id}")
    engine.dispose()


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[[str], Client]]:
    """Opens the app on a database and signs TB in."""
    left = []

    def on(url: str) -> Client:
        app = create_app(Settings(database_url=url, hosts="shop.test", backup_folder=str(tmp_path / "backups")))
        client = Client(app).carry(signed_in(app))
        left.append(client)
        return client

    yield on
    for client in left:
        client.close()
        client.app.state.engine.dispose()


@pytest.mark.once
@pytest.mark.parametrize("step", steps())
def test_stored_plans_of_a_database_of_each_step_open_with_their_old_figures(
    databases: Databases, opened: Callable[[str], Client], step: str
) -> None:
    url = databases.demo_at(step)
    told = dict(zip((1, 2, 3), ("checks", "kept spans", "nothing") if step > "0001" else ["checks"] * 3, strict=True))
    store(url, {number: stored(lacking) for number, lacking in told.items()})
    upgrade(url)
    client = opened(url)
    with client.app.state.sessions() as session:
        for number, lacking in told.items():
            assert_old_figures(session.get(Drilling, number).plan, lacking)
        assert session.get(Drilling, 4).plan is None
    for number in told:
        cuts = read_page(client.get(f"/drillings/{number}").text)["cuts"]
        assert cuts["Sleeve bore"]["edge"] == pytest.approx((-1.74, 0.0))
        assert cuts["Middle"]["centre"] == pytest.approx((2.4174, -0.6398))
        assert cuts["Ring"]["edge"] == pytest.approx((2.0221, 0.6045))
    for page in ("/drillings/1/sheet", "/drillings/2/bench"):
        assert client.get(page).status_code == 200
    databases.drop(url)


def test_the_demos_plans_and_steps_are_the_same_once_read_again(session: Session) -> None:
    drillings = session.scalars(select(Drilling)).all()
    kept = {of.id: of.plan for of in drillings}
    numbers = {step.id: step.numbers for step in session.scalars(select(DrillingStep))}
    assert len(numbers) > 10
    for of in drillings:
        assert read_plan(json.loads(json.dumps(write_plan(of.plan)))) == of.plan
    for told in numbers.values():
        assert read_numbers(json.loads(json.dumps(write_numbers(told)))) == told
    session.expire_all()
    assert {of.id: of.plan for of in session.scalars(select(Drilling))} == kept


@pytest.mark.once
def test_a_notch_between_two_marks_of_the_clock_is_planned_and_told(client: Client) -> None:
    # 6:15 is 187 1/2 degrees: a fraction, which has no float in its text
    shown = client.get("/balls/1/drillings/new?fit_id=1&system_id=1&notch=6:15")
    assert "Notch points to 6:15 (187.5°) from outside" in plain(shown.text)


@pytest.mark.once
def test_nothing_is_asked_of_the_plan_of_a_drilling_made_elsewhere(
    opened: Callable[[str], Client], database_url: str, who: str
) -> None:
    client = opened(database_url)
    assert client.get("/drillings/4/finish?middle=3+47/64&ring=3+55/64").status_code == 409
    assert client.post("/drillings/4/confirmation", {"who": who, "version": "1"}).status_code == 409
    with client.app.state.sessions() as session:
        assert session.get(Drilling, 4).confirmed_at is None
