"""The chain's rule that records are edited by the shop that made them: no other shop changes one."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from httpx import Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db import READ_AT_ONE_MOMENT
from app.models import Shop, Staff
from app.services import depths, portable
from seed_demo.world import TWIST_LOCK
from tests.conftest import Client
from tests.pages.test_history import WRITES, prepared, sent
from tests.pages.test_pages import new_bowler


def whole(app: FastAPI) -> list[str]:
    """Every line of the database but for who is signed in, without the end line that counts them."""
    with app.state.sessions() as session:
        session.connection(execution_options=READ_AT_ONE_MOMENT)
        *lines, _end = portable.export_lines(session.connection(), "x")
    return [line for line in lines if not any(t in line[-40:] for t in ('"sign_in"', '"sent_form"', '"attempt"'))]


# writes that add something of the shop's own, or concern only oneself, whoever made the record they hang on
ADDITIONS = {
    "/bowlers", "/bowlers/8/fits", "/fits/3/revisions", "/bowlers/1/balls", "/balls/1/drillings", "/bowlers/1/inners", "/systems",
    "/shops", "/shops/2/depths", "/inners/1/trial-fits", "/inners/1/findings",
    "/drillings/1/findings", "/drillings/1/weighings", "/bits", "/troubles", "/studies", "/visitors/set", "/visitors", "/tickets", "/squads", "/parts",
    "/bowlers/1/axis-points", "/balls/1/marks", "/balls/1/layouts", "/layouts/{layout}/favourite", "/scales",
    "/bowlers/1/card", "/cards/read", "/cards/takings",
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
    shows = 200 if address == "/cards/read" else 303  # what was read is shown at once
    assert sent(second, nd, where, WRITES[address]).status_code == shows
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
