"""A card is taken in exactly, as a draft, inners and bores of that shop, and is taken back whole."""

from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.cards.envelope import Opened
from app.errors import ConflictError, InvalidError
from app.measures.pitches import Pitch
from app.models import Bore, Bowler, Change, Inner, InsertSystem, ReadCard, Shop, StatedDepth
from app.schemas.cards import AcceptanceForm, CardTakingBackForm, IssueForm
from app.schemas.fits import FitForm
from app.schemas.personal import ErasureForm
from app.services import (
    card_contents,
    card_issues,
    card_previews,
    card_reading,
    card_undoing,
    fits,
    grips,
    inners,
    known_keys,
    personal,
    visitors,
)
from tests.cards.made import BORE, DEPTH, INNER, INSERTS, THUMB_HARDWARE, make_fit
from tests.conftest import not_none
from tests.services.cards import OTHER_KEY, open_made, open_twin, take

F = Fraction


def accept(session: Session, who: str, opened: Opened) -> None:
    """An owner compares a key's digits and accepts it."""
    key = not_none(known_keys.find_known(session, opened.public_key))
    known_keys.accept(session, key.id, AcceptanceForm.read({"who": who, "version": key.version, "why": "telephoned"}))
    session.flush()


def test_a_card_is_taken_in_for_a_new_bowler_exactly(session: Session, who: str) -> None:
    """The fit of tests.cards.made, number by number, through our own forms."""
    opened = open_made()
    taken = take(session, who, opened)
    bowler = session.get_one(Bowler, taken.bowler_id)
    assert (bowler.name, bowler.hand) == ("Ada Quillfeather", "right")
    fit = fits.get_fit(session, taken.made["fit"][0])
    assert (fit.state, fit.reason) == ("draft", "from the card of Harbour Lane")
    assert (fit.span_middle_in, fit.span_ring_in, fit.span_edges) == (F(257, 64), F(133, 32), "cut")
    assert (fit.hole("thumb").oval_in, fit.hole("thumb").oval_deg) == (F(1, 16), F(45))
    assert (fit.hole("ring").forward_in, fit.hole("ring").right_in) == (F(-1, 4), F(-1, 8))
    assert fit.typed["spans"] == "middle 4 1/64, ring 4 5/32"
    dry, humid = (inners.get_inner(session, i) for i in taken.made["inner"])
    assert (dry.label, dry.outside_in, dry.hole_in, dry.oval_deg) == ("dry days", F(5, 4), F(15, 16), F(45))
    assert (dry.trimmed_in.depth_in, dry.trimmed_in.depth_u_in, dry.trimmed_in.datum) == (F(11, 4), F(1, 250), "collar")
    assert (humid.trimmed_in.depth_in, humid.trimmed_in.is_pitch_unsaid, humid.trimmed_in.notch_deg) == (
        None,
        True,
        F(30),
    )
    assert {dry.trimmed_in.shop.name, humid.trimmed_in.shop.name} == {"Harbour Lane"}
    said = session.scalars(select(StatedDepth)).one()
    assert (said.mean_in, said.u_in, said.scatter_in, said.n, said.balls) == (
        F(27506, 10000),
        F(53, 10000),
        F(81, 10000),
        5,
        4,
    )
    lines = session.scalars(select(Change.noun).where(Change.bowler_id == bowler.id)).all()
    assert {"fit", "inner", "bore", "stated_depth", "read_card"} <= set(lines)


def test_a_twin_shops_card_comes_back_as_the_same_records(session: Session, who: str) -> None:
    """There and back: what a shop with the demo's records would issue is rebuilt from what was taken in, exactly."""
    opened = open_twin(session, 1)
    card = opened.card
    taken = take(session, who, opened)
    bowler = session.get_one(Bowler, taken.bowler_id)
    again = card_contents.build_card(session, bowler, card.hand, card.series, card.made_on)
    assert [replace(i, hardware=0) for i in again.inners] == [replace(i, hardware=0) for i in card.inners]
    assert [replace(b, hardware=0, shop=0) for b in again.bores] == [replace(b, hardware=0, shop=0) for b in card.bores]
    fit = fits.get_fit(session, taken.made["fit"][0])
    told = card_contents.tell_fit(fit, lambda _: None)
    of_card = not_none(card.fit)
    assert (told.middle_span_in, told.thumb) == (of_card.middle_span_in, of_card.thumb)


def test_the_adviser_predicts_at_once_how_the_inner_sits_here(session: Session, who: str) -> None:
    opened = open_twin(session, 1)
    taken = take(session, who, opened)
    inner = inners.get_inner(session, taken.made["inner"][0])
    found = visitors.predict_in_our_bore(session, inner, None, None)
    assert found.in_bore is not None
    assert found.foreign is not None
    assert [s.known.balls for s in found.foreign.stated] == [opened.card.depths[0].balls]
    assert found.in_bore.flushness.centre_in == pytest.approx(
        not_none(found.ours).shape.depth_in - not_none(found.made).shape.depth_in, abs=0.02
    )
    other = visitors.predict_in_our_bore(session, inner, Pitch(F(0), F(0)), None)
    assert other.in_bore is not None


def test_what_a_card_does_not_know_stays_unknown(session: Session, who: str) -> None:
    """An oval without its direction is not one at 0°, and a shim of which nothing is said is not none."""
    oval = replace(INNER, oval_in=F(1, 16), oval_deg=None)
    for shim, revision in ((None, 1), (F(0), 2), (F(1, 32), 3)):
        opened = open_made(inners=(oval,), bores=(replace(BORE, shim_in=shim),), revision=revision)
        taken = take(session, who, opened, takes_fit="", takes_depths="")
        made = inners.get_inner(session, taken.made["inner"][0])
        assert (made.hole_in, made.oval_in, made.oval_deg) == (None, None, None)
        bowler = session.get_one(Bowler, taken.bowler_id)
        again = card_contents.build_card(session, bowler, "right", opened.card.series, opened.card.made_on)
        assert (again.bores[0].shim_in, again.inners[0].oval_deg) == (shim, None)
    round_one = replace(INNER, oval_in=F(0), oval_deg=None)
    taken = take(session, who, open_made(inners=(round_one,), bores=(BORE,), revision=4), takes_fit="")
    made = inners.get_inner(session, taken.made["inner"][0])
    assert (made.hole_in, made.oval_in, made.oval_deg) == (INNER.hole_in, F(0), F(0))


def test_an_inner_of_which_a_part_is_unknown_is_known_again_and_the_rest_is_kept_in_words(
    session: Session, who: str
) -> None:
    oval = replace(INNER, oval_in=F(1, 16), oval_deg=None)
    first = take(session, who, open_made(inners=(oval,), revision=1), takes_fit="", takes_depths="")
    made = inners.get_inner(session, first.made["inner"][0])
    assert made.notes == "The card knows in part: hole 15/16 hole, 1/16 wider towards unknown."
    again = take(session, who, open_made(inners=(oval,), revision=2), bowler_id=not_none(first.bowler_id), takes_fit="")
    assert again.made["inner"] == []


@pytest.mark.parametrize("finger", ["middle", "ring"])
def test_a_fit_with_one_unknown_span_comes_in_as_a_draft(session: Session, who: str, finger: str) -> None:
    made = make_fit()
    half = replace(made, middle_span_in=None) if finger == "middle" else replace(made, ring_span_in=None)
    opened = open_made(fit=half)
    fit = fits.get_fit(session, take(session, who, opened).made["fit"][0])
    known = {"middle": F(257, 64), "ring": F(133, 32)} | {finger: None}
    assert (fit.state, fit.span_middle_in, fit.span_ring_in) == ("draft", known["middle"], known["ring"])
    assert (grips.list_missing(fit), grips.list_unknown(fit)) == ([], ["spans"])
    typed = FitForm.read(fit.typed | {"who": who, "hand": "right", "style": fit.style, "reason": "as it was"}
        | {"span_edges": fit.span_edges, "bridge_edges": fit.bridge_edges, "version": fit.version,
           "system_id": fit.system_id, "first_finger": "middle"})  # fmt: skip
    assert fits.edit(session, fit.id, typed).span_in(finger) is None
    assert fit.span_in("ring" if finger == "middle" else "middle") is not None


def test_a_fit_with_a_pitch_and_an_oval_that_are_known_in_part_comes_in_as_a_draft(session: Session, who: str) -> None:
    made = make_fit()
    thumb, ring = not_none(made.thumb), not_none(made.ring)
    half = replace(made, thumb=replace(thumb, oval_deg=None), ring=replace(ring, right_in=None))
    fit = fits.get_fit(session, take(session, who, open_made(fit=half)).made["fit"][0])
    assert (fit.hole("thumb").hole_in, fit.hole("ring").forward_in) == (None, None)
    assert (fit.hole("ring").hole_in, fit.hole("thumb").right_in) == (F(21, 32), F(1, 8))
    assert fit.hand_notes == (
        "The card knows in part: thumb hole 15/16 hole, 1/16 wider towards unknown; ring pitch 1/4 reverse, unknown."
    )


def test_an_existing_bowler_gets_what_is_new_and_no_inner_twice(session: Session, who: str) -> None:
    opened = open_made()
    first = take(session, who, opened)
    second = take(session, who, open_made(revision=4), bowler_id=not_none(first.bowler_id), takes_fit="")
    assert second.made["inner"] == []
    count = select(func.count()).select_from(Inner).where(Inner.bowler_id == first.bowler_id)
    assert session.scalar(count) == 2
    assert session.scalar(select(func.count()).select_from(Shop).where(Shop.name.like("Harbour Lane%"))) == 1
    with pytest.raises(ConflictError):  # that hand's draft is not finished
        take(session, who, open_made(revision=5), bowler_id=not_none(first.bowler_id))


def test_what_our_forms_cannot_hold_is_refused_and_never_bent(session: Session, who: str) -> None:
    for fit in (replace(make_fit(), middle_span_in=F(8)), replace(make_fit(), bridge_in=F(7))):
        with pytest.raises(InvalidError):
            take(session, who, open_made(fit=fit))


def test_a_shop_that_is_not_ours_cannot_speak_for_ours(session: Session, who: str) -> None:
    ours = not_none(session.scalar(select(Shop).where(Shop.is_ours)))
    opened = open_twin(session, 1, shop=ours.name)
    with pytest.raises(ConflictError):
        take(session, who, opened)
    accept(session, who, opened)
    with pytest.raises(InvalidError):
        take(session, who, opened, **{"shop-0": str(ours.id)})
    session.rollback()
    card_reading.tell(session, int(who), opened)
    accept(session, who, opened)
    with pytest.raises(InvalidError) as asked:
        take(session, who, opened)
    assert set(asked.value.fields) == {"shop-0"}
    taken = take(session, who, opened, **{"shop-0": "0"})
    said = session.scalars(select(StatedDepth).where(StatedDepth.card_id == taken.id)).all()
    assert ours.id not in {row.shop_id for row in said}


def test_our_own_card_brings_no_depth(session: Session, who: str) -> None:
    issued = card_issues.issue(session, 1, IssueForm.read({"who": who, "hand": "right"}))
    session.flush()
    opened = card_reading.open_any(issued.data, "")
    ours = not_none(session.scalar(select(Shop).where(Shop.is_ours)))
    take(session, who, opened, takes_fit="", **{"shop-0": str(ours.id)})
    assert session.scalar(select(func.count()).select_from(StatedDepth)) == 0


def test_a_changed_key_brings_nothing_until_it_is_accepted(session: Session, who: str) -> None:
    take(session, who, open_made(), takes_fit="", takes_inners="")
    with pytest.raises(ConflictError):
        take(session, who, open_made(OTHER_KEY))
    accept(session, who, open_made(OTHER_KEY))
    assert take(session, who, open_made(OTHER_KEY)).outcome == "taken in"


@pytest.mark.parametrize("name", ["Harbour Lane", "HARBOUR  LANE.", "Ｈarbour Lane", "H\u0430rbour L\u0430ne"])
def test_a_shop_whose_key_is_known_takes_no_other_until_it_is_accepted(session: Session, who: str, name: str) -> None:
    """Under its own name, another spelling of it, and under quite another name when somebody chooses that shop."""
    take(session, who, open_made(), takes_fit="", takes_inners="")
    shop_id = str(not_none(session.scalar(select(StatedDepth.shop_id))))
    spelled, other = open_made(OTHER_KEY, shops=(name,)), open_made(bytes(range(2, 34)), shops=("Quarry Row",))
    for opened, chosen in ((spelled, {}), (other, {"shop-0": shop_id})):
        with pytest.raises(ConflictError):
            take(session, who, opened, **chosen)
    assert card_previews.preview(session, card_reading.look_again(session, spelled)).is_key_other
    accept(session, who, other)
    take(session, who, other, takes_fit="", **{"shop-0": shop_id})
    with pytest.raises(InvalidError):  # it speaks for that shop from now on, and for no further one
        take(session, who, open_made(bytes(range(2, 34)), shops=("Quarry Row",), revision=8), **{"shop-0": "3"})


def test_a_wrongly_chosen_shop_is_freed_of_its_key_by_taking_back(session: Session, who: str) -> None:
    taken = take(session, who, open_made(), takes_fit="")
    form = {"who": who, "version": taken.version, "why": "the wrong shop"}
    card_undoing.take_back(session, taken.id, CardTakingBackForm.read(form))
    session.flush()
    assert not_none(known_keys.find_known(session, open_made().public_key)).shop_id is None


def test_a_card_speaks_of_its_own_maker_only(session: Session, who: str) -> None:
    other = next(s for s in session.scalars(select(Shop).order_by(Shop.id)) if not s.is_ours)
    said = (DEPTH, replace(DEPTH, shop=1, evidence=bytes(8)))
    taken = take(session, who, open_made(shops=("Harbour Lane", other.name), depths=said))
    assert [session.get_one(StatedDepth, i).evidence for i in taken.made["depth"]] == [DEPTH.evidence]
    assert other.id not in session.scalars(select(StatedDepth.shop_id)).all()


@pytest.mark.parametrize(("days", "kept"), [(1, True), (2, False)])
def test_a_day_that_is_still_to_come_is_not_taken(session: Session, who: str, days: int, kept: bool) -> None:
    day = date.today() + timedelta(days=days)
    taken = take(session, who, open_made(depths=(replace(DEPTH, as_of=day),)), takes_fit="", takes_inners="")
    assert len(taken.made["depth"]) == kept
    if kept:
        take(session, who, open_made(made_on=day, revision=7), takes_fit="")
    else:
        with pytest.raises(InvalidError):
            take(session, who, open_made(made_on=day, revision=7), takes_fit="")


def test_a_card_taken_in_already_is_asked(session: Session, who: str) -> None:
    first = take(session, who, open_made())
    with pytest.raises(ConflictError, match="Ada Quillfeather"):
        take(session, who, open_made())
    assert session.scalar(select(func.count()).select_from(Bowler).where(Bowler.name == "Ada Quillfeather")) == 1
    again = take(session, who, open_made(), takes_again="true", takes_fit="", bowler_id=not_none(first.bowler_id))
    assert again.made["inner"] == []


def test_erasing_empties_the_cards_of_a_person(session: Session, who: str) -> None:
    taken = take(session, who, open_made())
    issued = card_issues.issue(session, not_none(taken.bowler_id), IssueForm.read({"who": who, "hand": "right"}))
    session.flush()
    bowler = session.get_one(Bowler, taken.bowler_id)
    typed = {"who": who, "version": bowler.version, "name": bowler.name}
    taken.kept = ["inner Ada's dry days: used by 1 trial fit"]
    session.flush()
    personal.erase(session, bowler.id, ErasureForm.read(typed))
    session.flush()
    session.expire_all()
    assert (session.get_one(ReadCard, taken.id).data, session.get_one(ReadCard, taken.id).kept) == (b"", [])
    assert issued.data == b""
    assert card_issues.find_last(session, bowler.id, "right") is None
    assert session.scalars(select(Bore.depth_u_in).where(Bore.depth_u_in.is_not(None))).all() == [F(1, 250)]


@pytest.mark.parametrize(("name", "value"), [("scatter_in", F(0)), ("u_in", F(0))])
def test_a_doubt_of_0_takes_no_page_down_and_is_never_exact(
    session: Session, who: str, name: str, value: Fraction
) -> None:
    said = replace(DEPTH, **{name: value})  # type: ignore[arg-type]
    taken = take(session, who, open_made(depths=(said,)))
    inner = inners.get_inner(session, taken.made["inner"][1])  # of unknown depth: it rests on what is stated
    found = visitors.predict_in_our_bore(session, inner, None, None)
    (counted,) = not_none(found.foreign).stated
    low, high = not_none(found.foreign).knowledge.next_ball_in
    assert counted.known.depth_in == pytest.approx(2.7506)
    assert high - low > 0.002


@pytest.mark.parametrize(
    ("name", "value"), [("mean_in", F(0)), ("mean_in", F(8)), ("u_in", F(8)), ("scatter_in", F(8))]
)
def test_a_depth_that_cannot_be_is_not_taken_and_the_rest_is(
    session: Session, who: str, name: str, value: Fraction
) -> None:
    said = replace(DEPTH, **{name: value})  # type: ignore[arg-type]
    taken = take(session, who, open_made(depths=(said,)))
    assert {of: len(ids) for of, ids in taken.made.items()} | {"shop": 1, "insert_system": 2} == {
        "shop": 1, "insert_system": 2, "bowler": 1, "fit": 1, "inner": 2, "depth": 0,
    }  # fmt: skip


@pytest.mark.parametrize("depth", [F(0), F(8)])
def test_a_bores_depth_that_cannot_be_is_unknown(session: Session, who: str, depth: Fraction) -> None:
    opened = open_made(inners=(INNER,), bores=(replace(BORE, depth_in=depth),))
    bore = inners.get_inner(session, take(session, who, opened).made["inner"][0]).trimmed_in
    assert (bore.depth_in, bore.depth_u_in, bore.datum) == (None, None, "unknown")
    assert (bore.forward_in, bore.bore_in) == (F(-1, 4), F(3, 2))


def test_every_angle_that_the_format_has_is_kept_as_its_direction(session: Session, who: str) -> None:
    fit = make_fit()
    turned = replace(fit, thumb=replace(not_none(fit.thumb), oval_deg=F(-45)),
        ring=replace(not_none(fit.ring), lift_in=F(1, 32), lift_deg=F(360)))  # fmt: skip
    sleeve = replace(THUMB_HARDWARE, notch_deg=F(-30), wide_tab_deg=F(360))
    insert = replace(INSERTS[0], lift_in=F(1, 32), lift_deg=F(-90))
    bore = replace(BORE, notch_deg=F(-30))
    opened = open_made(fit=turned, hardware=(sleeve, insert), bores=(bore,), inners=(replace(INNER, oval_deg=F(-45)),))
    taken = take(session, who, opened)
    made = fits.get_fit(session, taken.made["fit"][0])
    assert made.hole("thumb").oval_deg == 315
    assert (made.hole("ring").lift_in, made.hole("ring").lift_deg) == (F(1, 32), F(0))
    assert (made.hole("middle").lift_in or 0) == 0  # its insert has a lift, the hole has none
    ours = [session.get_one(InsertSystem, i) for i in taken.made["insert_system"]]
    assert [(one.notch_deg, one.wide_tab_deg, one.lift_deg) for one in ours] == [(330, 0, None), (None, None, 270)]
    inner = inners.get_inner(session, taken.made["inner"][0])
    assert (inner.oval_deg, inner.trimmed_in.notch_deg) == (F(315), F(330))
    again = take(session, who, replace(opened, digest=bytes(32)), bowler_id=not_none(taken.bowler_id), takes_fit="")
    assert (again.made["inner"], again.made.get("insert_system")) == ([], None)


def test_holes_of_which_a_part_is_unknown_come_in_with_the_rest_in_words(session: Session, who: str) -> None:
    fit = make_fit()
    half = replace(fit, thumb=replace(not_none(fit.thumb), size_in=None),
        ring=replace(not_none(fit.ring), lift_in=F(1, 32), lift_deg=None))  # fmt: skip
    made = fits.get_fit(session, take(session, who, open_made(fit=half)).made["fit"][0])
    assert (made.hole("thumb").hole_in, made.hole("thumb").oval_in) == (None, None)
    assert made.hand_notes == (
        "The card knows in part: thumb hole wider by 1/16 @ 45°; ring insert off its axis by 1/32 @ unknown."
    )


def test_a_thumb_sleeves_unknown_bore_is_the_one_that_its_inners_stood_in(session: Session, who: str) -> None:
    unknown = (replace(THUMB_HARDWARE, bore_in=None), *INSERTS)
    taken = take(session, who, open_made(hardware=unknown))
    assert session.get_one(InsertSystem, taken.made["insert_system"][0]).bore_in == F(3, 2)
    with pytest.raises(InvalidError, match="Hardware 1 cannot"):
        take(session, who, open_made(hardware=unknown, bores=(), inners=(), revision=9), takes_fit="")


def test_hardware_is_left_out_with_what_hangs_on_it(session: Session, who: str) -> None:
    odd = (replace(THUMB_HARDWARE, lift_in=F(1, 32), lift_deg=F(0)), *INSERTS)
    opened = open_made(hardware=odd)
    with pytest.raises(InvalidError, match="Hardware 1 cannot"):
        take(session, who, opened)
    session.rollback()
    taken = take(session, who, opened, **{"hardware-0": "left out"})
    assert {of: len(taken.made[of]) for of in ("fit", "inner", "depth")} == {"fit": 1, "inner": 0, "depth": 0}
    fit = fits.get_fit(session, taken.made["fit"][0])
    assert fit.system_id is None
    assert not_none(fit.hole("ring").system).bore_in == F(31, 32)


@pytest.mark.parametrize(
    ("place", "unknown"), [(0, ["thumb insert"]), (1, ["middle insert", "ring insert"])]
)  # by their place on the card
def test_hardware_that_is_left_out_is_unknown_and_keeps_the_fit_a_draft(
    session: Session, who: str, place: int, unknown: list[str]
) -> None:
    taken = take(session, who, open_made(), **{f"hardware-{place}": "left out"})
    fit = fits.get_fit(session, taken.made["fit"][0])
    assert grips.list_missing(fit) == unknown
    plain = take(session, who, open_made(fit=replace(make_fit(), hardware=None), revision=4))
    assert grips.list_missing(fits.get_fit(session, plain.made["fit"][0])) == []


def test_what_hangs_on_an_unknown_is_unknown_and_what_nobody_asked_stays_unasked(session: Session, who: str) -> None:
    bore = replace(BORE, forward_in=None, depth_in=None)
    unasked, asked = replace(INNER, is_tilt_unsaid=True), replace(INNER, label="asked", hole_in=F(61, 64))
    taken = take(session, who, open_made(bores=(bore,), inners=(unasked, asked)))
    first, second = (inners.get_inner(session, i) for i in taken.made["inner"])
    kept = first.trimmed_in
    assert (kept.forward_in, kept.right_in, kept.depth_in, kept.depth_u_in) == (None, None, None, None)
    assert (first.is_tilt_unsaid, second.is_tilt_unsaid) == (True, False)
    bowler = session.get_one(Bowler, taken.bowler_id)
    again = card_contents.build_card(session, bowler, "right", bytes(6), date.today())
    assert [one.is_tilt_unsaid for one in again.inners] == [True, False]
