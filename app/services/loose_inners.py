"""Reads the bore in which an inner was trimmed off the loose inner's own rim."""

import math
from datetime import date
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.errors import CannotBuildError
from app.calculation.loose import LooseInner, loose_inner
from app.errors import InvalidError
from app.models import DepthObservation, Inner
from app.schemas.forms import typed_texts
from app.schemas.inners import LooseForm, LooseHeights
from app.services import changes, depths, inners, shop_limits


def read_loose(session: Session, of: Inner, form: LooseHeights) -> LooseInner:
    """Returns the bore in which an inner was trimmed, from its rim's heights; raises InvalidError. Stores nothing."""
    bore = of.trimmed_in
    if of.outside_in is None:
        message = (
            "Cannot say: the pitch follows from the inner's outside, which is unknown. Measure it and add it first."
        )
        raise InvalidError.at("height_12", message)
    spread = math.hypot(
        float(shop_limits.load_limits(session)["height_spread"].value_in), form.division_in / math.sqrt(12)
    )
    try:
        return loose_inner(form.heights_in, float(of.outside_in), float(bore.around_in), float(bore.bore_in), spread)
    except CannotBuildError as error:
        raise InvalidError.at("height_12", error.message[0].upper() + error.message[1:] + ".") from None


def save_loose(session: Session, inner_id: int, form: LooseForm) -> DepthObservation:
    """Saves depth and pitch read off a loose inner as observation of its shop and bore; raises InvalidError."""
    of = inners.get_inner(session, inner_id)
    found, bore = read_loose(session, of, form), of.trimmed_in
    if not found.is_one_clean_cut:
        raise InvalidError.at(
            "height_12",
            f"These four heights cannot be of one clean cut: one is off by {found.misfit_in:.3f} in or more. "
            "Read all four again. If they come out the same, the rim is damaged and tells nothing of the bore.",
        )
    exact = [Fraction(v).limit_denominator(10**6) for v in (found.depth_in, found.forward_in, found.right_in)]
    how = "read off the loose inner"
    values = {"forward_in": exact[1], "right_in": exact[2], "typed": bore.typed | {"bore_pitch": how}}
    changes.revise(session, form.who, bore, values, how, of.bowler_id)
    observation = DepthObservation(
        shop_id=bore.shop_id,
        system_id=of.system_id,
        depth_in=exact[0],
        datum="collar",
        obtained="loose_inner",
        circumference_in=bore.around_in,
        bore_in=bore.bore_in,
        forward_in=exact[1],
        right_in=exact[2],
        resolution_in=Fraction(0),
        repeatability_in=Fraction(found.depth_u_in).limit_denominator(10**6),
        observed_on=date.today(),
        staff_id=form.who,
        inner_id=of.id,
        typed=typed_texts(form),
    )
    depths.add(session, form.who, observation, bore.shop.name, of.system)
    return observation
