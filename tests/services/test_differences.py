from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.closed_sets import DIGITS
from app.models import Bowler, Fit, FitHole, InsertSystem
from app.schemas.fits import RevisionForm
from app.services import differences, fits
from tests.services.test_fits import form, in_force

pytestmark = pytest.mark.once  # numbers, which no database changes


def test_two_revisions_side_by_side_say_the_difference_in_64ths_and_words(
    session: Session, mei: Bowler, who: str
) -> None:
    first = in_force(session, who, fits.add_draft(session, mei, form(who)))
    second = fits.revise(session, first.id, RevisionForm.read({"who": who, "reason": "change"}))
    session.flush()
    changed = {
        "spans": "4 1/32 x 4 1/8",
        "thumb_pitch": "3/8 reverse, 0",
        "middle_hole": "43/64",
        "style": "conventional",
    }
    fits.edit(session, second.id, form(who, **changed, version=str(second.version)))
    session.flush()
    lines = {
        d.what: d for d in differences.compare_fits(fits.get_fit(session, first.id), fits.get_fit(session, second.id))
    }
    assert lines["span to middle"].words == "1/32 longer"
    assert lines["span to ring"].words == ""
    assert lines["thumb pitch, forward or reverse"].words == "4/32 more reverse (1.67°)"
    assert lines["middle hole"].words == "1/64 smaller"
    assert lines["grip style"].words == "changed"


def test_a_round_hole_and_an_oval_are_told_apart(session: Session) -> None:
    one, two = (fits.get_fit(session, fit_id) for fit_id in session.scalars(select(Fit.id).limit(2)))
    one.hole("thumb").oval_in, one.hole("thumb").oval_deg = None, None
    two.hole("thumb").oval_in, two.hole("thumb").oval_deg = Fraction(1, 16), Fraction(45)
    line = next(d for d in differences.compare_fits(one, two) if d.what == "thumb oval direction")
    assert (line.old, line.new) == ("round", "1:30 (45°)")


def test_a_pitch_is_told_with_its_way_each_way(session: Session) -> None:
    one, two = (fits.get_fit(session, fit_id) for fit_id in session.scalars(select(Fit.id).limit(2)))
    for of, forward, right in ((one, "1/4", "1/8"), (two, "-1/8", "-1/8")):
        of.hole("ring").forward_in, of.hole("ring").right_in = Fraction(forward), Fraction(right)
    lines = {d.what: (d.old, d.new) for d in differences.compare_fits(one, two)}
    assert lines["ring pitch, forward or reverse"] == ("one-quarter forward", "one-eighth reverse")
    assert lines["ring pitch, left or right"] == ("one-eighth to the right", "one-eighth to the left")


def hole(digit: str, **of: str) -> FitHole:
    """A hole of a fit by its lengths in inches and degrees, as text."""
    return FitHole(digit=digit, **{name: Fraction(value) for name, value in of.items()})


def fit(holes: str = "three", /, *given: FitHole, **of: object) -> Fit:
    """A fit of `holes` that nobody saved, with nothing in it but what is given."""
    texts = {"style": "fingertip", "span_edges": "cut", "bridge_edges": "", "hand_notes": "", "clinician_notes": ""}
    made = {digit: hole(digit) for digit in DIGITS} | {one.digit: one for one in given}
    return Fit(**({"grip_holes": holes, "typed": {}, "holes": list(made.values())} | texts | of))


def told(a: Fit, b: Fit) -> list[tuple[str, str, str, str]]:
    """What differs between two fits: name, old, new and the difference in words."""
    return [(d.what, d.old, d.new, d.words) for d in differences.compare_fits(a, b) if d.words]


def test_a_change_is_told_in_tenths_of_a_64th_or_not_at_all() -> None:
    """By hand: 0.02 in is 1.28 64ths, 0.001 in less than a tenth of one."""
    changes: list[Fraction | float] = [Fraction(1, 32), Fraction(-1, 64), -0.02, 0.001, Fraction(0)]
    words = ["1/32 longer", "1/64 shorter", "1.3/64 shorter", "0.1/64 longer", ""]
    assert [differences.tell_change(change, "longer", "shorter") for change in changes] == words
    assert differences.tell_change(0.0007, "longer", "shorter") == ""


def test_a_fit_compared_with_itself_differs_in_nothing() -> None:
    one = fit(
        "three",
        hole("thumb", hole_in="1", oval_in="1/32", oval_deg="45", forward_in="0", right_in="1/8"),
        hole("middle", hole_in="3/4", lift_in="1/32", lift_deg="90"),
        span_middle_in=Fraction(4),
        bridge_in=Fraction(1, 4),
        bridge_edges="cut",
    )
    assert told(one, one) == []


def test_each_line_of_a_finger_says_its_own_difference() -> None:
    """By hand; the angles as arc sine of pitch over 27 / 2π inches."""
    old = hole("middle", hole_in="3/4", cut_in="7/8", depth_in="2", forward_in="1/8", right_in="0", lift_in="1/32")
    new = hole("middle", hole_in="47/64", cut_in="29/32", depth_in="17/8", forward_in="1/4", right_in="-1/8")
    old.lift_deg, new.oval_in, new.oval_deg = Fraction(90), Fraction(1, 32), Fraction(30)
    new.system = InsertSystem(label="soft insert")
    assert told(fit("three", old), fit("three", new)) == [
        ("middle hole", "3/4", "47/64", "1/64 smaller"),
        ("middle oval", "not given", "1/32", "changed"),
        ("middle oval direction", "round", "1:00 (30°)", "changed"),
        ("middle insert", "none", "soft insert", "changed"),
        ("middle inside off the axis", "1/32 towards 3:00 (90°)", "none", "changed"),
        ("middle bore for insert", "7/8", "29/32", "1/32 larger"),
        ("middle depth", "2", "2 1/8", "1/8 deeper"),
        ("middle pitch, forward or reverse", "one-eighth forward", "one-quarter forward", "4/32 more forward (1.67°)"),
        ("middle pitch, left or right", "straight side to side", "one-eighth to the left", "4/32 more left (1.67°)"),
    ]


def test_the_oval_of_a_finger_is_told_by_either_of_the_two_that_has_one() -> None:
    oval = hole("middle", hole_in="3/4", oval_in="1/32")
    round_one = hole("middle", hole_in="3/4")
    assert told(fit("three", oval), fit("three", round_one)) == [
        ("middle oval", "1/32", "not given", "changed"),
        ("middle oval direction", "12:00 (0°)", "round", "changed"),
    ]
    named = [d.what for d in differences.compare_fits(fit(), fit())]
    assert "middle oval" not in named
    assert "thumb oval" in named


def test_a_thumb_is_told_with_its_hardware_and_its_place_beside_the_centre_line() -> None:
    old = hole("thumb", hole_in="1", oval_in="1/32", oval_deg="90", offset_in="0")
    new = hole("thumb", hole_in="65/64", oval_in="1/16", oval_deg="90", offset_in="-1/8")
    bare = fit("three", old, system_id=None, system=None)
    sleeved = fit("three", new, system_id=7, system=InsertSystem(label="sleeve 1 1/2"))
    assert told(bare, sleeved) == [
        ("thumb hardware", "none", "sleeve 1 1/2", "changed"),
        ("thumb hole", "1", "1 1/64", "1/64 larger"),
        ("thumb oval", "1/32", "1/16", "1/32 wider"),
        ("thumb off the centre line", "on it", "one-eighth to the left", "changed"),
    ]
    assert told(fit("three", new), fit("three", hole("thumb", hole_in="65/64", oval_in="1/16", oval_deg="90"))) == [
        ("thumb off the centre line", "one-eighth to the left", "on it", "changed"),
    ]


def test_where_the_thumb_stands_is_a_line_only_if_one_of_the_two_tells_it() -> None:
    def lines(a: Fit, b: Fit) -> list[tuple[str, str, str]]:
        named = differences.compare_fits(a, b)
        return [(d.old, d.new, d.words) for d in named if d.what == "thumb off the centre line"]

    unknown = fit(typed={"thumb_offset": "?"})
    assert lines(fit(), fit()) == []
    assert lines(unknown, fit()) == [("unknown", "on it", "changed")]
    assert lines(unknown, unknown) == [("unknown", "unknown", "")]


def test_bridge_and_texts_are_told_where_one_of_the_two_has_them() -> None:
    old = fit(bridge_in=Fraction(1, 4), bridge_edges="cut", hand_notes="soft skin")
    new = fit(style="conventional", bridge_in=Fraction(7, 32), bridge_edges="finished", clinician_notes="rest it")
    assert told(old, new) == [
        ("grip style", "fingertip", "conventional", "changed"),
        ("bridge", "1/4", "7/32", "1/32 narrower"),
        ("bridge measured to", "cut", "finished", "changed"),
        ("notes on hand and skin", "soft skin", "none", "changed"),
        ("what a clinician said", "none", "rest it", "changed"),
    ]
    bare = fit(typed={"bridge": "unknown"})
    assert "bridge" not in [d.what for d in differences.compare_fits(bare, bare)]
    assert told(old, bare)[:2] == [
        ("bridge", "1/4", "unknown", "changed"),
        ("bridge measured to", "cut", "none", "changed"),
    ]


def test_spans_and_reaches_are_compared_with_their_own_kind_only() -> None:
    spans = {"span_middle_in": Fraction(4), "span_ring_in": Fraction(33, 8)}
    longer = {"span_middle_in": Fraction(129, 32), "span_ring_in": Fraction(4)}
    assert told(fit(**spans), fit(**longer)) == [
        ("span to middle", "4", "4 1/32", "1/32 longer"),
        ("span to ring", "4 1/8", "4", "1/8 shorter"),
    ]
    assert told(fit("thumbless", **spans), fit("thumbless", **longer)) == [
        ("reach of middle", "4", "4 1/32", "1/32 longer"),
        ("reach of ring", "4 1/8", "4", "1/8 shorter"),
    ]
    unknown = fit("thumbless", typed={"spans": "middle 4, ring unknown"}, span_middle_in=Fraction(4))
    assert told(fit(**spans), unknown)[1:4] == [
        ("to middle", "span 4", "reach 4", "changed"),
        ("to ring", "span 4 1/8", "reach unknown", "changed"),
        ("thumb", "a hole", "no hole", "changed"),
    ]


def test_a_finger_without_a_hole_is_named_in_the_fit_that_has_none() -> None:
    spans = {"span_middle_in": Fraction(4), "span_ring_in": Fraction(33, 8)}
    alone = fit("thumb_middle", span_middle_in=Fraction(4))
    assert told(fit(**spans), alone) == [
        ("grip", "thumb and two fingers", "thumb and middle finger", "changed"),
        ("to ring", "span 4 1/8", "no ring finger", "changed"),
        ("ring", "a hole", "no hole", "changed"),
    ]
    assert told(alone, fit(**spans))[1] == ("to ring", "no ring finger", "span 4 1/8", "changed")
    named = [d.what for d in differences.compare_fits(alone, alone)]
    assert "span to middle" in named
    assert not [what for what in named if "ring" in what.split()]
    assert "spans measured to" in named


def test_a_grip_without_a_thumb_has_no_line_one() -> None:
    bare = fit("thumbless")
    named = [d.what for d in differences.compare_fits(bare, bare)]
    assert "reaches measured to" in named
    assert not [what for what in named if "thumb" in what]
    assert ("thumb hardware", "none", "none", "") in [
        (d.what, d.old, d.new, d.words) for d in differences.compare_fits(bare, fit())
    ]


def test_what_a_hole_lacks_is_unknown_or_not_given() -> None:
    known = hole("thumb", hole_in="1", forward_in="1/8", right_in="0")
    unknown = fit(typed={"thumb_hole": "?", "thumb_pitch": "unknown"})
    assert told(fit("three", known), unknown) == [
        ("thumb hole", "1", "unknown", "changed"),
        ("thumb oval", "not given", "unknown", "changed"),
        ("thumb oval direction", "round", "unknown", "changed"),
        ("thumb pitch, forward or reverse", "one-eighth forward", "unknown", "changed"),
        ("thumb pitch, left or right", "straight side to side", "unknown", "changed"),
    ]
