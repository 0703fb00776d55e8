"""Many shops on one database: bowlers are shared, every record says who made it, and editing may be limited."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from httpx import Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db import READ_ONLY
from app.models import Base, Bowler, Drilling, MadeInShop, Shop, Staff
from app.schemas.identities import PersonForm
from app.schemas.shops import ShopForm
from app.services import accounts, depths, portable, shops
from seed_demo import PASSWORD, PIN
from seed_demo.world import TWIST_LOCK
from tests.conftest import Client, not_none
from tests.pages.test_history import WRITES, prepared, sent
from tests.pages.test_pages import new_bowler


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


def test_every_record_says_which_shop_made_it(session: Session) -> None:
    kinds = [m.class_ for m in Base.registry.mappers if issubclass(m.class_, MadeInShop)]
    assert len(kinds) == 18
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
    ball = second.get("/bowlers/1").text.split("Sister ball")[0].rsplit("/balls/", 1)[1].split('"')[0]
    done = second.post(
        f"/balls/{ball}/drillings", {"who": nd, "fit_id": "1", "system_id": "1", "bore_runs": "like_thumb"}
    )
    assert done.status_code == 303
    drilling = not_none(session.scalars(select(Drilling).order_by(Drilling.id.desc())).first())
    assert not_none(session.get(Shop, drilling.shop_id)).name == "Second Lane"


def whole(app: FastAPI) -> list[str]:
    """Every line of the database but for who is signed in, without the end line that counts them."""
    with app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        *lines, _end = portable.export_lines(session.connection(), "x")
    return [line for line in lines if not any(t in line[-40:] for t in ('"sign_in"', '"sent_form"', '"attempt"'))]


# writes that add something of the shop's own, or concern only oneself, whoever made the record they hang on
ADDITIONS = {
    "/bowlers", "/bowlers/8/fits", "/fits/3/revisions", "/bowlers/1/balls", "/balls/1/drillings", "/bowlers/1/inners", "/systems",
    "/shops", "/shops/2/depths", "/inners/1/trial-fits", "/inners/1/findings",
    "/drillings/1/findings", "/bits", "/troubles", "/studies", "/visitors/set", "/visitors",
    "/me/password", "/me/pin", "/me/sign-outs", "/sign-out",
}  # fmt: skip


@pytest.mark.once
@pytest.mark.parametrize("address", [a for a in WRITES if a not in ADDITIONS])
def test_with_the_rule_no_address_changes_another_shops_record(
    app: FastAPI, client: Client, second: Client, session: Session, who: str, address: str
) -> None:
    where = prepared(client, who, address)
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    assert client.post("/rules/own_shop_only", {"who": who, "value": "1", "version": "0"}).status_code == 303
    before = whole(app)
    answer = sent(second, nd, where, WRITES[address])
    assert answer.status_code == 403, answer.status_code
    assert whole(app) == before


@pytest.mark.parametrize("address", sorted(a for a in ADDITIONS if "/me/" not in a and a != "/sign-out"))
def test_with_the_rule_additions_leave_the_other_shops_records_as_they_were(
    app: FastAPI, client: Client, second: Client, session: Session, who: str, address: str
) -> None:
    where = prepared(client, who, address)
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    client.post("/rules/own_shop_only", {"who": who, "value": "1", "version": "0"})
    before = whole(app)
    assert sent(second, nd, where, WRITES[address]).status_code == 303
    assert set(before) < set(whole(app))


def test_an_owner_edits_everywhere_and_the_maker_its_own(
    client: Client, second: Client, session: Session, who: str
) -> None:
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    client.post("/rules/own_shop_only", {"who": who, "value": "1", "version": "0"})
    made = second.post("/bowlers", new_bowler(nd)).headers["location"]
    assert sent(second, nd, made, new_bowler(nd, notes="own")).status_code == 303
    assert sent(client, who, made, new_bowler(who, notes="by the owner")).status_code == 303
    refused = sent(second, nd, "/systems/1", TWIST_LOCK | {"label": "Mine now"})
    assert refused.status_code == 403
    assert "Another shop of ours made this record" in refused.text


def test_without_the_rule_a_chain_edits_together(second: Client, session: Session) -> None:
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    assert sent(second, nd, "/bowlers/1", WRITES["/bowlers/1"]).status_code == 303


OUR_DEPTH = {"system_id": "1", "depth": "2 1/4", "datum": "collar", "obtained": "told", "observed_on": "2026-01-02"}


def collars(session: Session) -> dict[tuple[int, int], float]:
    found = depths.load_shop_depths(session, session.scalars(select(Shop.id)))
    session.rollback()
    return {key: known.estimate.depth_in for key, known in found.items()}


def ways_to_move_our_collar(second: Client, nd: str) -> Iterator[Callable[[], Response]]:
    """Everything another shop's driller can send that would count as an observation of Quarry Lane's own collar."""
    yield lambda: sent(second, nd, "/shops/1/depths", OUR_DEPTH)
    visitor = WRITES["/visitors"] | {"shop_id": "1", "depth": "2 1/4", "datum": "collar", "obtained": "told"}
    yield lambda: sent(second, nd, "/visitors", visitor)
    yield lambda: sent(second, nd, "/visitors/set", visitor | {"ball_label": "Green"})
    stranger = second.post("/shops", {"who": nd, "name": "Made up"}).headers["location"]
    assert sent(second, nd, f"{stranger}/depths", OUR_DEPTH).status_code == 303  # any other shop may be told of
    yield lambda: sent(second, nd, f"{stranger}/merger", {"into_id": "1"})


def test_with_the_rule_another_shop_cannot_move_our_bore_depth(
    client: Client, second: Client, session: Session, who: str
) -> None:
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    assert sent(client, who, "/shops/1/depths", OUR_DEPTH | {"depth": "2 3/4"}).status_code == 303
    client.post("/rules/own_shop_only", {"who": who, "value": "1", "version": "0"})
    before = collars(session)
    for way in ways_to_move_our_collar(second, nd):
        assert way().status_code == 403
        after = collars(session)
        assert {key: after[key] for key in before} == before
    own = session.scalars(select(Shop.id).where(Shop.name == "Second Lane")).one()
    session.rollback()
    assert sent(second, nd, f"/shops/{own}/depths", OUR_DEPTH).status_code == 303
    assert collars(session)[own, 1] == pytest.approx(2.25, abs=1e-9)
    assert sent(client, who, f"/shops/{own}/depths", OUR_DEPTH | {"depth": "2 3/8"}).status_code == 303  # an owner may


def test_with_the_rule_a_shop_merged_into_ours_is_ours_to_observe_and_to_part(
    client: Client, second: Client, session: Session, who: str
) -> None:
    nd = str(session.scalar(select(Staff.id).where(Staff.initials == "ND")))
    session.rollback()
    made = second.post("/shops", {"who": nd, "name": "Made up"}).headers["location"]
    assert sent(client, who, f"{made}/merger", {"into_id": "1"}).status_code == 303
    client.post("/rules/own_shop_only", {"who": who, "value": "1", "version": "0"})
    assert sent(second, nd, f"{made}/depths", OUR_DEPTH).status_code == 403
    assert sent(second, nd, f"{made}/merger-removal", {}).status_code == 403
