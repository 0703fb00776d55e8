"""Two layouts side by side: what their numbers, their mark and their balance differ by, in words."""

from fractions import Fraction

from app.calculation.balances import Balance, Doubt, Ounces, TowardsAxis
from app.pages.layout_comparisons import compare, compare_balances, tell_apart
from app.services.layout_balances import LayoutBalance
from app.services.layout_work_outs import TypedNumbers, work_out_layout
from tests.services.test_layout_work_outs import NUMBERS, marks, on


def test_two_layouts_differ_by_what_their_numbers_do() -> None:
    other = TypedNumbers(Fraction(17, 4), Fraction(35), Fraction(70))
    lines = {line.what: line for line in compare(work_out_layout(NUMBERS, on()), work_out_layout(other, on()))}
    assert lines["Pin to axis point"].words == "+16/64 longer"
    assert (lines["Axis-line angle"].words, lines["Drilling angle"].words) == ("", "+30°")
    assert lines["Grip centre to axis point"].words == ""
    across = lines["Pin, across"]
    assert across.words == tell_apart(across.one, across.other, "right", "left")
    assert across.ways == ("right", "left")


def test_the_second_mark_is_named_as_the_balls_has_it() -> None:
    one, other = (work_out_layout(NUMBERS, on(of)) for of in (marks(), marks(has_mass_mark=False, pin_centre="5/2")))
    for pair, name in (
        ((one, one), "Mass mark"),
        ((other, other), "Centre-of-gravity mark"),
        ((one, other), "Second mark"),
    ):
        words = [line.what for line in compare(*pair)]
        assert {f"{name}, along", f"Pin to {name.lower()}", f"{name} to axis point"} <= set(words)


def balanced(right: float, finger: float, top: float, side: float) -> LayoutBalance:
    """With a standard uncertainty of 0.05 oz each way; 1.96 of it is the interval."""
    doubt = Doubt("density", Ounces(0.05, 0.05, 0.05, 0.0))
    none = Ounces(0.0, 0.0, 0.0, 0.0)
    towards = TowardsAxis(side, side, (side - 0.1, side + 0.1), None)
    return LayoutBalance(Balance(Ounces(right, finger, top, 240.0), none, none, (doubt,)), towards)


def test_balances_differ_by_the_second_less_the_first() -> None:
    lines = compare_balances([balanced(0.25, -0.5, 2.0, 0.3), balanced(-0.25, -0.75, 2.0, -0.2)])
    assert [line.by for line in lines] == ["0.50 oz left", "0.25 oz thumb side", "even", "0.50 oz away"]
    assert lines[0].each == (("0.25 oz right", "0.15 to 0.35 oz right"), ("0.25 oz left", "0.15 to 0.35 oz left"))
    assert lines[3].each == (("0.30 oz towards", "0.20 to 0.40 oz towards"), ("0.20 oz away", "0.10 to 0.30 oz away"))


def test_of_an_unknown_balance_no_difference_is_told() -> None:
    lines = compare_balances([balanced(0.25, -0.5, 2.0, 0.3), LayoutBalance(problem="no marks")])
    assert {line.by for line in lines} == {""}
    assert lines[0].each[1] == ("", "")
    assert compare_balances([LayoutBalance(), LayoutBalance()]) == []
