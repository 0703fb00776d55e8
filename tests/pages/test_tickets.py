"""Pages of the floor: intake keeps what was typed, each role sees what it may do, lists cost no query more."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.access import COUNTER, needed_role
from app.models import Ball, BallCheck, Bowler, DrillingStep, Shop, Squad, Ticket, now
from app.pages.registry import PAGES
from app.pages.ticket_views import list_promises
from app.schemas.tickets import TicketForm
from tests.conftest import Client, CountQueries, not_none, signed_in
from tests.pages.test_pages import text_of
from tests.photos.made import make_picture, write

TAKEN_IN = {"bowler_id": "1", "thing": "ball:1", "what": "thumb", "promised": "2099-05-02T10:00"}


def take_in(client: Client, who: str, **typed: str) -> str:
    answer = client.post("/tickets", TAKEN_IN | {"who": who} | typed)
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"]


def version_of(session: Session, address: str) -> str:
    session.expire_all()
    version = str(session.get_one(Ticket, int(address.rpartition("/")[2])).version)
    session.rollback()
    return version


def move(client: Client, session: Session, who: str, address: str, act: str, **typed: str) -> str:
    answer = client.post(f"{address}/{act}", {"who": who, "version": version_of(session, address)} | typed)
    assert answer.status_code == 303, text_of(answer.text)
    return answer.headers["location"]


def test_a_ticket_goes_through_the_shop_by_its_pages(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, words="binds after an hour")
    told = text_of(client.get(address).text)
    assert "binds after an hour" in told
    assert "Tagged and racked" in told
    assert move(client, session, who, address, "ready", back="/bowlers/1") == "/bowlers/1"
    assert move(client, session, who, address, "take") == address
    move(client, session, who, address, "done")
    assert 'value="Anna Johnson"' in client.get(address).text  # to whom, proposed
    move(client, session, who, address, "hand-over", handed_to="Anna Johnson")
    assert "handed over" in text_of(client.get(address).text).lower()
    come_to_ask(session)
    move(client, session, who, address, "follow-up", outcome="fine")
    assert session.scalar(select(Ticket.state)) == "followed up"


def come_to_ask(session: Session) -> None:
    """The day has come on which everything handed over is asked after."""
    session.execute(update(Ticket).values(follow_up_on=now().astimezone().date()))
    session.commit()


def test_a_way_back_leads_to_no_other_page(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who)
    assert move(client, session, who, address, "ready", back="https://evil.test/board") == address


def test_the_intake_begins_with_what_most_are(client: Client, session: Session) -> None:
    page = client.get("/tickets/new?bowler_id=2").text  # Piet's ball is planned and not drilled
    assert re.search(r'name="thing" value="ball:3"\s+checked', page)
    assert re.search(r'name="what" value="same"\s+checked autofocus', page)
    page = client.get("/tickets/new?bowler_id=4").text  # without a ball and a fit
    assert re.search(r'name="thing" value="new"\s+checked', page)
    assert re.search(r'name="what" value="new"\s+checked autofocus', page)


def test_a_refused_intake_keeps_every_word(client: Client, who: str) -> None:
    typed = {"who": who, "words": "so <sore>", "promised": "2020-01-01T10:00", "symptom": "a blister", "price": "12"}
    answer = client.post("/tickets", TAKEN_IN | typed)
    assert answer.status_code == 422
    assert "That is past" in answer.text
    assert "so &lt;sore&gt;" in answer.text
    for value in ("2020-01-01T10:00", "a blister", "12"):
        assert f'value="{value}"' in answer.text
    assert re.search(r'name="what" value="thumb"\s+checked', answer.text)
    assert re.findall(r'name="(\w+)"[^>]*autofocus', answer.text) == ["promised"]  # where it is wrong, and nowhere else


def test_a_refused_intake_opens_the_fold_for_what_failed_in_it_alone(client: Client, who: str) -> None:
    def is_open(photo: bytes = b"", **typed: str) -> bool:
        files = {"photo": ("x.png", photo, "image/png")} if photo else {}
        answer = client.post("/tickets", TAKEN_IN | {"who": who} | typed, files=files)
        assert answer.status_code == 422
        fold = re.search(r'<details class="act-more"([^>]*)>', answer.text)
        return fold is not None and "open" in fold[1]

    assert is_open(thing="new") is False  # what the ball is called stands above it
    assert is_open(promised="2020-01-01T10:00") is True
    assert is_open(priority="first") is True
    assert is_open(write(make_picture(), "PNG"), thing="new") is True  # a browser sends no photo again by itself


@pytest.mark.parametrize(
    ("guardian", "name"),
    [
        ("Maren Birchett 555 0188 1000", "Maren Birchett"),
        ("Maren Birchett, tel. +1 (555) 0188-1000", "Maren Birchett"),
        ("555 0188 1000 Maren Birchett", "Maren Birchett"),
        ("Mother: Maren Birchett (555 0188)", "Mother: Maren Birchett"),
        ("Maren Birchett 555 0188, evenings", "Maren Birchett"),
        ("Phone 555 0188", ""),
    ],
)
def test_to_whom_begins_with_the_guardians_name_without_the_number(
    client: Client, session: Session, who: str, guardian: str, name: str
) -> None:
    address = take_in(client, who)
    anna = session.get_one(Bowler, 1)
    anna.is_minor, anna.guardian = True, guardian
    session.commit()
    for act in ("ready", "take", "done"):
        move(client, session, who, address, act)
    assert re.search(rf'id="over-handed_to"[^>]* value="{name}"', client.get(address).text)


def test_a_refused_move_keeps_what_was_typed_in_its_own_form(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who)
    form = {"who": who, "version": version_of(session, address), "kind": "question", "why": "", "minutes": "30"}
    answer = client.post(f"{address}/waits", form)
    assert answer.status_code == 422
    assert re.search(r'id="waits-minutes"[^>]*value="30"', answer.text)
    late = client.post(f"{address}/hand-over", {"who": who, "version": "7", "handed_to": "her brother"})
    assert late.status_code == 409
    assert "her brother" in late.text


def test_another_ball_is_told_in_red_until_the_right_one_is_scanned(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, what="sand")
    for act in ("ready", "take", "done"):
        move(client, session, who, address, act)
    form = {"who": who, "version": version_of(session, address), "handed_to": "Anna"}
    assert client.post(f"{address}/hand-over", form | {"scan": "/balls/2"}).status_code == 409
    assert session.scalar(select(BallCheck.is_match)) is False
    session.rollback()
    page = client.get(address).text
    assert 'class="strip bad"' in page
    assert "You hold Spare ball, plain, for which no ticket was taken in" in text_of(page)
    form = {"who": who, "version": version_of(session, address), "handed_to": "Anna"}
    assert client.post(f"{address}/hand-over", form).status_code == 422
    move(client, session, who, address, "hand-over", handed_to="Anna", scan="http://shop.test/balls/1")
    assert session.scalar(select(Ticket.state)) == "handed over"


def test_the_counter_puts_a_mix_up_right_before_the_work_is_done(
    app: FastAPI, client: Client, session: Session, who: str
) -> None:
    address = take_in(client, who, what="sand")
    move(client, session, who, address, "ready")
    assert move(client, session, who, address, "take", scan="/balls/2") == address
    counter = Client(app).carry(signed_in(app, "RV"))
    page = counter.get(address).text
    assert (f'href="{address}#scan"' in page, f'action="{address}/scan"' in page) == (True, True)
    form = {"who": "3", "version": version_of(session, address), "scan": "/balls/1"}
    assert counter.post(f"{address}/scan", form).status_code == 303
    page = counter.get(address).text
    assert ('class="strip bad"' in page, f'action="{address}/scan"' in page) == (False, False)
    counter.close()


def test_names_typed_at_the_hand_over_stay_where_another_ball_was_scanned(
    client: Client, session: Session, who: str
) -> None:
    address = take_in(client, who, what="sand")
    for act in ("ready", "take", "done"):
        move(client, session, who, address, act)
    form = {"who": who, "version": version_of(session, address), "handed_to": "Aunt Zita", "checked_with": "Ola"}
    answer = client.post(f"{address}/hand-over", form | {"scan": "/balls/2", "key": "once"})
    typed = [re.search(rf'id="over-{name}"[^>]*value="([^"]*)"', answer.text) for name in ("handed_to", "checked_with")]
    assert (answer.status_code, [not_none(found)[1] for found in typed]) == (409, ["Aunt Zita", "Ola"])
    assert 'class="strip bad"' in answer.text
    assert 'value="/balls/2"' not in answer.text
    again = client.post(f"{address}/hand-over", form | {"scan": "/balls/2", "key": "once"})  # the page loaded anew
    assert (again.status_code, again.headers["location"]) == (303, address)
    move(client, session, who, address, "hand-over", handed_to="Aunt Zita", scan="/balls/1")
    assert session.scalar(select(Ticket.handed_to)) == "Aunt Zita"


def test_the_bench_says_that_another_ball_was_read(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, thing="ball:3", bowler_id="2", what="new")
    move(client, session, who, address, "ready")
    told = "Another ball was read for this ticket"
    for scan, is_told in (("/balls/2", True), ("/balls/3", False)):
        move(client, session, who, address, "take", scan=scan)
        assert (told in client.get("/drillings/3/bench").text) is is_told


def test_a_tags_page_shows_the_tap_and_carries_the_scan(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, what="sand")
    for act in ("ready", "take", "done"):
        move(client, session, who, address, act)
    page = client.get("/balls/1").text
    assert f'href="{address}?scan=/balls/1#hand-over"' in page
    assert re.search(r'id="over-scan"[^>]*value="/balls/1"', client.get(f"{address}?scan=/balls/1").text)


def test_the_bowlers_page_shows_what_is_in_the_shop(client: Client, session: Session, who: str) -> None:
    assert "In the shop" not in client.get("/bowlers/1").text
    assert "/tickets/new?bowler_id=1" in client.get("/bowlers/1").text
    address = take_in(client, who)
    page = client.get("/bowlers/1").text
    assert "In the shop" in page
    assert f'href="{address}"' in page
    assert f'action="{address}/ready"' in page


def test_a_shop_asks_after_its_own_work_alone(client: Client, session: Session, who: str) -> None:
    other = Shop(name="Second Lane", town="", is_ours=True)
    session.add(other)
    session.flush()
    for ball_id, shop_id in ((1, 1), (2, other.id)):
        session.add(Ticket(ball_id=ball_id, what="sand", state="handed over", staff_id=int(who), made_by_shop_id=shop_id, handed_over_at=now(), follow_up_on=date.today()))  # fmt: skip
    session.commit()
    ours, theirs = session.scalars(select(Ticket.id).order_by(Ticket.id))
    page = client.get("/follow-ups").text
    assert (f"/tickets/{ours}/follow-up" in page, f"/tickets/{theirs}/follow-up" in page) == (True, False)


def test_who_is_asked_how_it_is(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, what="sand")
    for act in ("ready", "take", "done"):
        move(client, session, who, address, act)
    move(client, session, who, address, "hand-over", handed_to="Anna")
    assert "Nobody is to be asked" in client.get("/follow-ups").text
    page = client.get(address).text
    assert (f'action="{address}/follow-up"' in page, ">Fine<" in page) == (True, False)  # not fine alone, in a fold
    assert '<details id="not-fine" class="act-more no-print"><' in page
    come_to_ask(session)
    assert ">Fine<" in client.get(address).text
    page = client.get("/follow-ups").text
    assert f'action="{address}/follow-up"' in page
    assert f'href="{address}#not-fine"' in page
    again = move(
        client, session, who, address, "follow-up", outcome="not fine", redo_reason="tight", outcome_words="sore"
    )
    assert again != address
    assert "again: too tight" in text_of(client.get(again).text)


def test_fine_is_taken_back_where_it_was_tapped(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, what="sand")
    for act in ("ready", "take", "done"):
        move(client, session, who, address, act)
    move(client, session, who, address, "hand-over", handed_to="Anna")
    come_to_ask(session)
    form = sent_by(client.get("/follow-ups").text, f"{address}/follow-up")
    answer = client.post(f"{address}/follow-up", form | {"who": who})
    assert answer.headers["location"] == f"/follow-ups?heard={address.rpartition('/')[2]}"
    undo = sent_by(client.get(answer.headers["location"]).text, f"{address}/taking-back")
    answer = client.post(f"{address}/taking-back", undo | {"who": who})
    assert (answer.status_code, answer.headers["location"]) == (303, "/follow-ups")
    session.expire_all()
    assert session.execute(select(Ticket.state, Ticket.outcome)).one() == ("handed over", "")
    session.rollback()
    assert "taking-back" not in client.get("/follow-ups?heard=1").text  # it is to be asked after again


def sent_by(page: str, action: str) -> dict[str, str]:
    """The hidden fields of a form on a page."""
    form = re.search(rf'action="{action}".*?</form>', page, re.DOTALL)
    assert form, action
    return dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form[0]))


def test_the_message_is_in_the_shops_words(client: Client, who: str) -> None:
    page = client.get(take_in(client, who) + "/message").text
    assert "Hello Anna Johnson, Blue pearl, league is ready. You can fetch it at Quarry Lane Pro Shop." in page


def test_the_card_has_what_was_measured_and_how_to_care(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, what="redrill")
    of = session.scalars(select(Ticket)).one()
    of.drilling_id = 1
    session.commit()
    card = client.get(f"{address}/hand-over").text
    told = text_of(card)
    assert 'title="94.85 mm"' in card  # 3 47/64, as measured in the demo's world
    assert re.search(r"Bore depth 2 3 ⁄ 4 , collar setting", told)
    assert "Do not force an inner that sticks" in told
    assert client.get(f"{address}/hand-over.pdf").content.startswith(b"%PDF")


def test_a_squad_lists_its_balls_and_what_was_checked(client: Client, session: Session, who: str) -> None:
    squad = client.post("/squads", {"who": who, "label": "Cup", "begins": "2099-05-02T12:00", "is_tournament": "true"})
    assert squad.status_code == 303
    address = take_in(client, who, what="sand", squad_id="1", promised="")
    assert "late" not in text_of(client.get(address).text)
    page = client.get(address).text
    assert (f'href="{address}#ready"' in page, 'id="rack-scan"' in page) == (True, True)
    refused = client.post(f"{address}/ready", {"who": who, "version": version_of(session, address)})
    assert refused.status_code == 422
    move(client, session, who, address, "ready", scan="/balls/1")
    refused = client.post(f"{address}/take", {"who": who, "version": version_of(session, address)})
    assert refused.status_code == 422
    move(client, session, who, address, "take", scan="/balls/2")
    assert f'action="{address}/scan"' not in client.get(address).text  # the form that takes it reads the tag
    move(client, session, who, address, "take", scan="/balls/1")
    told = text_of(client.get(squad.headers["location"]).text)
    assert "Checked by scan 1 of 1" in told


def test_a_squad_names_its_tags_by_ball_and_owner_and_is_printed(client: Client, session: Session, who: str) -> None:
    client.post("/squads", {"who": who, "label": "Cup", "begins": "2099-05-02T12:00", "is_tournament": "true"})
    paper = client.get("/squads/1/paper").text
    assert "No ball is taken in" in text_of(paper)
    first = take_in(client, who, thing="ball:3", bowler_id="2", what="sand", squad_id="1", promised="")
    second = take_in(client, who, what="sand", squad_id="1", promised="")
    take_in(client, who, what="check", squad_id="1", promised="")  # a second piece of work on that ball
    off = take_in(client, who, thing="ball:2", what="sand", squad_id="1", promised="")
    move(client, session, who, off, "calling-off", why="sold")
    page = client.get("/squads/1").text
    labels = {of.id: of.label for of in session.scalars(select(Ball))}
    session.rollback()
    tags = re.findall(r'<a\s+href="(/balls/\d+/tag)">([^<]*)</a>', page)
    assert tags == [("/balls/1/tag", f"{labels[1]} of Anna Johnson"), ("/balls/3/tag", f"{labels[3]} of Piet Olander")]
    assert 'href="/squads/1/paper"' in page
    paper = client.get("/squads/1/paper").text
    rows = [text_of(row) for row in re.findall(r"<tr><td>.*?</tr>", paper, re.DOTALL)]
    assert [row.split()[0] for row in rows] == [second.split("/")[-1], "3", first.split("/")[-1]]  # by owner
    assert all(words in rows[0] for words in ("Anna Johnson", labels[1], "QL-1042", "taken in"))
    assert client.get("/squads/1/paper.pdf").content.startswith(b"%PDF")


def test_the_squads_of_another_shop_are_not_offered(client: Client, session: Session, who: str) -> None:
    other = Shop(name="Second Lane", town="", is_ours=True)
    session.add(other)
    session.flush()
    begins = datetime(2099, 5, 2, 12, tzinfo=UTC)
    session.add_all(Squad(label=f"Cup {shop}", begins_at=begins, made_by_shop_id=shop) for shop in (1, other.id))
    session.commit()
    address = take_in(client, who)
    for url in ("/squads", "/tickets/new?bowler_id=1", f"{address}/edit"):
        page = client.get(url).text
        assert ("Cup 1" in page, f"Cup {other.id}" in page) == (True, False), url
    assert client.get("/squads/2").status_code == 200  # read it may be, as everything here


def test_the_bench_of_a_tournament_ball_begins_with_its_tag(client: Client, session: Session, who: str) -> None:
    client.post("/squads", {"who": who, "label": "Cup", "begins": "2099-05-02T12:00", "is_tournament": "true"})
    address = take_in(client, who, thing="ball:3", bowler_id="2", what="new", squad_id="1", promised="")
    move(client, session, who, address, "ready", scan="/balls/3")
    page = client.get("/drillings/3/bench").text
    assert (f'href="{address}#take"' in page, "data-tick" in page) == (True, False)
    move(client, session, who, address, "take", scan="/balls/3")
    page = client.get("/drillings/3/bench").text
    assert (f'href="{address}#take"' in page, "data-tick" in page) == (False, True)


def test_the_bench_leads_to_the_glue_timer(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, thing="ball:3", bowler_id="2", what="new")
    assert f'href="{address}?wait=question#waits"' in client.get("/drillings/3/bench").text
    for step in session.scalars(select(DrillingStep).where(DrillingStep.drilling_id == 3)):
        step.action = "glue" if step.position == 1 else step.action
    session.commit()
    assert f'href="{address}?wait=glue#waits"' in client.get("/drillings/3/bench").text
    page = client.get(f"{address}?wait=glue").text
    assert re.search(r'name="kind" value="glue"\s+checked', page)
    assert re.search(r'<details id="waits"[^>]* open', page)


BERLIN = ZoneInfo("Europe/Berlin")
FRIDAY, SATURDAY = datetime(2026, 11, 27, 14, 2, tzinfo=BERLIN), datetime(2026, 11, 28, 16, 40, tzinfo=BERLIN)


def test_promises_to_tap_are_to_come_and_in_words() -> None:
    assert list_promises(FRIDAY, (), BERLIN) == [
        ("", "open"), ("2026-11-27T15:05+01:00", "today 15:05"), ("2026-11-27T17:00+01:00", "today 17:00"), ("2026-11-28T17:00+01:00", "tomorrow 17:00"),
    ]  # fmt: skip
    told = list_promises(SATURDAY - timedelta(days=3), (), BERLIN)
    assert told[-1] == ("2026-11-28T12:00+01:00", "Sat 12:00")
    assert [words for _, words in list_promises(SATURDAY, (), BERLIN)] == ["open", "today 17:40", "tomorrow 17:00"]
    assert "Sat 12:00" not in dict(list_promises(SATURDAY, (), BERLIN)).values()


@pytest.mark.parametrize(
    ("at", "told"),
    [  # Directive 2000/84/EC: at 01:00 UTC of the last Sunday of March and October
        ("2026-03-29T00:32:10+00:00", {"today 03:35": "01:35", "today 17:00": "15:00"}),  # 02:35 is skipped
        ("2026-03-28T22:02:00+00:00", {"tomorrow 00:05": "23:05", "tomorrow 17:00": "15:00"}),
        ("2026-10-25T00:32:10+00:00", {"today 02:35": "01:35", "today 17:00": "16:00"}),  # the second 02:35
        ("2026-10-24T23:32:10+00:00", {"today 02:35": "00:35", "today 17:00": "16:00"}),  # the first 02:35
        ("2026-10-24T09:00:00+00:00", {"today 17:00": "15:00", "tomorrow 17:00": "16:00"}),
    ],
)
def test_a_tapped_promise_is_the_moment_it_says_on_the_night_the_clocks_change(
    at: str, told: dict[str, str], who: str
) -> None:
    offered = list_promises(datetime.fromisoformat(at), (), BERLIN)
    for words, utc in told.items():
        value = next(value for value, said in offered if said == words)
        form = TicketForm.read({"who": who, "thing": "ball:1", "what": "sand", "promised_quick": value})
        assert f"{not_none(form.promised_at).astimezone(UTC):%H:%M}" == utc, words


def test_a_squads_promise_is_half_an_hour_before_it_begins() -> None:
    squad = Squad(label="Cup", begins_at=datetime.fromisoformat("2026-10-25T01:15:00+00:00"))  # the second 02:15
    assert list_promises(SATURDAY, [squad], BERLIN)[-1] == ("2026-10-25T02:45+02:00", "for Cup")


@pytest.mark.parametrize("initials", ["RV", "OL"])
def test_nothing_is_offered_that_a_role_may_not_do(
    app: FastAPI, client: Client, session: Session, who: str, initials: str
) -> None:
    """Every form and link of these pages passes the list of who may do what, at each stage."""
    address = take_in(client, who, what="sand")
    looker = Client(app).carry(signed_in(app, initials))
    for act, more in (
        ("", {}), ("ready", {}), ("take", {}), ("done", {}), ("hand-over", {"handed_to": "x"}), ("follow-up", {"outcome": "not fine", "redo_reason": "tight"}),
    ):  # fmt: skip
        if act:
            move(client, session, who, address, act, **more)
        for url in (address, "/bowlers/1", "/balls/1", "/follow-ups", "/squads"):
            page = looker.get(url).text
            for action in re.findall(r'<form[^>]*method="post"[^>]*action="(/(?:tickets|waits|squads)[^"]*)"', page):
                assert initials == "OL" or needed_role("POST", template_of(action)) == COUNTER, (act, action)
    looker.close()


def template_of(path: str) -> str:
    routes = [route for page in PAGES for route in page.router.routes]
    return next(str(r.path) for r in routes if r.path_regex.match(path) and "POST" in r.methods)


def test_only_a_driller_goes_on_before_glue_has_cured(app: FastAPI, client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, thing="ball:3", bowler_id="2", what="new")
    move(client, session, who, address, "waits", kind="glue", minutes="30", why="two-part resin")
    counter = Client(app).carry(signed_in(app, "RV"))
    assert 'action="/waits/1/end"' not in counter.get(address).text
    assert counter.post("/waits/1/end", {"who": "3", "why": "in a hurry"}).status_code == 403
    assert 'action="/waits/1/end"' in client.get(address).text
    assert "two-part resin cures until" in text_of(client.get("/drillings/3/bench").text)
    assert client.post("/waits/1/end", {"who": who, "why": "heated"}).status_code == 303
    assert "cures until" not in text_of(client.get("/drillings/3/bench").text)
    counter.close()


def test_the_counter_is_not_offered_the_bench(app: FastAPI, client: Client, session: Session, who: str) -> None:
    address = take_in(client, who, what="sand")
    move(client, session, who, address, "ready")
    counter = Client(app).carry(signed_in(app, "RV"))
    assert f'action="{address}/take"' not in counter.get(address).text
    assert f'action="{address}/take"' in client.get(address).text
    form = {"who": "3", "version": version_of(session, address)}
    assert counter.post(f"{address}/take", form).status_code == 403
    counter.close()


@pytest.mark.parametrize("url", ["/bowlers/1", "/follow-ups", "/squads/1", "/squads/1/paper"])
def test_lists_cost_no_query_more_for_forty_tickets(
    client: Client, session: Session, who: str, count_queries: CountQueries, url: str
) -> None:
    client.post("/squads", {"who": who, "label": "Cup", "begins": "2099-05-02T12:00"})
    add_tickets(session, 1)
    client.get(url)
    few = count_queries(lambda: client.get(url))
    add_tickets(session, 39)
    assert count_queries(lambda: client.get(url)) == few <= 12


def add_tickets(session: Session, count: int) -> None:
    for number in range(count):
        ball = Ball(bowler_id=1, label=f"ball {number}")
        session.add(ball)
        session.flush()
        for state in ("ready", "handed over"):
            session.add(
                Ticket(
                    ball_id=ball.id,
                    what="new",
                    state=state,
                    squad_id=1,
                    staff_id=1,
                    follow_up_on=now().date(),
                    handed_over_at=now(),
                )
            )
    session.commit()


TO_BENCH = ("ready", "take")
WAYS = {
    "taken in": (), "ready": ("ready",), "held": TO_BENCH, "done": (*TO_BENCH, "done"), "waiting": ("waits",), "off": ("calling-off",),
    "handed over": (*TO_BENCH, "done", "hand-over"), "followed up": (*TO_BENCH, "done", "hand-over", "follow-up"),
}  # fmt: skip
ACTS = (
    *("ready", "take", "putting-back", "done", "hand-over", "follow-up", "taking-back", "calling-off"),
    *("calling-off-removal", "waits"),
)
FILLED = {"handed_to": "x", "outcome": "not fine", "redo_reason": "tight", "why": "w", "kind": "glue", "minutes": "30"}


@pytest.mark.once
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("is_filled", [True, False])
def test_every_form_is_answered_at_every_stage_and_its_page_still_shows(
    client: Client, session: Session, who: str, way: str, is_filled: bool
) -> None:
    """Forms of a page that somebody left open: each is done, or refused in words."""
    address = take_in(client, who, what="sand")
    for act in WAYS[way]:
        move(client, session, who, address, act, **FILLED)
    for act in ACTS:
        typed = {"who": who, "version": version_of(session, address)} | (FILLED if is_filled else {})
        for url in (f"{address}/{act}", "/waits/1/end"):
            assert client.post(url, typed).status_code in (303, 404, 409, 422), url
        assert client.get(address).status_code == 200, act


def test_nobody_asks_after_an_erased_bowler(client: Client, session: Session, who: str) -> None:
    address = take_in(client, who)
    for act in ("ready", "take", "done"):
        move(client, session, who, address, act)
    move(client, session, who, address, "hand-over", handed_to="Anna Johnson")
    come_to_ask(session)
    assert f'"{address}"' in client.get("/follow-ups").text
    version = str(session.get_one(Bowler, 1).version)
    session.rollback()
    erased = {"who": who, "version": version, "name": "Anna Johnson"}
    assert client.post("/bowlers/1/erasure", erased).status_code == 303
    assert f'"{address}"' not in client.get("/follow-ups").text
