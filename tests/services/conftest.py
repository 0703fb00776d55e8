"""What several tests of services begin with: hardware, bowlers, plans and visitors of the demo shop, a second shop."""

import shutil
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Ball, Bowler, Drilling, Fit, Inner, InsertSystem, Shop
from app.schemas.drillings import PlanForm
from app.schemas.fits import FitForm, InForceForm
from app.schemas.identities import PersonForm
from app.schemas.inners import VisitorForm
from app.schemas.shops import ShopForm
from app.schemas.systems import SystemForm
from app.services import accounts, bench, drillings, fits, inners, plans, shops, systems, visitors
from seed_demo import PASSWORD, PIN
from seed_demo.world import FIT, TWIST_LOCK
from tests.conftest import Client, Databases, not_none

Make = Callable[..., Drilling]
Take = Callable[..., Inner]
Arrive = Callable[..., VisitorForm]

VISITOR = {
    "hand": "right", "shop_name": "Bridge End Drilling",
    "outside": "1 1/4", "thumb_hole": "31/32", "bore_pitch": "1/4 reverse, 0", "tilt": "0", "notch": "6:00",
    "depth": "2 3/4", "datum": "collar", "obtained": "read_off_ball", "ball_label": "Green", "circumference": "27",
}  # fmt: skip
NAMES = ("Fenn", "Quill", "Tarrow", "Zorn", "Mabley", "Ickworth", "Dunn", "Yeo")


@pytest.fixture
def second(app: FastAPI, session: Session, who: str) -> Iterator[Client]:
    """A browser of another shop of the chain, where ND, a driller, is signed in."""
    with app.state.sessions() as own, own.begin():
        shop = shops.add_chain_shop(own, ShopForm.read({"who": who, "name": "Second Lane", "town": "Far Mere"}))
        person = accounts.add_person(
            own, int(who), PersonForm.read({"who": who, "name": "Nils Dorn", "initials": "ND"}), shop.id
        )
        accounts.set_password(own, person, PASSWORD)
        accounts.give_pin(own, person, PIN)
    client = Client(app).sign_in("ND")
    yield client
    client.close()


@pytest.fixture
def shop(all_databases: dict[str, Databases], tmp_path: Path) -> Path:
    """The demo shop's SQLite file, alone in a folder."""
    file = tmp_path / "shop" / "shop.db"
    file.parent.mkdir()
    shutil.copyfile(all_databases["sqlite"].demo.removeprefix("sqlite:///"), file)
    return file


@pytest.fixture
def lock(session: Session) -> InsertSystem:
    return not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))


@pytest.fixture
def taken(session: Session, who: str, lock: InsertSystem) -> Take:
    def made(**typed: str) -> Inner:
        count = len(session.scalars(select(Inner.id)).all())
        form = {"who": who, "system_id": str(lock.id)} | VISITOR
        form |= {"bowler_name": f"Orla {NAMES[count]}", "bowler_phone": "", "ball_serial": f"S-{count}"} | typed
        shop = session.scalar(select(Shop.id).where(Shop.name == VISITOR["shop_name"]))
        form |= {"shop_id": str(shop or "")}
        found = inners.get_inner(session, visitors.take_in(session, VisitorForm.read(form)).id)
        session.flush()
        return found

    return made


@pytest.fixture
def arrives(who: str, lock: InsertSystem) -> Arrive:
    def made(**typed: str) -> VisitorForm:
        form = {
            "who": who, "bowler_name": "Orla Fenn", "bowler_phone": "555 0190 3321", "hand": "right",
            "shop_name": "Bridge End Drilling", "system_id": str(lock.id), "outside": "1 1/4", "thumb_hole": "31/32",
            "bore_pitch": "1/4 reverse, 0",
        }  # fmt: skip
        return VisitorForm.read(form | typed)

    return made


@pytest.fixture
def stranger(session: Session) -> Shop:
    shop = Shop(name="Quayside Bowls Drilling", town="")
    session.add(shop)
    session.flush()
    return shop


@pytest.fixture
def mei(session: Session) -> Bowler:
    return not_none(session.scalar(select(Bowler).where(Bowler.name.startswith("Mei"))))


@pytest.fixture
def make(session: Session, mei: Bowler, who: str) -> Make:
    """Plans a new ball for a new fit on hardware of a kind; answers the drilling with its steps."""

    def made(
        kind: str = "bore_floor",
        hand: str = "left",
        system: dict[str, str] | None = None,
        plan: dict[str, str] | None = None,
        **fit: str,
    ) -> Drilling:
        hardware = None
        if kind != "none":
            form = TWIST_LOCK | {"who": who, "label": f"{kind} {hand}", "height_set_by": kind} | (system or {})
            hardware = systems.add(session, SystemForm.read(form))
        mirrored = (
            {"middle_pitch": "1/4 reverse, 1/16 right", "ring_pitch": "1/4 reverse, 1/8 left"} if hand == "left" else {}
        )
        typed = FIT | mirrored | {"who": who, "hand": hand, "system_id": str(hardware.id) if hardware else ""} | fit
        draft = fits.add_draft(session, mei, FitForm.read(typed))
        session.flush()
        chosen = fits.put_in_force(session, draft.id, InForceForm.read({"who": who, "version": str(draft.version)}))
        ball = Ball(bowler_id=mei.id, label="Black", serial="B-1", circumference_in=Fraction(27))
        session.add(ball)
        session.flush()
        form = {"who": who, "fit_id": str(chosen.id), "system_id": str(hardware.id) if hardware else ""}
        form |= {"reason": "tried here"} | (plan or {})
        started = plans.plan_drilling(session, ball, PlanForm.read(form))
        session.flush()
        return bench.get_drilling(session, started.id)

    return made


@pytest.fixture
def anna(session: Session) -> Bowler:
    return not_none(session.scalar(select(Bowler).where(Bowler.name == "Anna Johnson")))


@pytest.fixture
def plan(session: Session, anna: Bowler, who: str) -> Drilling:
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == anna.id, Fit.state == "in force")))
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    ball = Ball(bowler_id=anna.id, label="New red", circumference_in=Fraction(27))
    session.add_all([ball, Ball(bowler_id=anna.id, label="Unbored", circumference_in=Fraction(27))])
    session.flush()
    form = PlanForm.read({"who": who, "fit_id": str(fit.id), "system_id": str(lock.id)})
    made = plans.plan_drilling(session, ball, form)
    session.flush()
    return drillings.get_drilling(session, made.id)


@pytest.fixture
def by_the_sleeve(session: Session, anna: Bowler, who: str) -> Fit:
    """Anna's fit as a shop types it that measures from the sleeve's outside, 1 1/2 in across."""
    lock = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    typed = FIT | {"hand": "right", "system_id": str(lock.id), "spans": "3.75 x 3.875", "span_edges": "sleeve"}
    draft = not_none(fits.find_draft(session, anna.id, "right"))
    fits.edit(session, draft.id, FitForm.read({"who": who, "version": str(draft.version)} | typed))
    session.flush()
    fits.put_in_force(session, draft.id, InForceForm.read({"who": who, "version": str(draft.version)}))
    session.flush()
    return fits.get_fit(session, draft.id)
