"""The first day: ticked from the records, line by line, and gone with the first drilling or when it is put away."""

from datetime import date

import pytest
from sqlalchemy.orm import Session

from app.db import open_engine, sessions
from app.errors import ConflictError
from app.schemas.forms import SignedForm
from app.schemas.identities import PersonForm, SetupForm
from app.schemas.systems import DepthForm, SystemForm
from app.services import accounts, depths, first_day, shops, systems
from seed_demo.bench_hands import Hands
from seed_demo.world import PASSWORD, TWIST_LOCK
from tests.conftest import not_none

OWNER = {"shop_name": "New Lane", "staff_name": "Imke Sand", "initials": "IS", "password": PASSWORD}


def done(session: Session) -> list[str]:
    session.flush()
    return [line.words for line in first_day.list_lines(session) if line.is_done]


def test_each_line_is_ticked_from_the_records_and_the_first_drilling_ends_the_list(empty_url: str) -> None:
    engine = open_engine(empty_url)
    with sessions(engine)() as session:
        assert first_day.list_lines(session) == []
        shops.set_up(session, SetupForm.read(OWNER))
        who, ours = {"who": "1"}, shops.require_our_shop(session)
        lines = first_day.list_lines(session)
        assert [line.is_done for line in lines] == [False] * 7
        lock = systems.add(session, SystemForm.read(who | TWIST_LOCK))
        assert done(session) == ["Hardware"]
        depth = {"system_id": str(lock.id), "depth": "2 3/4", "datum": "collar", "obtained": "collar_measured"}
        depths.observe(session, ours.id, DepthForm.read(who | depth | {"observed_on": date.today().isoformat()}))
        assert done(session)[-1] == "Collar depth"
        for name, initials in (("Runa Vale", "RV"), ("Tadeo Birk", "TB"), ("Odd Lien", "OL")):
            accounts.add_person(session, 1, PersonForm.read(who | {"name": name, "initials": initials}), ours.id)
        assert done(session)[-1] == "People"
        hands = Hands(session)
        hands.hardware, hands.shops = {"floor": lock}, {"ours": ours}
        bowler = hands.register("Anna Johnson", "")
        assert done(session)[-1] == "First bowler"
        assert first_day.list_lines(session)[4].href == f"/bowlers/{bowler.id}/fits/new"
        fit = hands.fit(bowler, "floor", reason="first fit")
        assert done(session)[-1] == "First fit"
        plan = hands.plan(hands.ball(bowler, "Blue"), fit)
        assert done(session)[-1] == "First plan"
        last = first_day.list_lines(session)[-1]  # a plan alone has printed and drilled nothing
        assert (last.href, last.is_done) == (f"/drillings/{plan.id}/strips", False)
        hands.drill(plan)
        assert done(session) == []
        assert first_day.list_lines(session) == []
    engine.dispose()


def test_an_owner_puts_the_list_away_once(empty_url: str) -> None:
    engine = open_engine(empty_url)
    with sessions(engine)() as session:
        owner = shops.set_up(session, SetupForm.read(OWNER))
        form = SignedForm.read({"who": str(not_none(owner).id)})
        first_day.put_away(session, form)
        session.flush()
        assert first_day.list_lines(session) == []
        with pytest.raises(ConflictError):
            first_day.put_away(session, form)
    engine.dispose()
