"""A card is built from records as they stand: every number exact, unknown unknown, and nobody else on it."""

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.cards.contents import Card
from app.cards.envelope import open_card, seal_card
from app.models import Bowler, DepthObservation, Fit, Inner, Measurement
from app.services import card_contents, depths, shops
from tests.cards.made import PRIVATE_KEY
from tests.conftest import not_none
from tests.services.cards import SERIES
from tests.services.conftest import Take

F = Fraction


def build(session: Session, bowler_id: int, hand: str = "right") -> Card:
    bowler = session.get_one(Bowler, bowler_id)
    return card_contents.build_card(session, bowler, hand, SERIES, date(2026, 5, 2))  # type: ignore[arg-type]


def test_the_fit_in_force_stands_on_the_card_as_it_was_typed(session: Session) -> None:
    """The demo's own fit, as its form says: seed_demo.world.FIT."""
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == 1, Fit.state == "in force")))
    told = not_none(build(session, 1, fit.hand).fit)
    assert (told.revision, told.in_force_on) == (fit.revision, not_none(fit.in_force_at).date())
    assert (told.middle_span_in, told.ring_span_in, told.span_edges) == (F(4), F(33, 8), "cut")
    thumb = not_none(told.thumb)
    assert (thumb.size_in, thumb.oval_in, thumb.oval_deg) == (F(15, 16), F(1, 16), F(45))
    assert (thumb.forward_in, thumb.right_in, thumb.offset_in) == (F(-1, 4), F(0), F(0))


def test_our_own_depth_is_told_as_our_observations_have_it(session: Session, taken: Take) -> None:
    """A visitor's inner is told with its shop's bore; how deep that shop bores is left to its own cards."""
    visiting = taken()
    card = build(session, visiting.bowler_id)
    ours = shops.require_our_shop(session)
    assert card.shops == (ours.name, visiting.trimmed_in.shop.name)
    bore, inner = card.bores[0], card.inners[0]
    assert (bore.shop, bore.depth_in, bore.datum, bore.forward_in) == (1, F(11, 4), "collar", F(-1, 4))
    assert (inner.outside_in, inner.hole_in, inner.forward_in, inner.bore) == (F(5, 4), F(31, 32), F(0), 0)
    known = depths.load_shop_depths(session, [ours.id])[ours.id, visiting.system_id]
    (told,) = card.depths
    assert told.shop == 0
    assert float(told.mean_in) == pytest.approx(known.estimate.depth_in, abs=0.00005)
    assert float(told.u_in) == pytest.approx(known.estimate.standard_uncertainty_in, abs=0.00005)
    assert (told.n, told.balls) == (len(known.observed), known.knowledge.balls)


def test_unknown_stays_unknown_and_never_asked_is_marked(session: Session, taken: Take) -> None:
    visiting = taken(bore_pitch="unknown", tilt="", notch="", depth="unknown", circumference="unknown")
    card = build(session, visiting.bowler_id)
    bore, inner = card.bores[0], card.inners[0]
    assert (bore.forward_in, bore.right_in, bore.depth_in, bore.circumference_in) == (None, None, None, None)
    assert (bore.is_notch_unsaid, inner.is_tilt_unsaid) == (True, True)


def test_no_note_phone_or_other_person_stands_on_a_card(session: Session) -> None:
    """Every free text of the person, and every other name, is looked for in the signed bytes."""
    bowler = session.get_one(Bowler, 1)
    bowler.notes, bowler.league, bowler.guardian = "swollen knuckle", "Monday trio", "Ulla 555"
    session.flush()
    data = seal_card(build(session, 1), PRIVATE_KEY)
    assert open_card(data).card.bowler == bowler.name
    notes = [m.note for m in session.scalars(select(Measurement)) if m.note]
    others = [b.name for b in session.scalars(select(Bowler)) if b.id != 1]
    for words in ("swollen", "Monday", "Ulla", bowler.phone, "7788", *notes, *others):
        assert words.encode() not in data, words


def test_retired_inners_and_those_of_the_other_hand_are_left_out(session: Session) -> None:
    assert build(session, 1, "right").inners
    assert build(session, 1, "left").inners == ()
    for inner in session.scalars(select(Inner).where(Inner.bowler_id == 1)):
        inner.retired_at = not_none(session.get(Bowler, 1)).created_at
    session.flush()
    assert build(session, 1).inners == ()


def test_a_depth_read_in_that_ball_alone_is_told_with_its_doubt(session: Session, taken: Take) -> None:
    visiting = taken(depth="2 47/64", obtained="read_off_ball")
    read = not_none(session.scalar(select(DepthObservation).order_by(DepthObservation.id.desc())))
    bore = build(session, visiting.bowler_id).bores[0]
    assert bore.depth_in == read.depth_in == F(175, 64)
    assert bore.depth_u_in is not None
    assert 0 < bore.depth_u_in < F(1, 32)
    assert replace(bore, depth_u_in=None).datum == "collar"
