"""The range of a rim while something is not known, by the surfaces of the geometry paper over every turn with numpy."""

from fractions import Fraction

import numpy as np
import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation import bores
from app.calculation.bores import Bore
from app.errors import InvalidError
from app.measures.pitches import Pitch
from app.models import Drilling, Inner, InsertSystem
from app.services import felt, inner_grids, visitors
from app.services.drillings import get_drilling
from app.services.unsettled import LEVEL_IN, list_outside_doubts, predict_range
from tests.conftest import Client, not_none
from tests.services.conftest import Take
from tests.services.test_inners_in_bores import proud
from tests.services.test_visitors import GOOD

pytestmark = pytest.mark.once  # numbers, which no database changes


def test_an_unknown_notch_is_the_worst_of_every_turn_and_never_flush(session: Session, taken: Take, who: str) -> None:
    inner = taken(bore_pitch="3/8 reverse, 0", notch="unknown")
    prediction = visitors.predict_in_our_bore(session, inner, None, None)
    assert prediction.in_bore is None
    found = not_none(prediction.unsettled)
    assert found.verdict == "measure"
    ours = not_none(prediction.ours).shape
    turned = [bores.flushness(1.25, not_none(prediction.made).shape, ours, turn) for turn in range(0, 360, 3)]
    assert found.range.highest_in == pytest.approx(max(s.highest_in for s in turned), abs=1e-4)
    assert found.range.lowest_in == pytest.approx(min(s.lowest_in for s in turned), abs=1e-4)
    assert found.range.highest_in > 0.1  # what "flush, lock it in" was said over
    assert any("notch" in line for line in found.advice)


def test_straight_bores_with_an_unknown_notch_are_still_not_green(session: Session, taken: Take) -> None:
    inner = taken(bore_pitch="0", notch="unknown", depth="2.7525")
    of = session.scalars(select(Drilling).where(Drilling.bore_id == inner.trimmed_in_id)).one()
    prediction = visitors.predict_in_ball(session, inner, get_drilling(session, of.id))
    assert not_none(prediction.unsettled).range.highest_in == pytest.approx(0, abs=1e-9)
    assert not_none(prediction.unsettled).verdict == "measure"


def test_an_unknown_pitch_cannot_be_bored_at_and_another_gives_a_range(session: Session, taken: Take) -> None:
    inner = taken(bore_pitch="unknown")
    bare = visitors.predict_in_our_bore(session, inner, None, None)
    assert (bare.in_bore, bare.unsettled) == (None, None)
    assert "pitch it was trimmed at is not known" in bare.cannot_say
    pitch = Pitch(Fraction(-1, 4), Fraction(0))
    asked = visitors.predict_in_our_bore(session, inner, pitch, None)
    ours = not_none(asked.ours).shape
    for made in ((0.0, 0.0), (-0.5, 0.0), (0.3, -0.4), (-0.25, 0.0)):
        one = bores.flushness(1.25, bores.Bore(27.0, 1.5, 2.75, *made), ours)
        assert not_none(asked.unsettled).range.lowest_in - 1e-9 <= one.lowest_in
        assert one.highest_in <= not_none(asked.unsettled).range.highest_in + 1e-9
    assert not_none(asked.unsettled).verdict == "measure"


def test_a_rim_that_is_proud_whatever_the_unknown_is_called_proud(session: Session, taken: Take) -> None:
    inner = taken(bore_pitch="1/8 reverse, 0", notch="unknown", depth="3 1/4")
    found = not_none(visitors.predict_in_our_bore(session, inner, None, None).unsettled)
    assert found.verdict == "proud"


def test_the_grid_and_the_comparison_name_what_is_not_known(
    session: Session, taken: Take, who: str, lock: InsertSystem, client: Client
) -> None:
    inner = taken()
    blue = taken(ball_label="Blue", notch="unknown", bowler_id=str(inner.bowler_id))
    grid = inner_grids.build_grid(session, inner.bowler_id)
    home = {(i.id, d.id) for i in (inner, blue) for _, d in grid.drilled if d.bore_id == i.trimmed_in_id}
    cells = {key: how for key, how in grid.cells.items() if not isinstance(how, str)}
    assert {how.verdict for key, how in cells.items() if key not in home} == {"measure"}
    assert sorted(cells[key].verdict for key in home) == ["flush", "measure"]  # where the notch is known, and where not
    assert any("notch of this bore" in line for line in grid.advice[inner.id].undoable)
    pair = [session.scalars(select(Drilling).where(Drilling.bore_id == i.trimmed_in_id)).one() for i in (inner, blue)]
    lines = felt.compare_drillings(session, *(get_drilling(session, d.id) for d in pair))
    assert any("not known" in line.words for line in lines)
    session.commit()
    for url in (f"/bowlers/{inner.bowler_id}", f"/bowlers/{inner.bowler_id}/sits"):
        page = client.get(url)
        assert page.status_code == 200
        assert page.text.count(GOOD) == 1  # of the one that is known, in its own ball


MADE = (Bore(27.0, 1.5, 2.70, -0.25, 0.125), Bore(27.0, 1.5, 2.74, 0.125, 0.25))
FITTED = (Bore(26.875, 1.53125, 2.72, -0.125, -0.1875), Bore(27.0, 1.5, 2.75))
PITCH, NOTCH = "the pitch of this bore", "which way the notch of this bore points"


def rims() -> np.ndarray:
    clock = np.radians(np.arange(0, 360, 1.0))
    return np.array([proud(a, b, turn, clock) for a in MADE for b in FITTED for turn in range(0, 360, 2)])


LOWEST, HIGHEST = float(rims().min()), float(rims().max())


def test_the_range_holds_every_bore_and_every_turn() -> None:
    found = predict_range(1.25, (MADE, FITTED), 0.01, (PITCH,), None, 1 / 64)
    assert (found.range.lowest_in, found.range.highest_in) == pytest.approx((LOWEST, HIGHEST), abs=1e-4)
    assert (found.half_width_in, found.unknown, found.felt) == (0.01, (PITCH,), None)
    assert (found.verdict, found.unknown_words) == ("measure", PITCH)
    assert predict_range(1.25, (MADE, FITTED), 0.0, (PITCH, NOTCH), None, 0.0).unknown_words == f"{PITCH}, and {NOTCH}"
    with pytest.raises(InvalidError):
        predict_range(1.51, (MADE, FITTED), 0.01, (PITCH,), None, 1 / 64)


@pytest.mark.parametrize(
    ("deeper", "half", "verdict"), [(0.3, 0.02, "proud"), (-0.3, 0.02, "sunk"), (0.0, 0.0, "measure")]
)
def test_a_side_is_told_only_where_the_whole_range_and_its_doubt_lie_there(
    deeper: float, half: float, verdict: str
) -> None:
    made = tuple(Bore(b.circumference_in, b.bore_in, b.depth_in + deeper, b.forward_in, b.right_in) for b in MADE)
    found = predict_range(1.25, (made, FITTED), half, (PITCH,), None, 1 / 64)
    assert found.verdict == verdict
    nearest = min(abs(LOWEST + deeper), abs(HIGHEST + deeper)) - 1 / 64
    if verdict != "measure":  # the doubt at which the nearer end comes to the limit, and a little more
        assert predict_range(1.25, (made, FITTED), nearest - 2e-4, (PITCH,), None, 1 / 64).verdict == verdict
        assert predict_range(1.25, (made, FITTED), nearest + 2e-4, (PITCH,), None, 1 / 64).verdict == "measure"


@pytest.mark.parametrize("shift", [0.0, 0.05, -0.05])
def test_a_rim_within_the_limit_whatever_the_unknown_is_said_to_be_so(shift: float) -> None:
    made = tuple(Bore(b.circumference_in, b.bore_in, b.depth_in + shift, b.forward_in, b.right_in) for b in MADE)
    worst = max(HIGHEST + shift, -(LOWEST + shift))
    for lip, is_within in ((worst + 0.01 + 2e-4, True), (worst + 0.01 - 2e-4, False)):
        advice = predict_range(1.25, (made, FITTED), 0.01, (NOTCH,), None, lip).advice
        assert any("within the limit all the same" in line for line in advice) is is_within
        assert not any("every pitch" in line for line in advice)
    assert any(
        "every pitch up to 1/2" in s for s in predict_range(1.25, (made, FITTED), 0.0, (PITCH,), None, 0.1).advice
    )


@pytest.mark.parametrize(("uneven_in", "count"), [(0.9e-5, 0), (LEVEL_IN, 1), (0.03, 1)])
def test_an_unknown_outside_matters_from_where_a_rim_is_not_level(uneven_in: float, count: int) -> None:
    unknown = Inner(outside_in=None, system=InsertSystem(inner_ods=["5/4"]))
    assert len(list_outside_doubts(unknown, uneven_in)) == count
    assert list_outside_doubts(Inner(outside_in=Fraction(5, 4)), uneven_in) == ()
