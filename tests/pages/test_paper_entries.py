"""Cards typed off a stack by pages alone, without scripts."""

import io
import re

import pytest
from PIL import Image
from sqlalchemy import func, select
from sqlalchemy.orm import Session, undefer

from app.db import AT_ONCE
from app.models import Bowler, Change, Fit, PaperCard
from app.photos.cleaning import LONGEST_OF_THUMBNAIL, CleanPhoto, add_thumbnail
from app.services import paper_pictures
from tests.conftest import Client, not_none
from tests.pages.test_pages import text_of
from tests.photos.made import make_picture, write
from tests.sheets.test_paper_lines import CARD

pytestmark = pytest.mark.both
KEYS = ("span_edges", "bridge_edges", "style", "plain_vertical", "plain_lateral", "seen_from", "units")


def begin(client: Client, session: Session, name: str = "Drawer A") -> str:
    """The address of a stack with every convention said."""
    session.rollback()
    where = client.post("/moving-in/cards", {"name": name}).headers["location"]
    card = take(client, where)
    for way in KEYS:
        assert client.post(card, {"way": way}).status_code == 200
    return where


def take(client: Client, where: str) -> str:
    answer = client.post(f"{where}/next", {})
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"]


def write_lines(**lines: str) -> dict[str, str]:
    return {f"line_{name}": text for name, text in (CARD | lines).items()}


def save(client: Client, card: str, **more: str) -> str:
    answer = client.post(card, write_lines(name="Ulla Perrin, r") | {"do": "save"} | more)
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"]


def load(session: Session, number: int = 1) -> PaperCard:
    """A card as it is stored now; the session is left free for writers."""
    found = not_none(session.scalar(select(PaperCard).where(PaperCard.number == number).options(undefer("*"))))
    session.expunge(found)
    session.rollback()
    return found


def load_fit(session: Session, card: PaperCard) -> Fit:
    found = not_none(session.get(Fit, card.fit_id))
    session.expunge(found)
    session.rollback()
    return found


def test_a_card_becomes_a_bowler_with_a_fit_in_force_and_the_next_one_comes(client: Client, session: Session) -> None:
    where = begin(client, session)
    after = save(client, f"{where}/1")
    assert after == f"{where}/2"
    card = load(session)
    fit = load_fit(session, card)
    assert (card.state, card.made_bowler, fit.state, fit.reason) == ("typed", True, "in force", "card 1 of Drawer A")
    assert (not_none(session.get(Bowler, card.bowler_id)).name, card.lines["middle"]) == ("Ulla Perrin", CARD["middle"])
    assert (card.ways["span_edges"], card.ways["seen_from"]) == ("cut", "outside")
    told = select(Change.new).where(Change.noun == "paper_card", Change.noun_id == card.id, Change.field == "typed")
    assert not_none(session.scalar(told)).startswith("name: Ulla Perrin, r; middle: 4 3/8 1/4r 1/8l 3/4;")
    session.rollback()
    assert "not verified" in client.get(f"/fits/{fit.id}").text
    assert "typed already" in client.get(f"{where}/1").text  # where the back button leads


def test_sent_twice_it_makes_one_fit(client: Client, session: Session) -> None:
    where = begin(client, session)
    save(client, f"{where}/1", key="once")
    assert save(client, f"{where}/1", key="once") == f"{where}/2"
    again = client.post(f"{where}/1", write_lines(name="Ulla Perrin, r") | {"do": "save", "key": "other"})
    assert again.status_code == 409
    assert "Ulla Perrin" in again.text
    session.rollback()
    assert session.scalar(select(func.count(Bowler.id)).where(Bowler.name == "Ulla Perrin")) == 1


def test_what_is_asked_is_refused_at_its_line_with_everything_kept(client: Client, session: Session) -> None:
    where = begin(client, session)
    typed = write_lines(name="Ulla Perrin, r", middle="4,375 0 0 3/4")
    refused = client.post(f"{where}/1", typed | {"do": "save"})
    assert refused.status_code == 422
    assert 'name="answer_span_middle" value="4.375"' in refused.text
    assert all(text in refused.text for text in ("Ulla Perrin, r", CARD["ring"], CARD["thumb"]))
    assert load(session).state == "waiting"
    hidden = dict(re.findall(r'name="(at_\w+)" value="([^"]*)"', refused.text))
    after = client.post(f"{where}/1", typed | hidden | {"do": "save", "answer_span_middle": "4.375"})
    assert after.status_code == 303, text_of(after.text)
    card = load(session)
    assert (card.answers, card.lines["middle"]) == ({"span_middle": "4.375"}, "4,375 0 0 3/4")
    assert load_fit(session, card).state == "draft"  # a measure was asked about


@pytest.mark.parametrize(("missing", "holes"), [("thumb", "thumbless"), ("ring", "thumb_middle")])
def test_which_holes_there_are_is_asked_though_no_line_says_so(
    client: Client, session: Session, missing: str, holes: str
) -> None:
    where = begin(client, session)
    typed = write_lines(name="Ulla Perrin, r", rest="", **{missing: ""})
    refused = client.post(f"{where}/1", typed | {"do": "save"})
    assert refused.status_code == 422
    assert f'name="answer_grip_holes" value="{holes}"' in refused.text
    again = client.get(f"{where}/1/reading", params=typed | {"is_sent": "true"})
    assert f'value="{holes}"' in again.text  # it stays while the card is typed on
    hidden = dict(re.findall(r'name="(at_\w+)" value="([^"]*)"', refused.text))
    answered = typed | hidden | {"do": "save", "answer_grip_holes": holes}
    assert client.post(f"{where}/1", answered).status_code == 303
    assert load_fit(session, load(session)).grip_holes == holes


def test_an_answer_is_dropped_once_its_line_is_another(client: Client, session: Session) -> None:
    where = begin(client, session)
    typed = write_lines(name="Ulla Perrin, r", middle="4,5 0 0 3/4")
    refused = client.post(
        f"{where}/1", typed | {"do": "save", "said_span_middle": "4.375", "at_middle": "4,375 0 0 3/4"}
    )
    assert refused.status_code == 422
    assert load(session).fit_id is None


def test_namesakes_are_asked_and_never_merged(client: Client, session: Session) -> None:
    where = begin(client, session)
    known = not_none(session.scalar(select(Bowler.id).where(Bowler.name == "Anna Johnson").limit(1)))
    session.rollback()
    typed = write_lines(name="Anna Johnson, r")
    refused = client.post(f"{where}/1", typed | {"do": "save"})
    assert f'value="no. {known}"' in refused.text
    hidden = {"at_name": "Anna Johnson, r", "do": "save"}
    assert client.post(f"{where}/1", typed | hidden | {"answer_bowler": "somebody new"}).status_code == 303
    assert load(session).bowler_id != known


def test_a_fit_of_somebody_known_is_a_draft_at_most(client: Client, session: Session) -> None:
    where = begin(client, session)
    save(client, f"{where}/1")
    first = not_none(load(session).bowler_id)
    typed = write_lines(name="Ulla Perrin, r", thumb="1/4r 1/8l 15/16") | {"at_name": "Ulla Perrin, r", "do": "save"}
    assert client.post(f"{where}/2", typed | {"answer_bowler": f"no. {first}"}).status_code == 303
    second = load(session, 2)
    assert second.bowler_id == first
    assert load_fit(session, second).state == "draft"
    same = write_lines(name="Ulla Perrin, r", thumb="1/4r 1/8l 15/16") | {"at_name": "Ulla Perrin, r", "do": "save"}
    assert client.post(f"{where}/3", same | {"answer_bowler": f"no. {first}"}).status_code == 303
    assert load(session, 3).fit_id == second.fit_id  # it says the same


def test_a_picture_waits_is_turned_and_becomes_a_photo_of_the_fit(client: Client, session: Session) -> None:
    where = begin(client, session)
    shots = [("pictures", (f"{n}.jpg", write(make_picture((400, 300))), "image/jpeg")) for n in range(3)]
    assert client.post(f"{where}/pictures", {}, files=shots).status_code == 303
    assert load(session, 4).has_picture
    before = client.get(f"{where}/2/picture")
    tag = {"If-None-Match": before.headers["etag"]}
    assert client.get(f"{where}/2/picture", headers=tag).status_code == 304
    assert (before.status_code, before.headers["content-type"]) == (200, "image/jpeg")
    client.post(f"{where}/1/leaving-out", {"why": "empty"})
    card = take(client, where)
    assert card == f"{where}/2"
    turned = client.post(card, write_lines(name="Ulla Perrin, r") | {"turn": "true"})
    assert "Ulla Perrin, r" in turned.text
    assert client.get(f"{card}/picture", headers=tag).content not in {b"", before.content}
    save(client, card)
    photo = client.get(f"{card}/picture").headers["location"]
    assert client.get(photo).headers["content-type"] == "image/jpeg"
    stored = load(session, 2)
    assert (stored.photo_id is not None, stored.picture) == (True, b"")


def test_nobody_waits_for_the_picture_of_a_card_and_it_stays_as_it_is(
    client: Client, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    where = begin(client, session)
    client.post(f"{where}/1/leaving-out", {"why": "empty"})
    client.post(f"{where}/pictures", {}, files=[("pictures", ("1.jpg", write(make_picture()), "image/jpeg"))])
    card = take(client, where)
    before = load(session, 2).picture

    def make(kept: bytes) -> CleanPhoto:
        with client.app.state.sessions() as another:  # raises while the writers' lock is held
            another.connection(execution_options=AT_ONCE)
        return add_thumbnail(kept)

    monkeypatch.setattr(paper_pictures, "add_thumbnail", make)
    save(client, card)
    photo = client.get(f"{card}/picture").headers["location"]
    assert client.get(photo).content == before
    small = Image.open(io.BytesIO(client.get(f"{photo}/thumbnail").content))
    assert max(small.size) == LONGEST_OF_THUMBNAIL


def test_what_is_no_picture_is_refused_by_its_name(client: Client, session: Session) -> None:
    where = begin(client, session)
    refused = client.post(f"{where}/pictures", {}, files=[("pictures", ("notes.txt", b"no picture", "text/plain"))])
    assert refused.status_code == 422
    assert "notes.txt" in refused.text
    assert client.post(f"{where}/pictures", {}).status_code == 422


def test_lines_are_read_back_in_words_while_they_are_typed(client: Client, session: Session) -> None:
    where = begin(client, session)
    shown = client.get(f"{where}/1/reading", params=write_lines(name="", ring="", thumb=""))
    assert shown.status_code == 200
    assert 'id="read-middle" aria-live="polite" hx-swap-oob="true"' in shown.text
    assert "four and three-eighths" in text_of(shown.text)
    assert "one-quarter reverse; one-eighth to the left" in text_of(shown.text)
    assert "Whose card" not in shown.text  # not asked before the line is typed
    plain = client.post(f"{where}/1", write_lines(name="Ulla Perrin, r") | {"do": "read"})
    assert plain.status_code == 200
    assert "Ulla Perrin, right hand" in text_of(plain.text)


def test_erasing_a_bowler_empties_the_card(client: Client, session: Session) -> None:
    where = begin(client, session)
    client.post(f"{where}/pictures", {}, files=[("pictures", ("1.jpg", write(make_picture()), "image/jpeg"))])
    client.post(f"{where}/1/leaving-out", {"why": "empty"})
    take(client, where)
    save(client, f"{where}/2")
    bowler = load(session, 2).bowler_id
    photo = client.get(f"{where}/2/picture").headers["location"]
    seen = {name: client.get(name).headers["etag"] for name in (photo, f"{photo}/thumbnail")}
    for name, tag in seen.items():
        again = client.get(name, headers={"If-None-Match": tag})
        assert (again.status_code, again.content, again.headers["cache-control"]) == (304, b"", "private, no-cache")
    assert "Look at\n  1 typed card" in client.get(where).text
    shown = client.get(f"/bowlers/{bowler}").text
    version = re.findall(rf'action="/bowlers/{bowler}/erasure".*?name="version" value="(\d+)"', shown, re.S)
    erased = client.post(f"/bowlers/{bowler}/erasure", {"name": "Ulla Perrin", "version": (version or ["1"])[0]})
    assert erased.status_code == 303, text_of(erased.text)
    assert [client.get(name, headers={"If-None-Match": tag}).status_code for name, tag in seen.items()] == [404, 404]
    assert "typed card" not in client.get(where).text  # nothing is left to look at
    card = load(session, 2)
    assert (card.lines, card.answers, card.picture, card.photo_id, card.has_picture) == ({}, {}, b"", None, False)
    assert client.get(f"{where}/2/second-look").headers["location"] == f"{where}/2"
    for page in (where, f"{where}/2"):
        answer = client.get(page)
        assert answer.status_code == 200
        assert "Perrin" not in answer.text


def test_a_driller_who_plans_with_it_is_told(client: Client, session: Session) -> None:
    where = begin(client, session)
    save(client, f"{where}/1")
    bowler = load(session).bowler_id
    ball = client.post(f"/bowlers/{bowler}/balls", {"label": "First ball", "circumference": "27"}).headers["location"]
    assert "not verified" in client.get(f"{ball}/drillings/new").text


def test_each_step_leaves_history(client: Client, session: Session, who: str) -> None:
    where = begin(client, session)
    client.post(f"{where}/pictures", {}, files=[("pictures", ("1.jpg", write(make_picture()), "image/jpeg"))])
    client.post(f"{where}/1/leaving-out", {"why": "empty"})
    card = take(client, where)
    client.post(card, {"turn": "true"})
    save(client, card)
    lines = select(Change.noun, Change.field, Change.staff_id).where(Change.noun.in_(("card_stack", "paper_card")))
    told = [tuple(line) for line in session.execute(lines.order_by(Change.id))]
    assert {person for _, _, person in told} == {int(who)}
    assert [line[:2] for line in told] == [
        ("card_stack", "made"), ("paper_card", "made"), *(("card_stack", way) for way in KEYS), ("paper_card", "made"),
        ("paper_card", "state"), ("paper_card", "word"), ("paper_card", "picture"), ("paper_card", "typed"),
        ("paper_card", "made"),
    ]  # fmt: skip


def test_the_page_says_why_a_card_is_not_taken_back(client: Client, session: Session) -> None:
    where = begin(client, session)
    save(client, f"{where}/1")
    fit_id = load(session).fit_id
    assert client.post(f"/fits/{fit_id}/revisions", {"reason": "longer"}).status_code == 303
    version = {"version": str(load(session).version), "why": "of his brother"}
    refused = client.post(f"{where}/1/taking-back", version)
    assert (refused.status_code, "Fit A has 1 revision" in text_of(refused.text)) == (409, True)
    assert (load(session).state, load(session).fit_id) == ("typed", fit_id)
    assert "not verified" in client.get(f"/fits/{fit_id}").text


def test_a_stack_leads_to_its_cards_found_wrong(client: Client, session: Session) -> None:
    where = begin(client, session)
    save(client, f"{where}/1")
    assert f'href="{where}/second-look"' in client.get(where).text
    card = session.scalars(select(PaperCard).where(PaperCard.number == 1)).one()
    card.state, card.word = "wrong", "the thumb"
    session.commit()
    shown = client.get(where).text
    assert f'class="button" href="{where}/1/second-look"' in shown
    assert f'href="{where}/second-look"' not in shown


def test_a_card_is_taken_back_with_its_picture_and_typed_again(client: Client, session: Session) -> None:
    where = begin(client, session)
    client.post(f"{where}/1/leaving-out", {"why": "empty"})
    client.post(f"{where}/pictures", {}, files=[("pictures", ("1.jpg", write(make_picture()), "image/jpeg"))])
    card = take(client, where)
    before = client.get(f"{card}/picture").content
    save(client, card)
    refused = client.post(f"{card}/taking-back", {"version": str(load(session, 2).version), "why": ""})
    assert (refused.status_code, 'id="card-why-error"' in refused.text) == (422, True)
    done = client.post(f"{card}/taking-back", {"version": str(load(session, 2).version), "why": "of his brother"})
    assert client.get(done.headers["location"]).headers["location"] == card
    assert (load(session, 2).state, client.get(f"{card}/picture").content) == ("waiting", before)
    shown = client.get(card).text
    assert "of his brother" in shown
    assert 'value="Ulla Perrin, r"' in shown
    save(client, card)
    assert (load(session, 2).made_bowler, load(session, 2).word) == (True, "")
