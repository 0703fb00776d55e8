"""What a loose inner's rim tells of the bore it was trimmed in: geometry's surface with numpy, typed as it is read."""

from fractions import Fraction

import numpy as np
import pytest
from sqlalchemy.orm import Session

from app.calculation.bores import Bore
from app.errors import InvalidError
from app.schemas.inners import LooseForm
from app.services import inners
from app.services.loose_inners import read_loose, save_loose
from tests.conftest import not_none
from tests.services.test_inners_in_bores import surface

pytestmark = pytest.mark.once  # numbers, which no database changes

CLOCK = np.radians([0, 90, 180, 270])
TRUE = Bore(27.0, 1.5, 2.6875, -0.3125, 0.1875)


def form(who: str, heights: list[str]) -> LooseForm:
    return LooseForm.read(
        {"who": who} | dict(zip(("height_12", "height_3", "height_6", "height_9"), heights, strict=True))
    )


def doubts(spread: float) -> np.ndarray:
    """Standard uncertainties of depth, forward and right by numpy: spread² (JᵀJ)⁻¹, JCGM 100:2008 5.1."""
    at = np.array([TRUE.depth_in, TRUE.forward_in, TRUE.right_in])

    def rim(x: np.ndarray) -> np.ndarray:
        return surface(Bore(27.0, 1.5, *x), CLOCK)

    steps = [(rim(at + 1e-6 * unit) - rim(at - 1e-6 * unit)) / 2e-6 for unit in np.eye(3)]
    slopes = np.column_stack(steps)
    return np.asarray(spread * np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes))))


@pytest.mark.parametrize(("places", "division"), [(4, 1e-4), (3, 1e-3)])
def test_heights_tell_the_bore_as_finely_as_they_were_written(
    session: Session, who: str, places: int, division: float
) -> None:
    typed = [f"{height:.{places}f}" for height in surface(TRUE, CLOCK)]
    found = read_loose(session, inners.get_inner(session, 2), form(who, typed))
    depth_u, forward_u, right_u = doubts((0.002**2 + division**2 / 12) ** 0.5)
    assert found.depth_u_in == pytest.approx(depth_u, rel=0.01)
    assert found.pitch_u_in == pytest.approx(max(forward_u, right_u), rel=0.01)
    assert found.depth_in == pytest.approx(2.6875, abs=2 * division)
    assert (found.forward_in, found.right_in) == pytest.approx((-0.3125, 0.1875), abs=10 * division)


def test_a_division_of_a_64th_counts_beside_the_spread_of_a_height(session: Session, who: str) -> None:
    typed = ["2 43/64", "2 41/64", "2 39/64", "2 41/64"]
    found = read_loose(session, inners.get_inner(session, 2), form(who, typed))
    fine = read_loose(
        session, inners.get_inner(session, 2), form(who, [f"{float(sum(map(Fraction, t.split()))):.3f}" for t in typed])
    )
    ratio = (0.002**2 + (1 / 64) ** 2 / 12) ** 0.5 / (0.002**2 + 0.001**2 / 12) ** 0.5
    assert found.depth_u_in / fine.depth_u_in == pytest.approx(ratio, rel=1e-3)


def test_what_is_saved_is_the_shops_depth_and_the_bores_own_pitch(session: Session, who: str) -> None:
    inner = inners.get_inner(session, 2)
    typed = [f"{height:.4f}" for height in surface(TRUE, CLOCK)]
    found = read_loose(session, inner, form(who, typed))
    saved = save_loose(session, inner.id, form(who, typed))
    assert (saved.datum, saved.obtained, saved.inner_id) == ("collar", "loose_inner", inner.id)
    assert saved.resolution_in == Fraction(0)
    assert (saved.shop_id, saved.system_id) == (inner.trimmed_in.shop_id, inner.system_id)
    assert float(saved.depth_in) == pytest.approx(found.depth_in, abs=1e-6)
    assert float(saved.repeatability_in) == pytest.approx(found.depth_u_in, abs=1e-6)
    for of in (saved, inner.trimmed_in):
        told = float(not_none(of.forward_in)), float(not_none(of.right_in))
        assert told == pytest.approx((found.forward_in, found.right_in), abs=1e-6)


def test_heights_of_no_clean_cut_save_nothing(session: Session, who: str) -> None:
    bent = surface(TRUE, CLOCK) + np.array([0.01, 0.0, 0.01, 0.0])
    with pytest.raises(InvalidError) as refused:
        save_loose(session, 2, form(who, [f"{height:.4f}" for height in bent]))
    assert "off by 0.005 in" in refused.value.fields["height_12"].message
    assert inners.get_inner(session, 2).trimmed_in.forward_in == Fraction(-1, 4)
    with pytest.raises(InvalidError):
        read_loose(session, inners.get_inner(session, 2), form(who, ["2.7", "2.7", "0.2", "2.7"]))
