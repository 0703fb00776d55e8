"""Words of a balance: ounces with the side that is heavier, pounds and ounces, and which side is which."""

from collections.abc import Iterable
from typing import Literal

from app.measures.ounces import OUNCES_PER_POUND

Way = Literal["right", "finger", "top", "axis"]
SIDES: dict[Way, tuple[str, str]] = {  # the positive one first
    "right": ("right", "left"),
    "finger": ("finger side", "thumb side"),
    "top": ("top", "bottom"),
    "axis": ("towards", "away"),  # the bowler's axis point
}
WAYS: tuple[Way, ...] = ("right", "finger", "top")  # as ounces are listed
_SHOWN_OZ = 0.005  # what is shown to a hundredth and less than half of one is even


def side_words(value_oz: float, way: Way) -> str:
    """`0.27 oz finger side`, `even`."""
    side = name_side(value_oz, way)
    return f"{abs(value_oz):.2f} oz {side}" if side else "even"


def name_side(value_oz: float, way: Way) -> str:
    """The heavier side, empty where both are alike to a hundredth of an ounce."""
    if abs(value_oz) < _SHOWN_OZ:
        return ""
    return SIDES[way][0 if value_oz > 0 else 1]


def direction_words(directions: Iterable[str]) -> str:
    """`right or left; top or bottom`: directions as a verdict names them."""
    return "; ".join(one.replace("_", " or ") for one in directions)


def interval_words(interval_oz: tuple[float, float], way: Way) -> str:
    """`0.07 oz thumb side to 0.61 oz finger side`; one side is named once."""
    low, high = sorted(interval_oz)
    sides = {side for side in (name_side(low, way), name_side(high, way)) if side}
    if len(sides) == 1:
        near, far = sorted((abs(low), abs(high)))
        return f"{near:.2f} to {far:.2f} oz {sides.pop()}"
    return f"{side_words(low, way)} to {side_words(high, way)}"


def to_hundredth(value_oz: float) -> float:
    """Ounces as they are shown."""
    return round(value_oz, 2) + 0.0


def spare_words(margin_oz: float, limit_oz: float) -> str:
    """`2.73 oz to spare`, `0.50 oz too much`: what is left of a limit, so that it adds up with the value as shown."""
    shown_oz = abs(limit_oz - to_hundredth(limit_oz - margin_oz))
    if margin_oz >= 0:
        return f"{shown_oz:.2f} oz to spare"
    return f"{shown_oz:.2f} oz too much" if shown_oz > _SHOWN_OZ else "less than 0.01 oz too much"


def pound_words(weight_oz: float) -> str:
    """`14 lb 14.0 oz`."""
    tenths = round(weight_oz * 10)
    pounds, rest = divmod(tenths, OUNCES_PER_POUND * 10)
    return f"{pounds} lb {rest / 10:.1f} oz"


def signed_words(value_oz: float) -> str:
    """`+0.06`, `−0.75`, `0.00`: ounces with the sign that says which side."""
    if abs(value_oz) < _SHOWN_OZ:
        return "0.00"
    return f"{'+' if value_oz > 0 else '−'}{abs(value_oz):.2f}"
