"""Cards on their pages: issued, printed, read in every way and state, taken in, and keys shown to nobody but owners."""

import inspect
import io
import re
import sqlite3
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

import pytest
from fastapi.routing import APIRoute
from pypdf import PdfReader
from sqlalchemy import event, func, select
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from app.cards.codes import make_code
from app.cards.envelope import open_card
from app.cards.errors import NoCodeError
from app.cards.signing import fingerprint, public_key_of
from app.cards.texts import read_text, to_lines, to_text
from app.models import Base, Bowler, Change, Inner, IssuedCard, ReadCard, Shop, ShopKey, Staff
from app.pages import cards, visitor_sets
from app.pages.lanes import READS_CODES
from app.schemas.shops import ShopForm
from app.services import card_reading, paper_checks, shop_keys, shops
from seed_demo import PASSWORD
from tests.cards.made import DEPTH, INSERTS, PRIVATE_KEY, THUMB_HARDWARE
from tests.cards.photographs import to_png
from tests.conftest import Client, not_none
from tests.pages.test_pages import text_of
from tests.services.cards import OTHER_KEY, copy_inner, open_made, take
from tests.services.test_paper_checks import OTHER, say, type_one

CARD = open_made()
TEXT = to_lines(CARD.data)


def read(client: Client, who: str, **typed: str) -> str:
    return text_of(client.post("/cards/read", {"who": who} | typed).text)


@pytest.mark.parametrize(
    ("name", "data"),
    [("card.png", to_png(make_code(to_text(CARD.data)))), ("card.txt", TEXT.encode()), ("card.cbor", CARD.data)],
)
def test_a_picture_and_a_file_are_read(client: Client, who: str, name: str, data: bytes) -> None:
    answer = client.post("/cards/read", {"who": who}, files={"photo": (name, data)})
    assert answer.status_code == 200
    assert "Read whole." in answer.text
    assert "Ada Quillfeather" in answer.text


def test_one_picture_at_a_time_is_decoded(client: Client, who: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """While a picture is looked at, the lane of pictures is full; a text takes no place in it."""
    lane, free = client.app.state.lanes.pictures, []

    def look(data: bytes) -> str:
        free.append(lane.available_tokens)
        raise NoCodeError("none")

    monkeypatch.setattr(card_reading, "read_code", look)
    files = {"photo": ("card.png", b"\x89PNG\r\n\x1a\n")}
    assert client.post("/cards/read", {"who": who}, files=files).status_code == 422
    assert (free, lane.total_tokens, lane.available_tokens) == ([0], 1, 1)


def test_every_route_that_reads_a_code_off_a_picture_waits_in_the_lane_of_pictures() -> None:
    """Found in the source: who calls `open_any` with a posted photo bears the name by which the lane is chosen."""
    named = [route.endpoint.__name__ for router in (cards.router, visitor_sets.router) for route in router.routes
             if isinstance(route, APIRoute) and route.name == READS_CODES]  # fmt: skip
    reading = [
        name
        for name, of in inspect.getmembers(cards, inspect.isfunction)
        if "photo" in inspect.signature(of).parameters and "open_any(photo" in inspect.getsource(of)
    ]
    assert named == reading == ["read"]


def test_what_is_no_card_is_told_at_its_field_and_the_text_stays(client: Client, who: str) -> None:
    answer = client.post("/cards/read", {"who": who, "text": TEXT[:-30]})
    assert answer.status_code == 422
    assert 'id="text-error"' in answer.text
    assert "Damaged" in text_of(answer.text)
    assert TEXT[:40] in answer.text
    empty = client.post("/cards/read", {"who": who})
    assert empty.status_code == 422


def test_each_state_is_told(client: Client, who: str) -> None:
    first = read(client, who, text=TEXT)
    assert "Unknown shop." in first
    assert "Seen before" not in first
    again = read(client, who, text=TEXT)
    assert "Unknown shop." in again
    assert "Seen before" in again and "Nothing was taken in." in again
    old = open_made(made_on=date.today() - timedelta(days=800), revision=2)
    told = read(client, who, text=to_lines(old.data))
    assert "months old." in told
    assert "Not the newest." in told
    two = read(client, who, text=to_lines(open_made(OTHER_KEY, revision=4).data))
    assert "Two keys, one name." in two
    assert f"{fingerprint(public_key_of(PRIVATE_KEY))}, of a card that was only read" in two
    listed = text_of(client.get("/keys").text)
    assert listed.count("Another key claims this name.") == 2


def test_a_card_is_compared_with_a_namesake_and_taken_in_by_a_plain_form(client: Client, who: str) -> None:
    """What the preview proposes is posted as a browser without a script would: every field as it stands."""
    client.post("/bowlers", {"who": who, "name": "Ada Quilfeather", "hand": "right"})
    page = client.post("/cards/read", {"who": who, "text": TEXT}).text
    namesake = not_none(re.search(r'name="bowler_id" value="(\d+)"\s*> <span>Ada Quilfeather', page))[1]
    compared = client.post("/cards/read", {"who": who, "text": TEXT, "bowler_id": namesake}).text
    assert "To Ada Quilfeather" in compared
    form = compared.split('id="taking"')[1]
    fields = dict(re.findall(r'<input type="(?:hidden|checkbox)" name="([\w-]+)" value="([^"]*)"', form))
    for name, options in re.findall(r'<select id="[\w-]+" name="([\w-]+)"(.*?)</select>', form, re.S):
        fields[name] = not_none(re.search(r'value="(\d+)" *selected', options))[1]
    assert {"shop-0", "hardware-0", "hardware-1", "takes_fit"} <= set(fields)
    fields["text"] = TEXT
    done = client.post("/cards/takings", fields | {"who": who})
    assert done.status_code == 303
    taken = client.get(done.headers["location"]).text
    assert "Ada Quilfeather" in taken
    inner = not_none(re.search(r'href="(/inners/\d+)"', taken))[1]
    assert client.get(inner).status_code == 200
    shop = not_none(re.search(r'href="(/shops/\d+)"', taken))[1]
    assert "it says" in text_of(client.get(shop).text)


def test_a_card_of_a_series_that_was_taken_in_is_compared_with_its_bowler_at_once(
    client: Client, who: str, session: Session
) -> None:
    """The card itself and its next revision, under whatever name the bowler has here now; somebody new may be said."""
    taken = take(session, who, open_made())
    own = not_none(session.get(Bowler, taken.bowler_id))
    own.name = "Zoltan Wax"
    session.commit()
    ticked = rf'name="bowler_id"\s+value="{own.id}"\s+checked'
    for revision in (CARD.card.revision, 9):
        text = to_lines(open_made(revision=revision).data)
        page = client.post("/cards/read", {"who": who, "text": text}).text
        assert re.search(ticked, page), revision
        assert "To Zoltan Wax" in page
    assert not re.search(ticked, client.post("/cards/read", {"who": who, "text": TEXT, "bowler_id": "0"}).text)
    other = to_lines(open_made(series=b"others").data)
    assert not re.search(ticked, client.post("/cards/read", {"who": who, "text": other}).text)


def test_which_shop_of_one_name_a_card_means_is_asked_at_its_field(client: Client, who: str, session: Session) -> None:
    for spelled in ("HARBOUR lane", "Harbour  L\u0430ne"):
        shops.add_shop(session, ShopForm.read({"who": who, "name": spelled}))
    session.commit()
    page = client.post("/cards/read", {"who": who, "text": TEXT}).text
    choices = not_none(re.search(r'<select id="[\w-]*shop-0"(.*?)</select>', page, re.S))[1]
    assert ('<option value="">' in choices, re.findall(r'value="\d+" *selected', choices)) == (True, [])
    form = {"who": who, "text": TEXT, "bowler_id": "0", "takes_fit": "true"}
    refused = client.post("/cards/takings", form | {"shop-0": ""})
    assert (refused.status_code, 'id="shop-0-error"' in refused.text) == (422, True)
    assert client.post("/cards/takings", form | {"shop-0": "0"}).status_code == 303


def test_what_cannot_be_taken_in_is_told_on_the_preview(client: Client, who: str) -> None:
    form = {"who": who, "text": TEXT, "bowler_id": "0"}
    answer = client.post("/cards/takings", form)
    assert answer.status_code == 422
    assert "Choose what to take in" in answer.text
    assert client.post("/cards/takings", form | {"text": "SPAN:XX"}).status_code == 422
    assert client.post("/cards/takings", form | {"takes_inners": "true", "hardware-0": "99999"}).status_code == 404


def test_an_issued_card_is_printed_with_its_code_and_the_same_numbers_in_words(
    client: Client, who: str, session: Session
) -> None:
    before = PdfReader(io.BytesIO(client.get("/fits/1/card.pdf").content))
    assert len(before.pages) == 1
    assert client.post("/bowlers/1/card", {"who": who, "hand": "right"}).status_code == 303
    issued = not_none(session.scalar(select(IssuedCard)))
    session.rollback()
    fit = client.get(f"/fits/{issued.fit_id}/card").text
    assert 'class="travelling"' in fit
    pdf = PdfReader(io.BytesIO(client.get(f"/fits/{issued.fit_id}/card.pdf").content))
    assert len(pdf.pages) == 2
    words = re.sub(r"\s+", " ", pdf.pages[1].extract_text())
    inner = open_card(issued.data).card.inners[0]
    assert f"{inner.label}: 1 1/4 outside; 15/16 hole" in words
    assert "deep 2 3/4 collar setting" in words
    assert 'class="travelling"' in client.get(f"/fits/{issued.fit_id}/passport").text
    text = client.get("/bowlers/1/card.txt?hand=right")
    assert "attachment" in text.headers["content-disposition"]
    assert read_text(text.text).data == issued.data == client.get("/bowlers/1/card.cbor").content


def test_a_card_without_an_inner_is_current_and_offers_to_put_it_on(client: Client, who: str, session: Session) -> None:
    inner = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    other = copy_inner(session, inner).id
    session.commit()
    client.post("/bowlers/1/card", {"who": who, "hand": "right", f"leave_out-{other}": "true"})
    page = client.get("/bowlers/1/card").text
    assert "The records have changed" not in text_of(page)
    ticked = re.findall(r'name="leave_out-(\d+)"\s+value="true" checked', page)
    assert ticked == [str(other)]
    assert client.post("/bowlers/1/card", {"who": who, "hand": "right"}).status_code == 303
    assert re.findall(r'name="leave_out-(\d+)"\s+value="true" checked', client.get("/bowlers/1/card").text) == []


@pytest.mark.parametrize("role", ["nobody", "driller"])
def test_a_typed_key_is_never_shown_again(client: Client, who: str, session: Session, role: str) -> None:
    """Neither to a browser without a sign-in (401) nor to somebody who may not (403): the page keeps what was typed."""
    groups = shop_keys.write_paper(bytes(range(32)))
    if role == "driller":
        session.get_one(Staff, int(who)).role = role
        session.commit()
    else:
        client.sign_out()
    answer = client.post("/keys/paper", {"who": who, "paper": " ".join(groups), "note": "kept"})
    assert answer.status_code == {"nobody": 401, "driller": 403}[role]
    assert 'value="kept"' in answer.text
    assert [group for group in groups if group in answer.text] == []


def test_only_the_owners_paper_shows_the_key(client: Client, who: str, session: Session) -> None:
    key = not_none(session.scalar(select(ShopKey))).private_key
    session.rollback()
    groups = shop_keys.write_paper(key)
    assert client.get("/keys/paper").status_code == 405
    asked = {"who": who, "key": "once", "present": "a guess"}
    refused = client.post("/keys/paper/showing", asked)
    assert refused.status_code == 422
    assert [text in refused.text for text in (" ".join(groups[:2]), "a guess", 'id="s-present-error"')] == [
        False,
        False,
        True,
    ]
    paper = client.post("/keys/paper/showing", asked | {"present": PASSWORD})
    assert [f"<span>{group}</span>" in paper.text for group in groups] == [True] * 17
    again = client.post("/keys/paper/showing", asked | {"present": PASSWORD})
    assert (again.status_code, again.headers["location"]) == (303, "/keys")
    line = session.scalars(select(Change).where(Change.field == "key shown for paper")).one()
    assert (line.staff_id, line.new) == (int(who), fingerprint(public_key_of(key)))
    session.rollback()
    client.post("/bowlers/1/card", {"who": who, "hand": "right"})
    wrong = client.post("/keys/paper", {"who": who, "paper": " ".join([*groups[:-1], "0000"])})
    assert wrong.status_code == 422
    for page in ("/keys", "/bowlers/1/card", "/people", "/shops/1", "/bowlers/1/held", "/bowlers/1/held.json"):
        told = client.get(page).text
        assert " ".join(groups[:2]) not in told, page  # four digits alone may stand in a drawing by chance
        assert key.hex() not in told.lower(), page
    assert " ".join(groups[3:5]) not in wrong.text


def test_an_inners_page_leads_from_brought_heights_to_what_they_say_of_its_bore(
    client: Client, who: str, session: Session
) -> None:
    heights = tuple(Fraction(n, 64) for n in (176, 174, 172, 174))
    taken = take(session, who, open_made(inners=(replace(CARD.card.inners[0], heights_in=heights),)))
    session.commit()
    page = client.get(f"/inners/{taken.made['inner'][0]}").text
    assert "measured elsewhere: from the card of Harbour Lane" in text_of(page)
    link = not_none(re.search(r'href="(/inners/\d+/loose\?[^"]+)"', page))[1]
    told = client.get(link.replace("&amp;", "&"))
    assert (told.status_code, 'value="2 23/32"' in told.text) == (200, True)


def test_a_draft_with_one_unknown_span_has_its_pages(client: Client, who: str, session: Session) -> None:
    opened = open_made(fit=replace(not_none(CARD.card.fit), ring_span_in=None))
    taken = take(session, who, opened)
    fit_id = taken.made["fit"][0]
    session.commit()
    for page in (f"/fits/{fit_id}", f"/fits/{fit_id}/edit", f"/fits/{fit_id}/card", f"/bowlers/{taken.bowler_id}"):
        answer = client.get(page)
        assert answer.status_code == 200, page
        if page in {f"/fits/{fit_id}", f"/fits/{fit_id}/card"}:
            assert re.search(r"unknown ring|ring unknown", text_of(answer.text)), page
    assert client.post("/cards/read", {"who": who, "text": to_lines(opened.data)}).status_code == 200
    assert client.post("/bowlers/1/card", {"who": who, "hand": "right"}).status_code == 303


def count_rows(session: Session) -> dict[str, int]:
    counted = {
        name: session.execute(select(func.count()).select_from(table)).scalar_one()
        for name, table in Base.metadata.tables.items()
    }
    session.rollback()
    return counted


def test_a_write_that_fails_anywhere_leaves_nothing_of_a_card(client: Client, who: str, session: Session) -> None:
    """Each insert of a taking fails in its turn, as on a full disk; then the same form takes all of it in."""
    client.post("/cards/read", {"who": who, "text": TEXT})
    form = {"who": who, "text": TEXT, "bowler_id": "0", "takes_fit": "true", "takes_inners": "true"}
    form |= {"takes_depths": "true", "key": "one form"}
    engine, before = client.app.state.engine, count_rows(session)
    seen, fails_at = 0, 1
    no_room = OperationalError("", {}, sqlite3.OperationalError("database or disk is full"))

    def fail(_connection: object, _cursor: object, statement: str, *_more: object) -> None:
        nonlocal seen
        is_insert = statement.lstrip().upper().startswith("INSERT")
        seen += is_insert
        if is_insert and seen == fails_at:
            raise no_room

    event.listen(engine, "before_cursor_execute", fail)
    try:
        while (answer := client.post("/cards/takings", form)).status_code != 303:
            assert answer.status_code == 507, answer.text[-500:]
            assert "nothing was saved" in text_of(answer.text)
            assert count_rows(session) == before, fails_at
            seen, fails_at = 0, fails_at + 1
    finally:
        event.remove(engine, "before_cursor_execute", fail)
    assert fails_at > 10
    taken = client.get(answer.headers["location"])
    assert (taken.status_code, taken.text.count("an inner: how it will sit here")) == (200, 2)


def test_a_clock_set_back_by_a_year_is_told_with_what_it_says(
    client: Client, who: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card of last month, its depth of today, read where it is a year earlier: told, refused in words, kept for later."""

    class EarlierDate(date):
        @classmethod
        def today(cls) -> "EarlierDate":
            return cls.fromordinal(date.today().toordinal() - 365)

    monkeypatch.setattr(card_reading, "date", EarlierDate)
    told = read(client, who, text=TEXT)
    here = EarlierDate.today().isoformat()
    assert f"Here it is {here}" in told
    assert "Read whole." in told
    assert "it is shown, and does not count" in told.lower()
    form = {"who": who, "text": TEXT, "bowler_id": "0", "takes_fit": "true", "takes_inners": "true"}
    refused = client.post("/cards/takings", form)
    assert (refused.status_code, f"here it is {here}" in text_of(refused.text)) == (422, True)
    assert "Put the clock right" in text_of(refused.text)
    monkeypatch.undo()
    assert client.post("/cards/takings", form).status_code == 303


def test_odd_hardware_and_sizes_are_told_and_the_rest_is_taken(client: Client, who: str, session: Session) -> None:
    odd = replace(THUMB_HARDWARE, lift_in=Fraction(1, 32), lift_deg=Fraction(0))
    opened = open_made(hardware=(odd, *INSERTS), depths=(replace(DEPTH, scatter_in=Fraction(8)),), revision=11)
    page = client.post("/cards/read", {"who": who, "text": to_lines(opened.data)}).text
    assert "what Harbour Lane says of its depths for hardware 1" in page
    assert "leave it out, and with it inner dry days, inner humid" in page
    form = {"who": who, "text": to_lines(opened.data), "bowler_id": "0", "takes_fit": "true", "takes_inners": "true"}
    assert client.post("/cards/takings", form).status_code == 422
    assert client.post("/cards/takings", form | {"hardware-0": "left out"}).status_code == 303
    taken = not_none(session.scalar(select(ReadCard).where(ReadCard.outcome == "taken in")))
    assert (len(taken.made["fit"]), taken.made["inner"]) == (1, [])


@pytest.mark.parametrize("name", ["scatter_in", "u_in"])
def test_a_stated_doubt_of_0_takes_no_page_down(client: Client, who: str, session: Session, name: str) -> None:
    said = replace(DEPTH, **{name: Fraction(0)})  # type: ignore[arg-type]
    taken = take(session, who, open_made(depths=(said,)))
    session.commit()
    shop_id = taken.made["shop"][0]
    inner = taken.made["inner"][1]
    for path in ("/shops", f"/shops/{shop_id}", f"/bowlers/{taken.bowler_id}", f"/inners/{inner}", "/visitors"):
        assert client.get(path).status_code == 200, path


def test_what_nobody_compared_with_its_paper_is_said_on_page_and_prints(
    client: Client, who: str, session: Session
) -> None:
    _, card, fit = type_one(session, who)
    session.commit()
    own = f"/bowlers/{fit.bowler_id}/card"
    asked = client.get(own).text
    assert 'name="is_unverified_known"' in asked
    assert f'href="/moving-in/cards/{card.stack_id}/{card.number}/second-look"' in asked
    assert client.post(own, {"who": who, "hand": "right"}).status_code == 422
    assert client.post(own, {"who": who, "hand": "right", "is_unverified_known": "true"}).status_code == 303
    for sheet in ("card", "passport"):
        assert "Typed from a card, not verified." in text_of(client.get(f"/fits/{fit.id}/{sheet}").text)
    session.refresh(card)
    paper_checks.check(session, card, say(card, OTHER, "wrong", "the thumb is 61/64"))
    session.commit()
    assert '<form method="post" action="/bowlers' not in client.get(own).text
    assert client.post(own, {"who": who, "hand": "right", "is_unverified_known": "true"}).status_code == 409
    for sheet in ("card", "passport"):
        assert "found wrong" in text_of(client.get(f"/fits/{fit.id}/{sheet}").text)


def test_a_known_key_is_listed_with_its_shop_once(client: Client, who: str, session: Session) -> None:
    take(session, who, open_made())
    session.commit()
    assert text_of(client.get("/keys").text).count("Harbour Lane") == 1
    not_none(session.scalar(select(Shop).where(Shop.name == "Harbour Lane"))).name = "The one by the quay"
    session.commit()
    listed = text_of(client.get("/keys").text)
    assert (listed.count("Harbour Lane"), listed.count("The one by the quay")) == (1, 1)
