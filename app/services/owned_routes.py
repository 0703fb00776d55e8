"""A route for an inner that the bowler owns: locked in when its sleeve is done, its rim is read, and it stays whole.

The list of steps is one of what may be done, not of what may not, so that no step of a later route cuts the inner.
"""

from app.calculation.bores import Bore, Flushness, FlushnessRange, flushness, flushness_range
from app.closed_sets import RIM_PLACES
from app.measures.wording import in_64ths
from app.models.numbers import Numbers, TextNumber
from app.models.plans import Plan, PlannedBore

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
    "drop_in": "Dry drop-in: lock the owned inner in the dry sleeve and look at its rim before any glue",
    "read_rim": "Read the inner's rim at four clock places, and trim nothing",
    "set_height": "Set the sleeve's height by hand with the inner locked in, then take the inner out",
}
# Common practice, no source: what is bored too shallow can be deepened; a trial with a dry sleeve tells by how much.
_TRIAL_WORDS = {
    "bore": "Bore shallow first; with the sleeve dry lock the owned inner in, deepen by what it stands proud",
    "drop_in": "Dry sleeve: lock the owned inner in and read its rim once more before any glue",
}
_USUAL = {
    "Dry drop-in: the sleeve must fall in by its own weight",
    "Lock the inner in and feel that it is home",
    "Set the sleeve's height by hand against the slug",
}


def adapt_route(route: list[tuple[str, str]], is_unsettled: bool = False) -> list[tuple[str, str]]:
    """Returns the steps of any route that an owned inner allows; it goes in after the last step at its sleeve.

    Where its height is unsettled, the bore is a trial: shallow first, and deepened by what the inner shows.
    """
    own = dict(route)
    kept = [(action, words) for action, words in route if action in _SLEEVE_STEPS | _OTHER_STEPS]
    last = max((i for i, (action, _) in enumerate(kept) if action in _SLEEVE_STEPS | {"mark"}), default=-1) + 1
    inner = [a for a in _INNER_STEPS if a in own or a in {"lock_in", "read_rim"}]
    made = [*kept[:last], *((action, own.get(action, "")) for action in inner), *kept[last:]]
    worded = [(a, _WORDS.get(a, words) if not words or words in _USUAL else words) for a, words in made]
    return [(a, _TRIAL_WORDS.get(a, words)) for a, words in worded] if is_unsettled else worded


def describe_inner(plan: Plan) -> str:
    """`new, loaded`, or whose it is."""
    return "the bowler's own" if plan.owned else f"new, {plan.inner_kind}"


def tell_rim(plan: Plan) -> Numbers:
    """Returns how high the rim of an owned inner should stand, as planned: four places, or a range over an unknown."""
    return write_heights(predict_heights(plan), calculate_rim_range(plan))


def write_heights(heights: dict[str, float], possible: FlushnessRange | None = None) -> Numbers:
    """Returns the heights by their places; without any the range that is possible."""
    if heights:
        return tuple(TextNumber(RIM_PLACES[at], describe_height(height)) for at, height in heights.items())
    if possible is None:
        return (TextNumber("anywhere", "cannot say: read it and enter it"),)
    low, high = describe_height(possible.lowest_in), describe_height(possible.highest_in)
    return (TextNumber("anywhere", f"{low} to {high}"),)


def predict_heights(plan: Plan, fitted: Bore | None = None, turn_deg: float | None = None) -> dict[str, float]:
    """Returns inches proud by the place of a reading, as `calculate_rim`; empty where that is None."""
    rim = calculate_rim(plan, fitted, turn_deg)
    if rim is None:
        return {}
    return dict(zip(RIM_PLACES, (rim.front_in, rim.right_in, rim.back_in, rim.left_in), strict=True))


def calculate_rim(plan: Plan, fitted: Bore | None = None, turn_deg: float | None = None) -> Flushness | None:
    """Returns the rim of an owned inner in the planned bore, or in `fitted`; None without one, or over an unknown."""
    owned, bore = plan.owned, plan.bore
    if owned is None or bore is None or owned.made_in is None or owned.unknown:
        return None
    turn = owned.chosen.turn_deg if turn_deg is None else turn_deg
    return flushness(owned.outside_in, owned.made_in, fitted or get_seat(plan, bore), turn)


def calculate_rim_range(plan: Plan, *fitted: Bore) -> FlushnessRange | None:
    """Returns the extremes of the rim in the planned bore, or in all of `fitted`, over every turn.

    None where the inner's depth is unknown.
    """
    owned, bore = plan.owned, plan.bore
    if owned is None or bore is None:
        return None
    made = owned.possible or ((owned.made_in,) if owned.made_in else ())
    return flushness_range(owned.outside_in, made, fitted or (get_seat(plan, bore),)) if made else None


def get_seat(plan: Plan, bore: PlannedBore) -> Bore:
    """Returns the bore as the inner's sleeve sits in it: on its floor, or on what lies under the sleeve."""
    seat_in = bore.depth_in - bore.shim_in
    return Bore(plan.grip.circumference_in, bore.bore_in, seat_in, bore.forward_in, bore.right_in)


def describe_height(height_in: float) -> str:
    """`1/64 proud`, `flush`."""
    return in_64ths(height_in, "proud", "sunk").replace("even", "flush")
