"""Wallet cards are printed on both sides of whole cards, with all that they hold in words, whatever they hold."""

import io
import re
from dataclasses import replace

import pytest
from pypdf import PdfReader
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.cards.envelope import open_card
from app.cards.words import list_short_depths, list_short_inners
from app.models import Fit, Inner, IssuedCard
from tests.conftest import Client, not_none
from tests.services.cards import copy_inner
from tests.services.test_paper_checks import type_one


def read_pages(client: Client, address: str) -> list[str]:
    pdf = PdfReader(io.BytesIO(client.get(address).content))
    return [re.sub(r"\s+", " ", page.extract_text()) for page in pdf.pages]


def issue(client: Client, session: Session, who: str) -> IssuedCard:
    session.commit()
    assert client.post("/bowlers/1/card", {"who": who, "hand": "right"}).status_code == 303
    return session.scalars(select(IssuedCard)).one()


LONG = "the orange one for dry days in summer"


@pytest.mark.parametrize(
    ("more", "label", "sides"), [(0, "dry", 2), (0, LONG, 2), (1, "dry", 2), (1, LONG, 4), (2, LONG, 4), (3, "dry", 4)]
)
def test_a_wallet_card_is_whole_cards_with_all_its_words(
    client: Client, who: str, session: Session, more: int, label: str, sides: int
) -> None:
    inner = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    inner.label = label
    for n in range(more):
        copy_inner(session, inner).label = f"{n} {label}"
    issued = issue(client, session, who)
    pages = read_pages(client, f"/fits/{issued.fit_id}/card.pdf")
    card = open_card(issued.data).card
    assert len(pages) == sides
    assert "Measure before you cut" in pages[-1]
    printed = "".join(pages).replace(" ", "")
    for name, words in (*list_short_inners(card), *list_short_depths(card)):
        assert f"{name}:{words}".replace(" ", "") in printed


def test_inners_of_one_bore_tell_it_once_and_of_two_each_its_own(client: Client, who: str, session: Session) -> None:
    inner = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    copy_inner(session, inner)
    card = open_card(issue(client, session, who).data).card
    assert [label for label, _ in list_short_inners(card)] == [inner.label, "the other one", "Both trimmed in"]
    apart = replace(card, bores=card.bores * 2, inners=(card.inners[0], replace(card.inners[1], bore=1)))
    told = list_short_inners(apart)
    assert [label for label, _ in told] == [inner.label, "the other one"]
    assert all("deep 2 3/4 collar setting" in words for _, words in told)


def test_a_bowler_with_an_inner_and_no_fit_has_a_wallet_card(client: Client, who: str, session: Session) -> None:
    for fit in session.scalars(select(Fit).where(Fit.bowler_id == 1)):
        fit.state = "superseded"
    issued = issue(client, session, who)
    assert issued.fit_id is None
    assert 'href="/bowlers/1/card.pdf?hand=right"' in client.get("/bowlers/1/card").text
    front, back = read_pages(client, "/bowlers/1/card.pdf?hand=right")
    assert "inners alone" in front
    assert open_card(issued.data).card.inners[0].label in back


def test_a_card_with_a_fit_is_printed_from_the_fit(client: Client, who: str, session: Session) -> None:
    issued = issue(client, session, who)
    answer = client.get("/bowlers/1/card.pdf")
    assert (answer.status_code, answer.headers["location"]) == (303, f"/fits/{issued.fit_id}/card.pdf")


def test_a_fit_that_nobody_compared_is_marked_on_a_whole_card(client: Client, who: str, session: Session) -> None:
    _, _, fit = type_one(session, who)
    session.commit()
    typed = {"who": who, "hand": "right", "is_unverified_known": "true"}
    assert client.post(f"/bowlers/{fit.bowler_id}/card", typed).status_code == 303
    front, _ = read_pages(client, f"/fits/{fit.id}/card.pdf")
    assert "Typed from a card, not verified." in front
