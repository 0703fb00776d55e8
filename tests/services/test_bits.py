from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.calculation.bores import Bore
from app.errors import InvalidError
from app.models import Bit, BitEvent, Drilling, DrillingStep
from app.models.numbers import LengthNumber
from app.models.plans import OwnedFit, PlannedOwned
from app.schemas.bits import BitEventForm, BitForm
from app.services import bits, changes
from tests.conftest import Client, not_none

START = datetime(2026, 9, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def bit(session: Session, who: str) -> Bit:
    made = bits.add(session, BitForm.read({"who": who, "label": "no. 2", "material": "carbide", "bores_limit": "10"}))
    session.flush()
    return made


def bore(
    session: Session, deviations_64: list[float], start: datetime = START, first: int = 100, datum: str = "collar"
) -> None:
    """Bores to the collar with this bit, a day apart, each this many 64ths deeper than planned."""
    for i, deviation in enumerate(deviations_64):
        session.add(
            DrillingStep(
                drilling_id=3, position=first + i, action="bore", hole="thumb", words="Bore to the collar", is_cut=True,
                numbers=(LengthNumber("depth", 2.75),), reads=["depth", "bit"],
                ticked_at=start + timedelta(days=i), staff_id=1, met_depth_in=Fraction(11, 4) + Fraction(deviation) / 64,
                met_datum=datum, met_bit="no. 2",
            )
        )  # fmt: skip
    session.flush()


def card(session: Session) -> bits.BitCard:
    return next(c for c in bits.list_cards(session) if c.bit.label == "no. 2")


def test_under_eight_points_a_chart_says_too_few(session: Session, bit: Bit) -> None:
    bore(session, [0.25, -0.25, 0.0, 0.25, -0.25, 0.0, 0.25])
    assert (card(session).chart, card(session).to_go, card(session).signal) == (None, 1, "")


@pytest.mark.parametrize(
    ("datum", "counted"), [("collar", 8), ("rim_high", 8), ("crown", 0), ("rim_low", 0), ("unknown", 0)]
)
def test_a_chart_takes_only_depths_from_where_the_collar_rests(
    session: Session, bit: Bit, datum: str, counted: int
) -> None:
    # a collar rests on the highest point left; from any other datum the same bore reads deeper or shallower
    bore(session, [0.0] * 8, datum=datum)
    assert (len(card(session).readings), card(session).to_go) == (counted, 8 - counted)
    assert card(session).bores == 8  # every one of them wears the bit


def test_a_steady_collar_is_quiet(session: Session, bit: Bit) -> None:
    bore(session, [0.5, -0.5, 0.25, -0.25, 0.5, -0.5, 0.0, 0.25, -0.25, 0.0])
    assert card(session).signal == ""
    assert card(session).to_go == 0


def test_a_collar_that_slips_is_told_at_the_bench_with_its_day(session: Session, bit: Bit, client: Client) -> None:
    bore(session, [0.25, -0.25, 0.0, 0.25, -0.25, 0.0, 0.25, -0.25, 1.5, 1.5, 1.75, 1.5, 1.75, 1.5, 1.5, 1.75])
    found = card(session)
    assert "deeper since 2026-09-1" in found.signal
    assert ("no. 2", found.signal) in bits.list_signals(session)
    session.commit()
    assert "deeper since" in client.get("/drillings/3/bench").text
    assert "deeper since" in client.get("/bits").text


def test_a_collar_set_off_its_target_is_told_as_that_and_not_as_a_slip(session: Session, bit: Bit) -> None:
    bore(session, [2.0, 1.5, 2.0, 2.5, 2.0, 1.5, 2.0, 2.5, 2.0, 2.0, 1.5, 2.5])
    assert card(session).signal == "collar was set +2/64 deeper than planned"


def test_one_wild_bore_is_told_while_it_is_the_last_and_is_no_slip(session: Session, bit: Bit) -> None:
    # by hand: the first eight have a mean of 1/4
    bore(session, [0.5, 0.0, 0.25, 0.5, 0.0, 0.25, 0.5, 0.0, 0.25, 0.5, 0.25, 0.0, 0.25, 0.5, 8.25])
    assert card(session).signal == "the last bore alone came out +8/64 deeper than the others"
    bore(session, [0.0], START + timedelta(days=40), 300)
    assert card(session).signal == ""


def test_a_signal_counts_from_the_charts_own_centre(session: Session, bit: Bit) -> None:
    # by hand: the first eight have a mean of 1/4; of a step of 2 the average keeps 2 × (1 − 0.8⁸) = 1.66
    bore(session, [0.5, 0.0, 0.25, 0.5, 0.0, 0.25, 0.5, 0.0] + [2.25] * 8)
    assert card(session).signal.startswith("collar reads +1.7/64 deeper since 2026-09-")


def test_what_comes_later_moves_neither_centre_nor_spread(session: Session, bit: Bit) -> None:
    bore(session, [0.5, -0.5, 0.25, -0.25, 0.5, -0.5, 0.0, 0.25])
    fixed = not_none(card(session).chart)
    bore(session, [1.5, -1.5] * 10, START + timedelta(days=20), 300)
    assert (not_none(card(session).chart).centre, not_none(card(session).chart).sigma) == (fixed.centre, fixed.sigma)


def test_a_set_up_starts_the_chart_anew_and_a_sharpening_the_life(session: Session, bit: Bit, who: str) -> None:
    bore(session, [1.5] * 9)
    assert card(session).bores == 9
    session.add(BitEvent(bit_id=bit.id, what="collar_set", staff_id=int(who), at=START + timedelta(days=20)))
    session.flush()
    assert (len(card(session).readings), card(session).bores) == (0, 9)
    session.add(BitEvent(bit_id=bit.id, what="sharpened", staff_id=int(who), at=START + timedelta(days=21)))
    bore(session, [0.0, 0.25], START + timedelta(days=30), 300)
    assert (len(card(session).readings), card(session).bores, card(session).sharpenings) == (2, 2, 1)


def test_a_collar_set_after_a_sharpening_leaves_the_life_as_it_was(session: Session, bit: Bit) -> None:
    # one bore a day from START: the third on are of this edge, the sixth on of this collar
    for what, days in (("sharpened", 2), ("collar_set", 5)):
        session.add(BitEvent(bit_id=bit.id, what=what, at=START + timedelta(days=days, hours=-12), staff_id=1))
    bore(session, [0.0] * 9)
    assert (card(session).bores, len(card(session).readings)) == (7, 4)


def test_only_bores_after_the_last_set_up_are_charted(session: Session, bit: Bit) -> None:
    for days in (2, 5):
        at = START + timedelta(days=days, hours=12)
        session.add(BitEvent(bit_id=bit.id, what="collar_set", at=at, staff_id=1))
    bore(session, [0.0] * 9)
    assert (len(card(session).readings), card(session).bores) == (3, 9)


def test_a_bit_over_its_limit_says_so(session: Session, bit: Bit) -> None:
    bore(session, [0.25, -0.25] * 5)
    assert card(session).is_worn
    assert any("over the shop's limit" in words for _, words in bits.list_signals(session))


def test_what_is_done_to_a_bit_leaves_history(session: Session, bit: Bit, who: str) -> None:
    bits.note_event(session, bit.id, BitEventForm.read({"who": who, "what": "sharpened", "note": "by hand"}))
    session.flush()
    assert changes.list_record_lines(session, bit)[0].new == "sharpened"


def test_two_bits_of_one_label_are_refused(session: Session, bit: Bit, who: str) -> None:
    with pytest.raises(InvalidError):
        bits.add(session, BitForm.read({"who": who, "label": "no. 2"}))


# Gauge studies ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bores", "limit", "is_worn"), [(9, 10, False), (10, 10, True), (11, 10, True), (99, None, False)]
)
def test_a_bit_is_worn_once_its_bores_reach_its_limit(bores: int, limit: int | None, is_worn: bool) -> None:
    assert bits.BitCard(Bit(bores_limit=limit), bores=bores).is_worn == is_worn


@pytest.mark.parametrize(("readings", "to_go"), [(0, 8), (7, 1), (8, 0), (9, 0)])
def test_a_chart_waits_for_eight_readings_after_a_set_up(readings: int, to_go: int) -> None:
    reading = bits.CollarReading(START, 1, 0.0)
    assert bits.BitCard(Bit(), readings=[reading] * readings).to_go == to_go


def test_only_sharpenings_are_counted_as_such() -> None:
    events = [BitEvent(what=what) for what in ("sharpened", "collar_set", "sharpened", "replaced", "collar_set")]
    assert bits.BitCard(Bit(), events=events).sharpenings == 2


@pytest.mark.parametrize("is_trial", [True, False])
def test_a_bore_deepened_by_the_trial_of_an_owned_inner_tells_nothing_of_the_collar(
    session: Session, bit: Bit, is_trial: bool
) -> None:
    """Its plan bores shallow first and deepens by what the inner shows: the collar was moved on purpose."""
    planned = session.scalars(select(Drilling).order_by(Drilling.id)).all()
    drilling = next(d for d in planned if d.plan and d.plan.bore)
    words = "shallow first, for a trial with the bowler's own inner" if is_trial else "our collar"
    bore(session, [0.0] * 8)
    bore(session, [8.0], START + timedelta(days=8), first=108)
    session.execute(update(DrillingStep).where(DrillingStep.met_bit == "no. 2").values(drilling_id=drilling.id))
    plan = not_none(drilling.plan)
    made = Bore(27.0, 1.5, 2.75)
    fit = OwnedFit(0.0, 0.0, 2.75, 0.0, 0.0, 0.0, None, None, None)
    owned = PlannedOwned(
        1, "feel", 1.25, 0.9375, 0.0, (0.0, 0.0), None, "", 0.0, 0.0, 2.75, "", 1 / 64, (0.9375, 0.0, 0.0, 0.0, 0.0),
        fit, None, unknown=("the pitch of the bore it was trimmed in",), possible=(made,), depths_in=(2.75, 2.9),
    )  # fmt: skip
    drilling.plan = replace(
        plan, owned=owned if is_trial else None, bore=replace(not_none(plan.bore), depth_words=words)
    )
    session.flush()
    found = card(session)
    assert (len(found.readings), found.bores) == ((0, 9) if is_trial else (9, 9))
    for half, is_tried in ((1 / 64, False), (0.016, True)):  # the height of an inner of which nothing is unknown
        drilling.plan = replace(plan, owned=replace(owned, unknown=(), half_width_in=half))
        session.flush()
        assert bits._list_trials(session, {drilling.id}, 1 / 64) == ({drilling.id} if is_tried else set())
    assert (found.signal == "") == is_trial
