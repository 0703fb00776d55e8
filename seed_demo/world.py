"""The demo's small world: Quarry Lane, four people at the counter, nine bowlers, two other shops."""

from datetime import date, timedelta

from sqlalchemy.orm import Session

from app.models import Ball, Bowler, Drilling, Fit, InsertSystem, Shop
from app.schemas.balls import BallForm
from app.schemas.bowlers import BowlerForm
from app.schemas.drillings import ClosingForm, DrilledForm, FindingForm, FinishForm, PlanForm
from app.schemas.fits import FitForm, InForceForm, RevisionForm
from app.schemas.identities import PersonForm, SetupForm
from app.schemas.inners import VisitorForm
from app.schemas.shops import ShopForm
from app.schemas.systems import DepthForm, SystemForm
from app.services import (
    accounts,
    balls,
    bowlers,
    depths,
    drillings,
    fits,
    measurements,
    plans,
    shops,
    systems,
    visitors,
)

# The password and PIN of everybody in the demo, which is thrown away.
PASSWORD = "three chalk marks on the floor"  # pragma: allowlist secret
PIN = "2580"

FIT = {
    "style": "fingertip",
    "reason": "first fit",
    "first_finger": "middle",
    "spans": "4 x 4 1/8",
    "span_edges": "cut",
    "bridge": "5/16",
    "bridge_edges": "cut",
    "thumb_hole": "15/16 + 1/16 @ 45 right",
    "thumb_pitch": "1/4 reverse, 0",
    "middle_hole": "11/16",
    "middle_cut": "31/32",
    "middle_pitch": "1/4 reverse, 1/16 left",
    "middle_depth": "7/8",
    "ring_hole": "21/32",
    "ring_cut": "31/32",
    "ring_pitch": "1/4 reverse, 1/8 right",
    "ring_depth": "7/8",
}
TWIST_LOCK = {
    "label": "Twist lock, floor seated",
    "digit": "thumb",
    "bore": "1 1/2",
    "sleeve_od": "1 1/2",
    "inner_ods": "1 1/4, 1 3/8",
    "sleeve_length": "2 3/4",
    "lock_depth": "2 3/8",
    "inner_length": "1 7/8",
    "stock": "1 1/4: 4, 1 3/8: 2",
    "locks": "clockwise",
    "notch": "6:00",
    "wide_tab": "3:00",
    "height_set_by": "bore_floor",
    "notes": "The sleeve rests on the floor of the bore: our collar decides where every inner sits.",
}


def fill(session: Session) -> None:
    """Fills an empty database with the demo shop."""
    owner = {"staff_name": "Imke Sand", "initials": "IS", "password": PASSWORD, "pin": PIN}
    shops.set_up(session, SetupForm.read(owner | {"shop_name": "Quarry Lane Pro Shop", "town": "Ashmere"}))
    ours = shops.require_our_shop(session)
    who = {"who": str(shops.list_staff(session)[0].id)}
    for name, initials, role in (
        ("Tadeo Birk", "TB", "owner"),
        ("Runa Vale", "RV", "counter"),
        ("Odd Lien", "OL", "driller"),
    ):
        form = PersonForm.read(who | {"name": name, "initials": initials, "role": role})
        added = accounts.add_person(session, int(who["who"]), form, ours.id)
        accounts.set_password(session, added, PASSWORD)
        accounts.give_pin(session, added, PIN)
    north = shops.add_shop(session, ShopForm.read(who | {"name": "Northgate Drilling", "town": "Fellbrook"}))
    harbour = shops.add_shop(session, ShopForm.read(who | {"name": "Harbour Street Pro Shop", "town": "Low Quay"}))
    lock = systems.add(session, SystemForm.read(who | TWIST_LOCK))
    systems.add(
        session,
        SystemForm.read(
            who
            | TWIST_LOCK
            | {
                "label": "Twist lock, flanged",
                "height_set_by": "ball_surface",
                "notes": "A flange on the surface sets it.",
            }
        ),
    )
    systems.add(
        session,
        SystemForm.read(
            who
            | {
                "label": "Finger insert, 31/32",
                "digit": "finger",
                "bore": "31/32",
                "locks": "unknown",
                "height_set_by": "by_hand",
                "inner_ods": "11/16, 21/32",
            }
        ),
    )
    _observe(session, who, ours, lock, "2 3/4", "collar_measured", 40)
    _observe(session, who, ours, lock, "2.755", "collar_measured", 5)
    _observe(session, who, north, lock, "2 11/16", "told", 200)
    _bowlers(session, who, ours, north, harbour, lock)


def _observe(
    session: Session, who: dict[str, str], shop: Shop, lock: InsertSystem, depth: str, how: str, age: int
) -> None:
    form = {"system_id": str(lock.id), "depth": depth, "datum": "collar", "obtained": how}
    day = (date.today() - timedelta(days=age)).isoformat()
    depths.observe(session, shop.id, DepthForm.read(who | form | {"observed_on": day}))


def _bowlers(session: Session, who: dict[str, str], ours: Shop, north: Shop, harbour: Shop, lock: InsertSystem) -> None:
    anna = _bowler(session, who, "Anna Johnson", "555 0142 7788", "right", ours)
    fit = _in_force(session, who, anna, FIT | {"hand": "right", "system_id": str(lock.id)})
    first = _ball(session, who, anna, "Blue pearl, league", "QL-1042", "15 lb 1 oz")
    second = _ball(session, who, anna, "Spare ball, plain", "QL-0877", "14")
    closed = _drilled(session, who, first, fit, lock, "3 47/64", "3 55/64")
    measurements.close_drilling(session, closed.id, ClosingForm.read(who | {"version": str(closed.version)}))
    off = _drilled(session, who, second, fit, lock, "3 51/64", "3 55/64", str(closed.inner_id))
    closing = {"version": str(off.version), "reason": "bowler tried it and wants it as it is"}
    measurements.close_drilling(session, off.id, ClosingForm.read(who | closing))
    session.flush()
    found = {"what": "thumb_hole", "value": "61/64", "note": "sanded at home", "version": str(off.version)}
    measurements.add_finding(session, off.id, FindingForm.read(who | found))
    revised = fits.revise(session, fit.id, RevisionForm.read(who | {"reason": "thumb swells less: shorter ring span"}))
    session.flush()
    changed = FIT | {"hand": "right", "system_id": str(lock.id), "spans": "4 x 4 3/32", "reason": revised.reason}
    fits.edit(session, revised.id, FitForm.read(who | changed | {"version": str(revised.version)}))

    piet = _bowler(session, who, "Piet Olander", "555 0199 2214", "left", ours)
    lefty = FIT | {
        "hand": "left",
        "system_id": "",
        "middle_pitch": "1/4 reverse, 1/16 right",
        "ring_pitch": "1/4 reverse, 1/8 left",
        "spans": "4 3/8 x 4 5/16",
    }
    fit = _in_force(session, who, piet, lefty | {"thumb_hole": "1 1/16", "thumb_pitch": "1/8 reverse, 1/8 under"})
    ball = _ball(session, who, piet, "Grey solid", "QL-1101", "16")
    plans.plan_drilling(session, ball, PlanForm.read(who | {"fit_id": str(fit.id)}))

    for name, phone, hand, home in (
        ("Ana Johansen", "555 0167 3390", "right", harbour),
        ("Bertil Johnson", "555 0110 4821", "right", ours),
        ("Bertil Johnson", "555 0171 9035", "left", north),
        ("Chiara Montani", "555 0122 6104", "right", ours),
        ("Søren Åkerlund", "555 0133 5577", "right", ours),
        ("Mei Tanaka-Ruiz", "555 0186 1200", "left", ours),
    ):
        _bowler(session, who, name, phone, hand, home)
    vern = _bowler(session, who, "Vern Castellan", "555 0104 8846", "right", north)
    arrives = {
        "bowler_id": str(vern.id),
        "hand": "right",
        "shop_id": str(north.id),
        "system_id": str(lock.id),
        "outside": "1 1/4",
        "thumb_hole": "31/32",
        "bore_pitch": "1/4 reverse, 0",
        "notch": "unknown",
        "ball_label": "Orange asymmetric",
        "ball_serial": "NG-77",
    }
    visitors.take_in(session, VisitorForm.read(who | arrives))


def _bowler(session: Session, who: dict[str, str], name: str, phone: str, hand: str, home: Shop) -> Bowler:
    form = {"name": name, "phone": phone, "hand": hand, "home_shop_id": str(home.id), "is_somebody_else": "true"}
    return bowlers.register(session, BowlerForm.read(who | form))


def _in_force(session: Session, who: dict[str, str], bowler: Bowler, typed: dict[str, str]) -> Fit:
    draft = fits.add_draft(session, bowler, FitForm.read(who | typed))
    return fits.put_in_force(session, draft.id, InForceForm.read(who | {"version": str(draft.version)}))


def _ball(session: Session, who: dict[str, str], bowler: Bowler, label: str, serial: str, weight: str) -> Ball:
    form = {"label": label, "serial": serial, "weight": weight, "circumference": "27"}
    return balls.add(session, bowler, BallForm.read(who | form))


def _drilled(
    session: Session,
    who: dict[str, str],
    ball: Ball,
    fit: Fit,
    lock: InsertSystem,
    middle: str,
    ring: str,
    inner_id: str = "",
) -> Drilling:
    chosen = {"fit_id": str(fit.id), "system_id": str(lock.id), "inner_id": inner_id}
    plan = plans.plan_drilling(session, ball, PlanForm.read(who | chosen))
    met = {"version": str(plan.version), "depth": "2 3/4", "datum": "collar"}
    drillings.mark_drilled(session, plan.id, DrilledForm.read(who | met))
    session.flush()
    form = {"version": str(plan.version), "middle": middle, "ring": ring, "instrument": "span gauge"}
    measurements.record_measurement(session, plan.id, FinishForm.read(who | form))
    session.flush()
    return plan
