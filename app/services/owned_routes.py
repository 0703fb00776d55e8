"""A route for an inner that the bowler owns: locked in when its sleeve is done, its rim is read, and it stays whole.

The list of steps is one of what may be done, not of what may not, so that no step of a later route cuts the inner.
"""

from app.calculation.bores import Bore, Flushness, flushness
from app.closed_sets import RIM_PLACES
from app.measures.wording import in_64ths
from app.models.numbers import Numbers, TextNumber
from app.models.plans import Plan

_SLEEVE_STEPS = {
    "bore_pitch",
    "bore_check",
    "pilot",
    "bore",
    "ream",
    "drop_in",
    "glue",
    "set_height",
    "seat_flange",
    "notch",
    "zero",
    "flush",
    "bevel",
}
_OTHER_STEPS = {
    "mark",
    "middle_pitch",
    "middle_check",
    "middle_bore",
    "middle_insert",
    "ring_pitch",
    "ring_check",
    "ring_bore",
    "ring_insert",
    "finger_bevel",
    "measure",
}
_INNER_STEPS = ("clean", "lock_in", "free_turn", "read_rim")
_WORDS = {
    "lock_in": "Lock the bowler's own inner in and feel that it is home",
    "read_rim": "Read the inner's rim at four clock places, and trim nothing",
    "set_height": "Set the sleeve's height by hand with the inner locked in, then take the inner out",
}
_USUAL = {"Lock the inner in and feel that it is home", "Set the sleeve's height by hand against the slug"}


def adapt_route(route: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The steps of any route that an owned inner allows; the inner goes in after the last step at its sleeve."""
    own = dict(route)
    kept = [(action, words) for action, words in route if action in _SLEEVE_STEPS | _OTHER_STEPS]
    last = max((i for i, (action, _) in enumerate(kept) if action in _SLEEVE_STEPS | {"mark"}), default=-1) + 1
    inner = [a for a in _INNER_STEPS if a in own or a in {"lock_in", "read_rim"}]
    made = [*kept[:last], *((action, own.get(action, "")) for action in inner), *kept[last:]]
    return [(a, _WORDS.get(a, words) if not words or words in _USUAL else words) for a, words in made]


def describe_inner(plan: Plan) -> str:
    """`new, loaded`, or whose it is."""
    return "the bowler's own" if plan.owned else f"new, {plan.inner_kind}"


def tell_rim(plan: Plan) -> Numbers:
    """How high the rim of an owned inner should stand at the four places where it is read."""
    heights = predict_heights(plan)
    return tuple(TextNumber(RIM_PLACES[at], describe_height(height)) for at, height in heights.items())


def predict_heights(plan: Plan) -> dict[str, float]:
    """Inches proud by the place of a reading, as planned; empty without an owned inner."""
    rim = calculate_rim(plan)
    if rim is None:
        return {}
    return dict(zip(RIM_PLACES, (rim.front_in, rim.right_in, rim.back_in, rim.left_in), strict=True))


def calculate_rim(plan: Plan) -> Flushness | None:
    """The rim of an owned inner in the bore as planned; None where none goes in."""
    owned, bore = plan.owned, plan.bore
    if owned is None or bore is None:
        return None
    fitted = Bore(plan.grip.circumference_in, bore.bore_in, bore.depth_in, bore.forward_in, bore.right_in)
    return flushness(owned.outside_in, owned.made_in, fitted, owned.chosen.turn_deg)


def describe_height(height_in: float) -> str:
    """`1/64 proud`, `flush`."""
    return in_64ths(height_in, "proud", "sunk").replace("even", "flush")
