"""Readings of a balance that nobody expects are asked about at their fields, before they are kept.

A difference beyond what the stated doubts allow is mostly a side written the wrong way round. Only after "yes, as read"
is such a weighing kept; it is then called not explained, and no density is learnt from it.
"""

import math
from dataclasses import replace

from app.calculation.balances import Balance
from app.calculation.ball_densities import MOST_MISFIT, Explanation, Found, explain_difference
from app.calculation.errors import CannotBuildError
from app.errors import FieldError, InvalidError
from app.measures.balance_words import WAYS, Way, pound_words, side_words
from app.measures.ounces import SIDES
from app.measures.wording import exact
from app.schemas.weighings import WeighingForm
from app.services.read_balances import ReadBalance

CONFIRM = "as_read"
FARTHEST_WEIGHT_OZ = 8  # ASSUMED: from there on a label of whole pounds is the next one's; no source


def ask_unexplained(form: WeighingForm, predicted: Balance, found: Found) -> dict[str, FieldError]:
    """Returns a question at each direction whose difference the doubts do not allow."""
    try:
        explained = explain_difference(predicted, found)
    except CannotBuildError:
        return {}
    wrong: dict[str, FieldError] = {}
    for i in explained.beyond:
        wrong |= _ask(form, i, explained, predicted, found)
    return wrong


def ask_weight(form: WeighingForm, expected_oz: float | None) -> dict[str, FieldError]:
    """Returns a question at a weight that is far from what the ball is to weigh."""
    read = form.weight.value
    if read is None or expected_oz is None or abs(float(read) - expected_oz) < FARTHEST_WEIGHT_OZ:
        return {}
    words = f"Is that right? {pound_words(float(read))}, and it was to weigh about {pound_words(expected_oz)}."
    return {"weight": FieldError(words)}


def ask_size(form: WeighingForm, read: ReadBalance, top_oz: float | None, top_u_oz: float) -> dict[str, FieldError]:
    """Returns a question at a reading before drilling that the ball's top weight does not allow, wherever its spot is.

    No side is heavier than the top weight, all three together are as heavy; and a grip is not put opposite to it.
    """
    if read.ways[2] is not None and read.ways[2] < -MOST_MISFIT * read.u_oz:
        return _ask_at(form, "top", "Is that right? The grip would lie opposite to the ball’s heavy spot.")
    known = [way for way in read.ways if way is not None]
    if top_oz is None or not known:
        return {}
    most_oz, size_oz = MOST_MISFIT * math.hypot(top_u_oz, read.u_oz), math.hypot(*known)
    if size_oz <= top_oz + most_oz and (len(known) < len(WAYS) or size_oz >= top_oz - most_oz):
        return {}
    way = max(zip(WAYS, read.ways, strict=True), key=lambda pair: abs(pair[1] or 0.0))[0]
    words = f"Is that right? What was read comes to {size_oz:.2f} oz; the ball’s top weight is {top_oz:.2f} oz,"
    return _ask_at(form, way, f"{words} at most {most_oz:.2f} oz off.")


def _ask_at(form: WeighingForm, way: Way, words: str) -> dict[str, FieldError]:
    names = (f"{way}_1", f"{way}_2")
    return {name: FieldError(words) for name in names if form.readings[name].value is not None}


def refuse(wrong: dict[str, FieldError]) -> None:
    """Raises InvalidError for what is asked, if anything is."""
    if wrong:
        confirm = FieldError("Read it again, or tick this.")
        raise InvalidError("That is not what was expected. Nothing was saved.", wrong | {CONFIRM: confirm})


def _ask(form: WeighingForm, i: int, explained: Explanation, predicted: Balance, found: Found) -> dict[str, FieldError]:
    sigma_oz = explained.difference[i] / explained.misfits[i]
    most = f"at most {MOST_MISFIT * sigma_oz:.2f} oz off"
    if i >= len(WAYS):
        words = f"Is that right? It was to weigh {pound_words(predicted.ounces.weight_oz)}, {most}."
        return {"weight": FieldError(words)}
    way = WAYS[i]
    value_oz = predicted.ounces[i] + explained.difference[i]
    words = f"Is that right? {side_words(value_oz, way)}; predicted {side_words(predicted.ounces[i], way)}, {most}."
    is_turned = _agrees_turned(i, predicted, found)
    words += " On the other side it would agree." if is_turned else " Is the ball the right way round?"
    asked = {}
    for name in (f"{way}_1", f"{way}_2"):
        if read_oz := form.readings[name].value:
            other = SIDES[way][1 if read_oz > 0 else 0]
            choices = (f"{exact(abs(read_oz))} {other}",) if is_turned else ()
            asked[name] = FieldError(words, choices)
        elif read_oz is not None:
            asked[name] = FieldError(words)
    return asked


def _agrees_turned(i: int, predicted: Balance, found: Found) -> bool:
    """Whether a direction would be as expected with its other side the heavier one."""
    name = f"{WAYS[i]}_oz"
    value: float = getattr(found, name) or 0.0
    turned = explain_difference(predicted, replace(found, **{name: -value}))
    return not math.isclose(value, 0.0, abs_tol=1e-9) and i not in turned.beyond
