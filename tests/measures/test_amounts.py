from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.amounts import read_proud, read_weight
from app.measures.wording import plain_fraction
from tests.measures.styles import damages


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 63), st.sampled_from(["{f} {w}", "{w} {f}", "{w} by {f}", "{p} {w}", "{c} {w}", "{s}{f}"]), st.sampled_from(["proud", "sunk"]))  # fmt: skip
def test_a_height_in_any_style_reads_back_and_no_damage_changes_it_silently(count: int, style: str, way: str) -> None:
    size, sign = Fraction(count, 64), 1 if way == "proud" else -1
    point = f"{float(size):.6f}"
    text = style.format(f=plain_fraction(size), w=way, p=point, c=point.replace(".", ","), s="+" if sign > 0 else "-")
    reading = read_proud(text)
    assert reading.value == size * sign, (text, reading)
    for damaged in damages(text):
        seen = read_proud(damaged)
        assert seen.state != "value" or seen.value == size * sign, (text, damaged, seen)


def test_more_ounces_than_a_pound_has_are_offered_as_pounds_or_as_their_first_digit() -> None:
    assert read_weight("14 lb 20 oz").choices == ("14 lb", "14 lb 2 oz")
