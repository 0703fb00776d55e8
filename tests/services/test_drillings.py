import re
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Bowler, Drilling, Inner, InsertSystem
from app.schemas.drillings import DrilledForm, PluggingForm
from app.schemas.fits import FitForm, InForceForm
from app.services import drillings, fits
from seed_demo.world import FIT
from tests.conftest import Client, not_none
from tests.services.test_plans import planned_on


def drilled(session: Session, plan: Drilling, who: str, **typed: str) -> Drilling:
    form = {"who": who, "version": str(plan.version), "depth": "2 3/4", "datum": "collar"} | typed
    made = drillings.mark_drilled(session, plan.id, DrilledForm.read(form))
    session.flush()
    return made


def test_a_bore_without_its_datum_is_kept_as_unknown(session: Session, plan: Drilling, who: str) -> None:
    of = drilled(session, plan, who, depth="2 3/4", datum="unknown")
    assert not_none(drillings.get_drilling(session, of.id).bore).datum == "unknown"


def test_a_depth_that_names_another_datum_than_its_field_is_refused(session: Session, plan: Drilling, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        drilled(session, plan, who, depth="2 3/4 crown", datum="collar")
    assert "datum" in refused.value.fields


def test_the_notch_as_built_is_recorded_apart_from_the_plan(session: Session, plan: Drilling, who: str) -> None:
    of = drilled(session, plan, who, notch="7:00")
    assert not_none(drillings.get_drilling(session, of.id).bore).notch_deg == 210
    assert not_none(of.plan).notch_deg == 180


def test_a_plugged_ball_can_be_drilled_again(session: Session, plan: Drilling, who: str, anna: Bowler) -> None:
    drillings.plug(
        session, plan.id, PluggingForm.read({"who": who, "version": str(plan.version), "reason": "wrong ball"})
    )
    session.flush()
    current = drillings.pick_in_force(drillings.list_of_balls(session, [plan.ball_id]))
    assert plan.ball_id not in current


# A left hand's fit of a bowler recorded right-handed --------------------------------------------------------------


def test_the_hand_is_that_of_the_thing_shown(session: Session, client: Client, anna: Bowler, who: str) -> None:
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    left = {"hand": "left", "system_id": str(lock.id), "thumb_pitch": "1/4 reverse, 1/8 under"}
    draft = fits.add_draft(session, anna, FitForm.read({"who": who} | FIT | left))
    fits.put_in_force(session, draft.id, InForceForm.read({"who": who, "version": str(draft.version)}))
    session.flush()
    of = planned_on(session, fits.get_fit(session, draft.id), who, system_id=str(lock.id))
    assert anna.hand == "right"
    of_id, ball_id, bowler_id = of.id, of.ball_id, anna.id
    session.commit()
    bench, tag = client.get(f"/drillings/{of_id}/bench").text, client.get(f"/balls/{ball_id}/tag").text
    assert re.search(r"Anna Johnson</h1></div>\s*<div><small>Hand</small><span class=\"says\">left</span>", tag)
    assert "<small>Hand</small><b>left</b>" in bench
    met = {"who": who, "version": str(of.version), "depth": "2 3/4", "datum": "collar", "notch": ""}
    session.rollback()
    assert client.post(f"/drillings/{of_id}/drilled", met).status_code == 303
    shown = client.get(f"/drillings/{of_id}").text
    assert "right hand" not in shown
    assert "one-eighth to the left, towards the palm" in shown.split("<h2>Specified, built, found</h2>")[1]
    session.expire_all()
    bore = not_none(drillings.get_drilling(session, of_id).bore)
    assert (bore.hand, bore.right_in) == ("left", Fraction(-1, 8))
    form = {"who": who, "trimmed_in_id": str(bore.id), "label": "left thumb", "outside": "1 1/4", "thumb_hole": "15/16"}
    session.rollback()
    answer = client.post(f"/bowlers/{bowler_id}/inners", form | {"tilt": "0, 1/8 under", "hand": "right"})
    assert answer.status_code == 303
    assert session.scalar(select(Inner.right_in).order_by(Inner.id.desc()).limit(1)) == Fraction(-1, 8)
