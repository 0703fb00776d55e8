import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.bores import Bore as Shape
from app.calculation.trims import NewInner, Trim
from app.models import Ball, Bore, Drilling, Inner, InsertSystem, Shop, now
from app.schemas.calc import FlushnessIn
from app.schemas.shops import LimitForm
from app.services import inner_grids, shop_limits
from app.services.inners_in_bores import InnerInBore
from tests.conftest import Client, CountQueries, not_none
from tests.services.test_inners_in_bores import MADE, inner, known, proud, settled

NO_CUT = "No cut is needed: each of these can be undone."


def own(session: Session, balls: int, inners: int, same_pitch: bool = False) -> None:
    """Gives the first bowler balls bored at differing depths and pitches, and inners trimmed in some of them."""
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    first = not_none(session.get(Drilling, 1))
    bores = []
    for i in range(balls):
        ball = Ball(bowler_id=1, label=f"ball {i}", circumference_in=Fraction(27))
        bore = Bore(
            system_id=lock.id, shop_id=1, circumference_in=Fraction(27), bore_in=Fraction(3, 2), depth_in=Fraction(11, 4) + Fraction(i - 2, 64),
            datum="collar", forward_in=Fraction(-1, 4) if same_pitch else Fraction(-i, 32), right_in=Fraction(0), notch_deg=Fraction(180 + (0 if same_pitch else 5 * i)),
        )  # fmt: skip
        session.add_all([ball, bore])
        session.flush()
        session.add(
            Drilling(
                ball_id=ball.id, system_id=lock.id, shop_id=1, bore_id=bore.id, state="closed", plan=first.plan,
                tolerance_in=Fraction(1, 64), tolerance_source="ASSUMED", staff_id=1,
            )
        )  # fmt: skip
        bores.append(bore)
    for i in range(inners):
        session.add(
            Inner(
                bowler_id=1, label=f"inner {i}", system_id=lock.id, trimmed_in_id=bores[i].id, outside_in=Fraction(5, 4),
                forward_in=Fraction(0), right_in=Fraction(0),
            )
        )  # fmt: skip
    session.flush()


def test_the_grid_says_what_flushness_says_pair_by_pair(session: Session, client: Client) -> None:
    own(session, 6, 3)
    grid = inner_grids.build_grid(session, 1)
    drilled = {drilling.id: drilling for _, drilling in grid.drilled}
    compared = 0
    session.commit()  # the client below reads the same database
    for (inner_id, drilling_id), how in grid.cells.items():
        inner = next(i for i in grid.inners if i.id == inner_id)
        if not isinstance(how, InnerInBore):
            continue
        made, fitted = inner.trimmed_in, not_none(drilled[drilling_id].bore)
        body = {
            "inner_od_in": float(inner.counted_outside_in),
            "turn_deg": float(not_none(fitted.notch_deg) - not_none(made.notch_deg)) % 360,
            **{
                name: {
                    "circumference_in": float(b.around_in), "bore_in": float(b.bore_in), "depth_in": float(not_none(b.depth_in)),
                    "forward_in": float(not_none(b.forward_in)), "right_in": float(not_none(b.right_in)),
                }
                for name, b in (("made_in", made), ("fitted_in", fitted))
            },
        }  # fmt: skip
        FlushnessIn.model_validate(body)
        answer = client.post("/api/v1/calc/flushness", json=body).json()
        assert how.flushness.centre_in == pytest.approx(answer["centre_in"], abs=1e-12)
        assert how.flushness.highest_in == pytest.approx(answer["highest_in"], abs=1e-12)
        assert how.flushness.lowest_in == pytest.approx(answer["lowest_in"], abs=1e-12)
        compared += 1
    assert compared >= 15


def test_a_ball_that_is_not_bored_is_no_column(session: Session) -> None:
    own(session, 2, 1)
    drilled = inner_grids.build_grid(session, 1).drilled
    session.add(Ball(bowler_id=1, label="undrilled", circumference_in=Fraction(27)))
    drilled[0][1].bore = None
    session.flush()
    assert inner_grids.build_grid(session, 1).drilled == drilled[1:]


def test_twenty_balls_and_six_inners_are_one_page_of_few_queries(
    session: Session, client: Client, count_queries: CountQueries
) -> None:
    own(session, 20, 6)
    session.commit()
    assert count_queries(lambda: client.get("/bowlers/1/sits")) <= 12
    page = client.get("/bowlers/1/sits").text
    assert page.count('class="cell"') >= 110


def test_no_cut_is_proposed_where_what_can_be_undone_will_do(session: Session, who: str) -> None:
    for ball in session.scalars(select(Ball).where(Ball.bowler_id == 1)):
        ball.retired_at = now()
    for name, value in (("collar_spread", "0.001"), ("resolution", "0.001"), ("lip", "0.025")):
        shop_limits.set_limit(session, name, LimitForm.read({"who": who, "value": value, "source": "a dial"}))
    own(session, 5, 2, same_pitch=True)  # no depth at the limit: every verdict is settled
    grid = inner_grids.build_grid(session, 1)
    mine = next(i for i in grid.inners if i.label == "inner 0")
    lines = grid.advice[mine.id].undoable
    assert NO_CUT in lines
    assert not any("rim" in line and line.startswith("Trimming") for line in lines)
    assert any("shim under the sleeve by 1/16" in line for line in lines)


def test_nothing_is_said_of_cuts_while_a_trial_fit_is_still_to_decide(session: Session) -> None:
    own(session, 3, 1, same_pitch=True)
    for ball in session.scalars(select(Ball).where(Ball.label == "ball 2")):
        drilling = session.scalars(select(Drilling).where(Drilling.ball_id == ball.id)).one()
        not_none(session.get(Bore, drilling.bore_id)).datum = "unknown"  # its verdict becomes: measure
    session.flush()
    grid = inner_grids.build_grid(session, 1)
    mine = next(i for i in grid.inners if i.label == "inner 0")
    lines = grid.advice[mine.id].undoable
    assert any("make a trial fit first" in line for line in lines)
    assert NO_CUT not in lines


def test_a_ball_of_unknown_depth_is_something_to_do_and_leaves_cuts_open(session: Session) -> None:
    own(session, 3, 1, same_pitch=True)
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    stranger = Shop(name="Nobody Asked Drilling")
    session.add(stranger)
    session.flush()
    ball = session.scalars(select(Ball).where(Ball.label == "ball 2")).one()
    drilling = session.scalars(select(Drilling).where(Drilling.ball_id == ball.id)).one()
    bore = not_none(session.get(Bore, drilling.bore_id))
    bore.depth_in, bore.shop_id, drilling.shop_id, bore.system_id = None, stranger.id, stranger.id, lock.id
    session.flush()
    grid = inner_grids.build_grid(session, 1)
    mine = next(i for i in grid.inners if i.label == "inner 0")
    lines = grid.advice[mine.id].undoable
    assert any(line.startswith("ball 2: unknown: measure the bore depth") for line in lines)
    assert NO_CUT not in lines


def test_deepening_a_seat_is_a_cut_and_is_listed_apart(session: Session) -> None:
    own(session, 5, 5, same_pitch=True)
    grid = inner_grids.build_grid(session, 1)
    seen = set()
    for piece in grid.inners:
        remedies = grid.advice[piece.id]
        assert not any("deepen the seat" in line for line in remedies.undoable)
        assert all(("deepen the seat" in line) or line.startswith("Trimming") for line in remedies.cuts)
        assert not (remedies.cuts and NO_CUT in remedies.undoable)
        seen |= {bool(remedies.cuts)}
    assert True in seen


@pytest.mark.parametrize("same_pitch", [True, False])
def test_over_something_unknown_no_cut_is_proposed_and_nothing_called_flush(session: Session, same_pitch: bool) -> None:
    own(session, 5, 5, same_pitch)
    sure = [advice.cuts for advice in inner_grids.build_grid(session, 1).advice.values()]
    for bore in session.scalars(select(Bore)):
        bore.circumference_in = None  # counted as 27, so that every number stays the same
    session.flush()
    session.expire_all()
    unsure = inner_grids.build_grid(session, 1).advice
    assert [line for cuts in sure for line in cuts] if same_pitch else True
    for remedies in unsure.values():
        assert remedies.cuts == ()
        assert NO_CUT not in remedies.undoable
        assert not [line for line in remedies.undoable if "it is flush." in line]
    if same_pitch:
        assert any("make a trial fit first" in line for remedies in unsure.values() for line in remedies.undoable)


def test_where_pitches_differ_a_new_inner_comes_before_any_cut(session: Session) -> None:
    own(session, 6, 1)
    grid = inner_grids.build_grid(session, 1)
    lines = grid.advice[next(i for i in grid.inners if i.label == "inner 0").id].lines
    assert any("a new inner trimmed there is the remedy" in line for line in lines)


def test_a_ball_on_other_hardware_says_so(session: Session) -> None:
    own(session, 2, 1)
    other = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "ball_surface")))
    drilling = not_none(session.scalar(select(Drilling).order_by(Drilling.id.desc())))
    drilling.system_id = other.id
    session.flush()
    grid = inner_grids.build_grid(session, 1)
    mine = next(i for i in grid.inners if i.label == "inner 0")
    assert grid.cells[mine.id, drilling.id] == "another system: it does not lock here"


def test_one_new_inner_for_all_is_worked_out_with_height_and_notch(session: Session) -> None:
    own(session, 6, 1)
    grid = inner_grids.build_grid(session, 1)
    lines = grid.advice[next(i for i in grid.inners if i.label == "inner 0").id].lines
    words = next(line for line in lines if line.startswith("One new inner for all"))
    assert "worst lip" in words


@pytest.mark.parametrize(("half", "is_sure"), [(0.015, True), (0.0157, False)])
def test_a_notch_turned_back_is_called_flush_only_as_far_as_the_depths_are_known(half: float, is_sure: bool) -> None:
    # by hand: the same bore turned alike leaves no lip, so within 1/64 (0.015625) counts the interval alone
    how = settled(inner(), known(MADE, 180, half), known(MADE, 260))
    (line,) = inner_grids._list_notch_remedies(1.25, [(Ball(label="Blue"), replace(how, verdict="measure"))], 1 / 64)
    assert line.startswith("Blue: its notch is 80° off")
    assert line.endswith("it is flush.") == is_sure


@pytest.mark.parametrize(
    ("trim", "is_offered"),
    [
        (Trim(0.0, 0.05, 0.05), False),
        (Trim(0.04, 0.05, 0.01), True),
        (Trim(0.04, 0.05, 1 / 64), False),  # in doubt by a thousandth
        (Trim(0.03, 0.05, 0.02), False),
    ],
)
def test_a_trim_is_offered_only_where_it_surely_brings_every_rim_within_the_limit(trim: Trim, is_offered: bool) -> None:
    assert inner_grids._describe_trim(trim, 0.001, 1 / 64)[0] is is_offered


@pytest.mark.parametrize(
    ("halves_in", "is_cut"), [((0.001, 0.001), True), ((0.01, 0.001), False), ((0.001, 0.01), False)]
)
def test_a_trim_waits_for_the_depth_that_is_known_worst(halves_in: tuple[float, float], is_cut: bool) -> None:
    # by hand: rims from 0 to 0.024 in, trimmed by half of it, stand 0.012 off, which is within 1/64 but not by 0.01
    one = settled(inner(), known(MADE), known(MADE))
    rim = replace(one.flushness, lowest_in=0.0, highest_in=0.024, centre_in=0.012)
    found = [
        (Ball(label=name), replace(one, flushness=rim, verdict="leans", tilt_left_in=0.017, half_width_in=half_in))
        for name, half_in in zip(("Blue", "Red"), halves_in, strict=True)
    ]
    advice = inner_grids._list_advice(1.25, found, 1 / 64, is_all_known=True)
    assert bool([line for line in advice.cuts if line.startswith("Trimming")]) is is_cut


@pytest.mark.parametrize(
    ("turn", "words"),
    [
        (0.3, "with the same notch"),
        (359.7, "with the same notch"),
        (180.2, "with its notch 180° clockwise"),
        (181.0, "with its notch 179° anticlockwise"),
        (-5.0, "with its notch 5° anticlockwise"),
        (354.6, "with its notch 5° anticlockwise"),
    ],
)
def test_a_notch_is_told_by_the_shorter_way(monkeypatch: pytest.MonkeyPatch, turn: float, words: str) -> None:
    monkeypatch.setattr(inner_grids, "best_new_inner", lambda *_: NewInner(0.0, turn, 0.01))
    how = settled(inner(), known(MADE), known(MADE))
    told = inner_grids._describe_new_inner(1.25, [(Ball(label="Blue"), how)], Trim(0.0, 0.05, 0.05))
    assert words in told


@pytest.mark.parametrize(
    ("doubts", "verdict", "deeper", "said"),
    [
        (("its pitch",), "measure", -0.05, "not everything"),
        (("its pitch",), "proud", 0.05, "not everything"),
        (("its pitch",), "sunk", -0.05, "shim under the sleeve by 3/64"),
        ((), "measure", 0.05, "the depths are not known"),
        ((), "proud", 0.05, "deepen the seat by 3/64"),
        ((), "sunk", -0.05, "shim under the sleeve by 3/64"),
    ],
)
def test_a_seat_is_cut_deeper_only_where_everything_is_known(
    doubts: tuple[str, ...], verdict: str, deeper: float, said: str
) -> None:
    how = replace(settled(inner(), known(MADE), known(MADE)), doubts=doubts, verdict=verdict)
    how = replace(how, wanted_depth_in=how.fitted.depth_in + deeper)
    assert said in inner_grids._describe_depth_remedy(Ball(label="Blue"), how)


Values = dict[str, Fraction]


def pair(session: Session, home: Values, others: list[Values]) -> list[str]:
    """What is said of an inner from a bore at home in balls with these other bores; all but pitch alike."""
    for ball in session.scalars(select(Ball).where(Ball.bowler_id == 1)):
        ball.retired_at = now()
    own(session, 1 + len(others), 1)
    drilled = session.scalars(select(Drilling).order_by(Drilling.id.desc()).limit(1 + len(others))).all()[::-1]
    for drilling, more in zip(drilled, [home, *others], strict=True):
        values = {
            "depth_in": Fraction(11, 4),
            "forward_in": Fraction(0),
            "right_in": Fraction(0),
            "notch_deg": Fraction(180),
        }
        for name, value in (values | more).items():
            setattr(session.get(Bore, drilling.bore_id), name, value)
    session.flush()
    grid = inner_grids.build_grid(session, 1)
    return list(grid.advice[next(i for i in grid.inners if i.label == "inner 0").id].lines)


def test_a_notch_is_turned_back_only_where_that_brings_the_rim_within_the_limit(session: Session) -> None:
    # by hand: pitches that differ by p leave lips of about p × (5/8) ÷ 4.3 when turned alike: 0 where they agree, and
    # 0.041 for 0.28, which is more than the limit of 1/64 and less than ten times that
    side = {"forward_in": Fraction(-1, 4), "right_in": Fraction(1, 8)}
    half = {"forward_in": Fraction(0), "right_in": Fraction(0)}
    lines = pair(session, side, [side | {"notch_deg": Fraction(260)}, half | {"notch_deg": Fraction(260)}])
    said = [line for line in lines if "glued in again" in line]
    assert len(said) == 1
    assert said[0].startswith("ball 1: its notch is 80° off")


@pytest.mark.parametrize(
    ("centre_64", "tilt_64", "is_helped"),
    [(0.49, 2, False), (0.51, 2, True), (-0.51, 2, True), (-0.49, 2, False), (0.49, 0.5, True), (0.0, 0.5, False)],
)
def test_another_depth_helps_a_tilted_rim_only_from_half_the_limit_on(
    centre_64: float, tilt_64: float, is_helped: bool
) -> None:
    # by hand: the limit is 1/64; a rim within it but for its height is helped by any step worth the name
    how = settled(inner(), known(MADE), known(MADE))
    off = replace(how, flushness=replace(how.flushness, centre_in=centre_64 / 64), tilt_left_in=tilt_64 / 64)
    assert inner_grids._is_helped_by_depth(replace(off, verdict="lower"), 1 / 64) == is_helped
    assert inner_grids._is_helped_by_depth(replace(off, verdict="measure"), 1 / 64)


@pytest.mark.parametrize("deeper", ["0", "1/5000", "-1/5000", "1/250"])
def test_a_rim_that_is_only_tilted_is_not_cured_by_a_cut_or_shim_of_nothing(session: Session, deeper: str) -> None:
    # the same pitch the other way round: the centre differs by what the depths differ, less than half the lip
    home, other = (
        {"right_in": Fraction(1, 4)},
        {"right_in": Fraction(-1, 4), "depth_in": Fraction(11, 4) + Fraction(deeper)},
    )
    lines = pair(session, home, [other])
    assert not [line for line in lines if "deepen the seat" in line or "shim" in line]
    assert any(line.startswith("No depth cures the tilt in ball 1") for line in lines)
    words = next(line for line in lines if line.startswith("One new inner for all"))
    assert "trimmed at the same height" in words


@pytest.mark.parametrize(
    ("depth", "notch", "way"), [(Fraction(45, 16), 200, "higher"), (Fraction(43, 16), 150, "lower")]
)
def test_one_new_inner_for_all_is_what_a_search_over_the_surfaces_finds(
    session: Session, depth: Fraction, notch: int, way: str
) -> None:
    # outside source: every degree of turn, best height half way, on the geometry paper's surfaces by numpy; a
    # deeper bore lets the old inner sink, so that the new one stands higher
    home = {"forward_in": Fraction(-1, 4), "right_in": Fraction(1, 8)}
    other = {
        "forward_in": Fraction(-1, 8),
        "right_in": Fraction(-1, 16),
        "depth_in": depth,
        "notch_deg": Fraction(notch),
    }
    lines = pair(session, home, [other])
    made, fitted = Shape(27.0, 1.5, 2.75, -0.25, 0.125), Shape(27.0, 1.5, float(depth), -0.125, -0.0625)
    clock, searched = np.radians(np.arange(0, 360, 2)), []
    for turn in np.arange(0.0, 360.0, 1.0):
        rims = np.concatenate([proud(made, made, turn, clock), proud(made, fitted, turn + notch - 180, clock)])
        searched.append(((rims.max() - rims.min()) / 2, (rims.max() + rims.min()) / 2))
    worst, lower = min(searched)
    words = next(line for line in lines if line.startswith("One new inner for all"))
    told = re.search(r"trimmed (.+) (higher|lower) with .*: worst lip (.+) instead", words)
    assert told and told[2] == way == ("lower" if lower > 0 else "higher")
    assert told_in(told[1]) == pytest.approx(abs(lower), abs=0.001)
    assert told_in(told[3]) == pytest.approx(worst, abs=0.001)


def told_in(words: str) -> float:
    """The value of a length as it is shown: `3/64 − 0.005`."""
    near, sign, rest = not_none(re.fullmatch(r"([^ ]+)(?: ([+−]) ([.\d]+))?", words)).groups()
    return float(Fraction(near)) + (float(rest) if sign == "+" else -float(rest) if sign else 0.0)
