"""What moves when a fit goes to other hardware, line by line against the independent reference of the calculation."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.calculation.inners import FeltPitch
from app.errors import InvalidError
from app.measures.wording import inches, proud_words
from app.models import Drilling, Fit
from app.models.plans import Plan
from app.schemas.fits import TransferForm
from app.services import depths, drillings, felt, fits, transfers
from tests.calculation import reference
from tests.calculation.grips import Json
from tests.conftest import not_none
from tests.services.conftest import Make

pytestmark = pytest.mark.once  # numbers, which no database changes


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
    moved = result.after.spans["middle"].cut_in - result.before.spans["middle"].cut_in
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
        for d in felt.compare_drillings(
            session, drillings.get_drilling(session, one.id), drillings.get_drilling(session, two.id)
        )
    }
    assert lines["finished span to middle"].words == "1/64 longer"
    pitch = lines["thumb pitch, forward or reverse"].words
    assert pitch.startswith("4/32 more reverse (1.6")
    assert "the thumb now points more reverse" in pitch


@pytest.mark.parametrize(
    ("notch", "way", "oval"),
    [(210, "60° clockwise", 105), (330, "180° clockwise", 45), (331, "179° anticlockwise", 46)],
)
def test_an_inner_taken_to_another_notch_turns(session: Session, notch: int, way: str, oval: int) -> None:
    # by hand: the notch's clock less 150°, and an oval at 45° goes along
    one, two = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    not_none(one.bore).notch_deg, not_none(two.bore).notch_deg = Fraction(150), Fraction(notch)
    lines = {d.what: d for d in felt.compare_drillings(session, one, two)}
    assert lines["the same inner is turned"].new == way
    assert f"its oval then at {oval}°" in lines["the same inner is turned"].words


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
        thumb = replace(plan.grip.require_thumb(), oval_in=1 / 16, oval_deg=float(deg))
        of.plan = replace(plan, grip=replace(plan.grip, thumb=thumb))
    line = next(d for d in felt.compare_drillings(session, one, two) if d.what == "thumb oval as specified")
    assert (line.old, line.new, line.words) == (f"1/16 at {old}°", f"1/16 at {new}°", words)


def test_foreign_drillings_without_a_plan_compare_what_is_known(session: Session) -> None:
    assert felt.compare_drillings(session, drillings.get_drilling(session, 1), drillings.get_drilling(session, 4))


MORE_LESS = {"bridge": ("wider", "narrower"), "along": ("towards the fingers", "towards the thumb"), "across": ("to the right", "to the left")}  # fmt: skip


@pytest.fixture
def fit(session: Session) -> Fit:
    """The first fit of the demo, made a left hand's with pitches of both ways."""
    found = fits.get_fit(session, 1)
    found.hand = "left"
    for digit, forward, right in (("thumb", -0.25, -0.1875), ("middle", 0.125, 0.0625), ("ring", -0.25, -0.125)):
        found.hole(digit).forward_in, found.hole(digit).right_in = Fraction(forward), Fraction(right)
    return found


BODY: Json = {
    "circumference_in": 27.0, "hand": "left", "sleeve_od_in": 1.5,
    "thumb": {"hole_in": 0.9375, "oval_in": 0.0625, "oval_deg": 45.0, "forward_in": -0.25, "right_in": -0.1875},
    "middle": {"span_in": 4.0, "cut_in": 0.96875, "hole_in": 0.6875, "forward_in": 0.125, "right_in": 0.0625},
    "ring": {"span_in": 4.125, "cut_in": 0.96875, "hole_in": 0.65625, "forward_in": -0.25, "right_in": -0.125},
    "span_edges": "cut", "bridge_in": 0.3125, "bridge_edges": "cut",
}  # fmt: skip
CHANGES: list[tuple[dict[str, str], Json]] = [
    ({"middle_cut": "1 1/16", "ring_cut": "7/8"}, {"middle": {"cut_in": 1.0625}, "ring": {"cut_in": 0.875}}),
    ({"thumb_hole": "1 + 1/8 @ 30 left"}, {"thumb": {"hole_in": 1.0, "oval_in": 0.125, "oval_deg": 330.0}}),
    ({"circumference": "26.704", "ring_cut": "1"}, {"circumference_in": 26.704, "ring": {"cut_in": 1.0}}),
]


def told(what: str, old: float | None, new: float | None) -> tuple[str, str, str]:
    if old is None or new is None:
        return ("no sleeve" if old is None else inches(old)), ("no sleeve" if new is None else inches(new)), "changed"
    more, less = next((v for k, v in MORE_LESS.items() if k in what), ("longer", "shorter"))
    count = round(abs(new - old) * 64, 1)
    size = inches(count / 64) if count == int(count) else f"{count}/64"
    return tell_place(what, old), tell_place(what, new), f"{size} {more if new > old else less}" if count else ""


def tell_place(what: str, value: float) -> str:
    """A place says its side of the grip centre: along the centre line forward or back, across right or left."""
    if "centre" not in what or inches(abs(value)) == "0":
        return inches(abs(value))
    sides = ("forward", "back") if "along" in what else ("right", "left")
    return f"{inches(abs(value))} {sides[int(value < 0)]}"


@pytest.mark.parametrize(("typed", "changed"), CHANGES)
@pytest.mark.parametrize("has_sleeve", [True, False])
def test_every_length_that_moves_is_told(
    session: Session, fit: Fit, typed: dict[str, str], changed: Json, has_sleeve: bool
) -> None:
    # outside source: pyproj geodesics and scipy root finding, see tests.calculation.reference
    form = TransferForm.read({"system_id": str(fit.system_id) if has_sleeve else ""} | typed)
    moved = {d.what: (d.old, d.new, d.words) for d in transfers.compare_hardware(session, fit, form).moved}
    before = reference.solve(BODY)
    body = BODY | {k: BODY[k] | v if isinstance(v, dict) else v for k, v in changed.items()}
    for name in ("middle", "ring"):
        body[name] = body[name] | {"span_in": before["spans"][name]["finished_in"]}
    body |= {"span_edges": "finished", "bridge_edges": "finished", "bridge_in": before["bridge"]["finished_in"]}
    after = reference.solve(body)
    lengths = {
        f"{kind} bridge": (before["bridge"][f"{kind}_in"], after["bridge"][f"{kind}_in"])
        for kind in ("finished", "cut")
    }
    for name in ("middle", "ring"):
        old, new = before["spans"][name], after["spans"][name]
        lengths |= {f"{kind} span to {name}": (old[f"{kind}_in"], new[f"{kind}_in"]) for kind in ("finished", "cut")}
        lengths[f"sleeve to cut, {name}"] = (old["sleeve_to_cut_in"], new["sleeve_to_cut_in"] if has_sleeve else None)
    for name in ("thumb", "middle", "ring"):
        for way in ("along", "across"):
            lengths[f"{name} centre, {way}"] = tuple(x["holes"][name][f"{way}_in"] for x in (before, after))
    assert moved == {what: told(what, *pair) for what, pair in lengths.items()}


def test_a_bore_may_be_as_wide_as_its_finished_hole_and_no_less(session: Session, fit: Fit) -> None:
    typed = {"system_id": str(fit.system_id)}
    assert transfers.compare_hardware(session, fit, TransferForm.read(typed | {"middle_cut": "11/16"}))
    with pytest.raises(InvalidError):
        transfers.compare_hardware(session, fit, TransferForm.read(typed | {"middle_cut": "43/64"}))
    with pytest.raises(InvalidError) as refused:
        transfers.compare_hardware(
            session, fit, TransferForm.read(typed | {"middle_cut": "1 3/8", "ring_cut": "1 3/8"})
        )
    assert "middle_cut" in refused.value.fields


def pitched(of: Drilling, thumb: tuple[float, float], bore: tuple[float, float] | None, oval_deg: float = 45.0) -> Plan:
    """Gives a drilling's plan another thumb pitch and bore pitch."""
    plan = not_none(of.plan)
    hole = replace(plan.grip.require_thumb(), forward_in=thumb[0], right_in=thumb[1], oval_deg=oval_deg)
    bored = replace(not_none(plan.bore), forward_in=bore[0], right_in=bore[1]) if bore else None
    of.plan = replace(plan, grip=replace(plan.grip, thumb=hole), bore=bored)
    return of.plan


@pytest.mark.parametrize(
    ("thumb", "bore", "told"),
    [
        ((-0.75, 0.0), (-0.375, 0.0), (-0.747139, 0.0)),  # worked in the geometry paper, section 3
        ((0.0, -0.75), (0.0, -0.375), (0.0, -0.747139)),  # the same, sideways
        ((-0.25, 0.125), (-0.25, 0.125), (-0.25, 0.125)),
        ((-0.25, 0.125), (0.0, 0.0), (-0.25, 0.125)),
        ((-0.3, 0.1), None, (-0.3, 0.1)),
    ],
)
def test_the_felt_pitch_is_composed_of_bore_and_tilt(
    session: Session, thumb: tuple[float, float], bore: tuple[float, float] | None, told: tuple[float, float]
) -> None:
    of = drillings.get_drilling(session, 1)
    plan = pitched(of, thumb, bore)
    found = not_none(felt.work_out_felt(of))
    assert (not_none(found.thumb).forward_in, not_none(found.thumb).right_in) == pytest.approx(told, abs=1e-6)
    assert (found.source, found.circumference_in) == ("as drilled", plan.grip.circumference_in)
    assert found.notch_deg == 180
    of.measurements, of.bore = [], None
    assert not_none(felt.work_out_felt(of)).source == "as specified"
    assert not_none(felt.work_out_felt(of)).notch_deg == plan.notch_deg


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        # by hand: asin(p / 4.2972) of 1/4 and 3/8 are 3.3354° and 5.0063°
        ((-0.25, 0.125), (-0.375, 0.125), ("1/4 reverse", "3/8 reverse", "4/32 more reverse (1.67°): the thumb now points more reverse")),
        ((-0.25, 0.125), (0.0, 0.125), ("1/4 reverse", "straight", "8/32 more forward (3.34°): the thumb now points more forward")),
        ((0.25, 0.0), (0.25, 0.0), ("1/4 forward", "1/4 forward", "")),
    ],
)  # fmt: skip
def test_pitches_are_compared_each_way(
    session: Session, old: tuple[float, float], new: tuple[float, float], words: tuple[str, str, str]
) -> None:
    line = felt._compare_pitches(FeltPitch(*old), FeltPitch(*new), 27.0)[0]
    assert (line.old, line.new, line.words) == words
    line = felt._compare_pitches(FeltPitch(0.0, old[0]), FeltPitch(0.0, new[0]), 27.0)[1]
    expected = tuple(w.replace("reverse", "left").replace("forward", "right") for w in words)
    assert (line.old, line.new, line.words) == expected


def test_spans_of_two_drillings_are_compared_finger_by_finger(session: Session) -> None:
    one, two = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    spans = [not_none(felt.work_out_felt(of)).spans for of in (one, two)]
    lines = {d.what: d for d in felt.compare_drillings(session, one, two)}
    for name in spans[0]:
        line = lines[f"finished span to {name}"]
        assert (line.old, line.new) == (inches(spans[0][name]), inches(spans[1][name]))
    assert lines["finished span to middle"].words == "1/16 longer"  # 3 47/64 and 3 51/64 from the sleeve
    assert lines["finished span to ring"].words == ""


@pytest.mark.parametrize("unmeasured", [(True, True), (True, False), (False, True)])
def test_a_bore_nobody_measured_is_compared_by_its_shops_usual_depth(
    session: Session, unmeasured: tuple[bool, bool]
) -> None:
    # by hand: the same pitch and ball, so that only the depths differ; a deeper bore lets the inner sink by as much
    pair = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    usual = depths.load_shop_depths(session, [1])[1, not_none(pair[0].system_id)].estimate.depth_in
    deep = [usual if is_unmeasured else 2.6875 for is_unmeasured in unmeasured]
    for of, is_unmeasured in zip(pair, unmeasured, strict=True):
        not_none(of.bore).depth_in = None if is_unmeasured else Fraction(43, 16)
    lines = {d.what: d for d in felt.compare_drillings(session, *pair)}
    lip = proud_words(deep[0] - deep[1])
    assert lines["the first's inner in the second, centre"].new == lip
    assert lines["the first's inner in the second, centre"].words == ("" if lip == "flush" else lip)
    rim = lines["the same inner, highest and lowest of its rim"]
    assert rim.new == f"{lip}, {lip}"
    assert rim.words == ("" if lip == "flush" else f"flush with the collar at {inches(deep[0])}")


@pytest.mark.parametrize("is_inner_planned", [True, False])
@pytest.mark.parametrize("deeper", [Fraction(0), Fraction(1, 32)])
def test_a_rim_that_is_only_tilted_is_not_called_the_same(
    session: Session, deeper: Fraction, is_inner_planned: bool
) -> None:
    # by hand: pitches of 1/4 to opposite sides lean the rim by about 2 × (1/4) × (5/8) ÷ 4.3 = 4.7/64 each way
    pair = drillings.get_drilling(session, 1), drillings.get_drilling(session, 2)
    for of, right, depth in zip(pair, (Fraction(1, 4), Fraction(-1, 4)), (Fraction(0), deeper), strict=True):
        bore = not_none(of.bore)
        bore.forward_in, bore.right_in, bore.depth_in = Fraction(0), right, Fraction(11, 4) + depth
    if not is_inner_planned:
        pair[0].plan = replace(not_none(pair[0].plan), inner=None)  # then an inner of 1 1/4 is reckoned with
    lines = {d.what: d for d in felt.compare_drillings(session, *pair)}
    rim = lines["the same inner, highest and lowest of its rim"]
    high, low = re.findall(r"([\d.]+)/64", rim.new)
    assert float(high) + float(low) == pytest.approx(9.4, abs=0.4)
    assert rim.words == ("its centre flush with the collar at 2 3/4; " if deeper else "") + "no depth cures the tilt"


def test_a_bore_holds_the_finished_hole_where_it_is_lifted(session: Session, make: Make) -> None:
    # by hand: 11/16 wide and 1/16 off the axis reaches 11/32 + 1/16 to that side, so it needs a bore of 13/16
    fit = fits.get_fit(session, not_none(make(middle_lift="1/16 @ 6:00").fit_id))
    typed = {"system_id": str(fit.system_id)}
    result = transfers.compare_hardware(session, fit, TransferForm.read(typed | {"middle_cut": "13/16"}))
    assert not_none(result.after.grip.middle).cut_in == 13 / 16
    with pytest.raises(InvalidError) as refused:
        transfers.compare_hardware(session, fit, TransferForm.read(typed | {"middle_cut": "51/64"}))
    assert set(refused.value.fields) == {"middle_cut"}
