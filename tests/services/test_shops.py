"""Shops: one chain on one database, which shop made a record, shops that are one, the first owner."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Base, Bowler, Drilling, MadeInShop, Shop, Staff, now
from app.schemas.identities import SetupForm
from app.schemas.shops import MergerForm, ShopForm, UnmergingForm
from app.schemas.systems import DepthForm
from app.services import accounts, changes, depths, shops
from seed_demo import PASSWORD
from tests.conftest import Client, not_none
from tests.pages.test_pages import new_bowler
from tests.services.test_sign_ins import person, sign_in


def test_a_shop_kept_before_there_were_accounts_gets_its_owner(session: Session) -> None:
    for each in session.scalars(select(Staff)):
        each.password_hash, each.role = "", "driller"
    session.commit()
    assert not accounts.is_set_up(session)
    shops.set_up(session, SetupForm.read({"staff_name": "Odd Lien", "initials": "ol", "password": PASSWORD}))
    session.commit()
    assert person(session).role == "owner"
    sign_in(session)
    with pytest.raises(InvalidError, match="set up already"):
        shops.set_up(session, SetupForm.read({"staff_name": "Eve", "initials": "EV", "password": PASSWORD}))


def test_every_record_says_which_shop_made_it(session: Session) -> None:
    kinds = [m.class_ for m in Base.registry.mappers if issubclass(m.class_, MadeInShop)]
    assert len(kinds) == 44
    for kind in kinds:
        assert set(session.scalars(select(kind.made_by_shop_id).distinct())) <= {1}, kind


def test_bowlers_are_shared_and_a_new_record_is_the_shops_own(second: Client, session: Session, who: str) -> None:
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    assert "/bowlers/1" in second.get("/?q=johnson").text
    assert second.get("/bowlers/1").status_code == 200
    assert second.post("/bowlers", new_bowler(nd, home_shop_id="4")).status_code == 303
    made = session.scalars(select(Bowler).where(Bowler.name == "Lars Quint")).one()
    assert not_none(session.get(Shop, made.made_by_shop_id)).name == "Second Lane"
    assert "Second Lane" in second.get("/").text


def test_each_shop_has_its_own_collar_people_and_waiting_rows(
    second: Client, client: Client, session: Session, who: str
) -> None:
    assert "Quarry Lane Pro Shop" in second.get("/visitors").text  # a sister shop's bores are foreign bores too
    assert "Second Lane" in client.get("/visitors").text
    assert ">TB<" not in second.get("/bowlers/new").text
    assert ">ND<" not in client.get("/bowlers/new").text
    client.post("/visitors/set", {"who": who, "bowler_name": "Row Of Ours", "hand": "right"})
    assert "Row Of Ours" in client.get("/visitors/set").text
    assert "Row Of Ours" not in second.get("/visitors/set").text
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    row = {"who": nd, "row_id": "1", "bowler_name": "Taken Over", "hand": "right"}
    second.post("/visitors/set", row)
    assert "Taken Over" not in client.get("/visitors/set").text


def test_a_plan_is_made_at_the_shops_own_depth(second: Client, session: Session) -> None:
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    second.post("/bowlers/1/balls", {"who": nd, "label": "Sister ball", "circumference": "27"})
    ball = second.get("/bowlers/1").text.split("Sister ball")[0].rsplit("/balls/", 1)[1].split("/")[0]
    done = second.post(
        f"/balls/{ball}/drillings", {"who": nd, "fit_id": "1", "system_id": "1", "bore_runs": "like_thumb"}
    )
    assert done.status_code == 303
    drilling = not_none(session.scalars(select(Drilling).order_by(Drilling.id.desc())).first())
    assert not_none(session.get(Shop, drilling.shop_id)).name == "Second Lane"


def test_merged_shops_share_their_observations_and_part_again(session: Session, who: str) -> None:
    north = not_none(session.scalar(select(Shop).where(Shop.name == "Northgate Drilling")))
    harbour = not_none(session.scalar(select(Shop).where(Shop.name == "Harbour Street Pro Shop")))
    form = {
        "who": who,
        "system_id": "1",
        "depth": "2 3/4",
        "datum": "collar",
        "obtained": "told",
        "observed_on": "2026-01-02",
    }
    depths.observe(session, harbour.id, DepthForm.read(form))
    session.flush()
    assert depths.load_shop_depths(session, [north.id])[north.id, 1].estimate.readings == 1
    shops.merge(
        session, harbour.id, MergerForm.read({"who": who, "into_id": str(north.id), "version": str(harbour.version)})
    )
    session.flush()
    for shop in (north, harbour):
        assert depths.load_shop_depths(session, [not_none(shop).id])[shop.id, 1].estimate.readings == 2
    assert len(depths.list_observations(session, north.id)) == 2
    shops.unmerge(session, harbour.id, UnmergingForm.read({"who": who, "version": str(harbour.version)}))
    session.flush()
    assert depths.load_shop_depths(session, [north.id])[north.id, 1].estimate.readings == 1
    assert [c.field for c in changes.list_record_lines(session, harbour)][:2] == ["merged_into_id", "merged_into_id"]


@pytest.mark.parametrize("into", [1, 3])
def test_a_shop_is_not_merged_into_itself_and_ours_not_at_all(session: Session, who: str, into: int) -> None:
    ours = shops.require_our_shop(session)
    gone = 3 if into == 3 else ours.id
    version = not_none(session.get(Shop, gone)).version
    with pytest.raises(InvalidError):
        shops.merge(session, gone, MergerForm.read({"who": who, "into_id": str(into), "version": str(version)}))


def test_the_name_of_a_shop_that_was_taken_back_is_free(session: Session, who: str) -> None:
    def read(name: str, version: int = 0) -> ShopForm:
        return ShopForm.read({"who": who, "name": name, "version": version})

    gone, ours = (shops.add_shop(session, read(name)) for name in ("Harbour Lane", "Harbor Lane"))
    gone.removed_at = now()
    session.flush()
    shops.edit_shop(session, ours.id, read("Harbour Lane", ours.version))
    session.flush()
    assert (ours.name, gone.name) == ("Harbour Lane", f"Harbour Lane (taken back {gone.id})")
    with pytest.raises(InvalidError):
        shops.add_shop(session, read("Harbour Lane"))
