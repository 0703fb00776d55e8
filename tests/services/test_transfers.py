from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.schemas.fits import TransferForm
from app.services import drillings, fits, transfers
from tests.conftest import not_none
from tests.services.conftest import Make


@pytest.mark.parametrize(
    "changed",
    [{"middle_cut": "1"}, {"system_id": ""}, {"circumference": "26.8"}, {"thumb_hole": "15/16 + 1/8 @ 45 left"}, {"ring_cut": "7/8", "middle_cut": "7/8"}],
)  # fmt: skip
def test_on_other_hardware_the_finished_fit_stays(session: Session, make: Make, changed: dict[str, str]) -> None:
    of = make()
    fit = fits.get_fit(session, not_none(of.fit_id))
    form = TransferForm.read({"system_id": str(of.system_id)} | changed)
    result = transfers.compare_hardware(session, fit, form)
    for name in ("middle", "ring"):
        old, new = getattr(result.before, f"{name}_spans"), getattr(result.after, f"{name}_spans")
        assert new.finished_in == pytest.approx(old.finished_in, abs=1e-9)
    assert result.after.bridge_finished_in == pytest.approx(result.before.bridge_finished_in, abs=1e-9)
    assert any(line.words for line in result.moved) or "circumference" in changed  # moves less than a tenth of a 64th


def test_an_insert_wider_by_a_32nd_shortens_the_cut_span_by_half_of_it(session: Session, make: Make) -> None:
    # hand-worked, first order: the near edge moves by half the growth of the diameter
    fit = fits.get_fit(session, not_none(make().fit_id))
    result = transfers.compare_hardware(
        session, fit, TransferForm.read({"system_id": str(fit.system_id), "middle_cut": "1"})
    )
    moved = result.after.middle_spans.cut_in - result.before.middle_spans.cut_in
    assert moved == pytest.approx(-1 / 64, abs=3e-4)


def test_a_bore_smaller_than_its_finished_hole_is_refused(session: Session, make: Make) -> None:
    fit = fits.get_fit(session, not_none(make().fit_id))
    with pytest.raises(InvalidError) as refused:
        transfers.compare_hardware(session, fit, TransferForm.read({"middle_cut": "1/2"}))
    assert "middle_cut" in refused.value.fields


def test_two_drillings_are_compared_as_a_hand_would_feel_them(session: Session, make: Make, who: str) -> None:
    one = make()
    other_system = {"label": "other", "notch": "7:00"}
    two = make(system=other_system, thumb_pitch="3/8 reverse, 0", spans="4 1/64 x 4 1/8", hand="right")
    lines = {
        d.what: d
        for d in transfers.compare_drillings(
            session, drillings.get_drilling(session, one.id), drillings.get_drilling(session, two.id)
        )
    }
    assert lines["finished span to middle"].words == "+1/64 longer"
    pitch = lines["thumb pitch, forward or reverse"].words
    assert pitch.startswith("4/32 more reverse (1.6")
    assert "the thumb now points more reverse" in pitch


def test_an_inner_taken_to_another_notch_turns(session: Session, who: str) -> None:
    one, two = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    not_none(two.bore).notch_deg = Fraction(210)
    lines = {d.what: d for d in transfers.compare_drillings(session, one, two)}
    assert lines["the same inner is turned"].new == "30° clockwise"
    assert "its oval then at 75°" in lines["the same inner is turned"].words


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (45, 75, "turned 30° clockwise"),
        (75, 45, "turned 30° anticlockwise"),
        (170, 10, "turned 20° clockwise"),
        (45, 45, ""),
    ],
)
def test_an_oval_turns_the_short_way_round(session: Session, old: int, new: int, words: str) -> None:
    # by hand: an oval has no ends, so 170° to 10° is 20° on and not 160° back
    one, two = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    for of, deg in ((one, old), (two, new)):
        plan = not_none(of.plan)
        thumb = replace(plan.grip.thumb, oval_in=1 / 16, oval_deg=float(deg))
        of.plan = replace(plan, grip=replace(plan.grip, thumb=thumb))
    line = next(d for d in transfers.compare_drillings(session, one, two) if d.what == "thumb oval as specified")
    assert (line.old, line.new, line.words) == (f"1/16 at {old}°", f"1/16 at {new}°", words)


def test_foreign_drillings_without_a_plan_compare_what_is_known(session: Session) -> None:
    assert transfers.compare_drillings(session, drillings.get_drilling(session, 1), drillings.get_drilling(session, 4))
