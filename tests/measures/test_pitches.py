import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.pitches import read_pitch
from app.measures.wording import plain_fraction
from tests.conftest import not_none
from tests.measures.styles import damages

_PITCH_SIZE = st.one_of(st.just((0, 1)), st.sampled_from([4, 8, 16, 32]).flatmap(lambda d: st.tuples(st.integers(1, d - 1), st.just(d))))  # fmt: skip
_UP = st.sampled_from([("rev", -1), ("rev.", -1), ("reverse", -1), ("F", 1), ("fwd", 1), ("forward", 1), ("R", -1)])
_RIGHT = st.sampled_from([("L", -1), ("Lt", -1), ("left", -1), ("Rt", 1), ("right", 1), ("R", 1)])


@settings(max_examples=250, deadline=None)
@given(_PITCH_SIZE, _UP, _PITCH_SIZE, _RIGHT, st.sampled_from([" ", ", ", " x ", " / ", " - ", " & ", "; ", "-"]), st.sampled_from(["fraction", "point", "comma"]))  # fmt: skip
def test_a_pitch_in_any_style_reads_back_and_no_damage_changes_it_silently(
    up: tuple[int, int], way: tuple[str, int], right: tuple[int, int], side: tuple[str, int], between: str, style: str
) -> None:
    sizes = [Fraction(*up), Fraction(*right)]
    shown = [plain_fraction(s) if style == "fraction" else f"{float(s):g}" for s in sizes]
    a, b = (s.replace(".", ",") if style == "comma" else s for s in shown)
    meant = (sizes[0] * way[1], sizes[1] * side[1])
    text = f"{a} {way[0]}{between}{b} {side[0]}"
    reading = read_pitch(text, "right", "thumb")
    assert (not_none(reading.value).forward_in, not_none(reading.value).right_in) == meant, (text, reading)
    for damaged in damages(text):
        seen = read_pitch(damaged, "right", "thumb")
        assert seen.state != "value" or (not_none(seen.value).forward_in, not_none(seen.value).right_in) == meant, (
            text,
            damaged,
            seen,
        )


@pytest.mark.parametrize("text", ["1/4R", "3/8 1/8", "1/8 L", "1/8L 3/8R", '1/4" Reverse x 1/8" Lateral', "1/4"])
def test_an_ambiguous_pitch_offers_choices(text: str) -> None:
    assert read_pitch(text, "right", "thumb").choices


def test_degrees_are_offered_as_inches_to_a_millionth() -> None:
    # by hand: 13.5/π × sin 3.5° is 0.262337 in
    choices = read_pitch("3.5° R", "right", "thumb").choices
    assert choices == ("0.262337 reverse, 0", "0, 0.262337 right")
    assert read_pitch("3/997 R", "right", "thumb").choices[0] == "3/997 reverse, 0"


def test_under_the_palm_is_right_for_a_right_thumb_and_left_for_a_left_one() -> None:
    right, left = (
        not_none(read_pitch("3/8 reverse, 1/8 under", hand, "thumb").value).right_in for hand in ("right", "left")
    )
    assert (right, left) == (Fraction(1, 8), Fraction(-1, 8))


def test_under_asks_where_it_means_nothing() -> None:
    assert read_pitch("3/8 reverse, 1/8 under", "right", "finger").state == "ask"
    assert read_pitch("3/8 reverse, 1/8 under", "", "thumb").state == "ask"


@pytest.mark.parametrize("text", ["3/8 reverse", "5° reverse", "4 1/2 reverse"])
def test_a_pitch_that_is_only_unusual_warns_or_is_refused(text: str) -> None:
    reading = read_pitch(text, "right", "thumb")
    assert reading.warnings or reading.state != "value"


def test_a_250_thousandths_reverse_setting_is_a_quarter_reverse() -> None:
    # common practice, no source
    assert not_none(read_pitch("250 thousandths reverse", "right", "thumb").value).forward_in == Fraction(-1, 4)


@pytest.mark.parametrize("circumference_in", [25.5, 27.0])
def test_degrees_are_those_of_the_ball_they_are_set_on(circumference_in: float) -> None:
    # the axis of a hole 3.5° from the radius misses the centre by R · sin 3.5°, any handbook's sine of an angle
    radius_in = circumference_in / (2 * math.pi)
    reading = read_pitch("3.5° reverse, 2° left", "right", "thumb", radius_in)
    expected = (-radius_in * math.sin(math.radians(3.5)), -radius_in * math.sin(math.radians(2.0)))
    pitch = not_none(reading.value)
    assert (float(pitch.forward_in), float(pitch.right_in)) == pytest.approx(expected, abs=1e-8)
