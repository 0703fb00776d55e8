import re
from html import unescape

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.measures.wording import in_words
from app.models import Drilling, Fit
from tests.conftest import Client, not_none


def test_a_field_is_read_back_in_words_with_a_drawing(client: Client) -> None:
    url = "/read-back/pitch?of=thumb_pitch&thumb_pitch=3/8 reverse, 1/8 right&hand=right&hole=thumb"
    fragment = client.get(url, headers={"HX-Request": "true"}).text
    assert "one-eighth to the right, towards the palm" in fragment
    assert "<svg" in fragment
    asked = client.get("/read-back/pitch?of=thumb_pitch&thumb_pitch=1/4R&hand=right&hole=thumb").text
    assert "R alone can be reverse or right" in asked
    assert 'data-fill="thumb_pitch"' in asked
    assert client.get("/read-back/nonsense?of=a").status_code == 422


def test_a_fit_is_sketched_while_it_is_typed(client: Client) -> None:
    form = re.findall(r'name="(\w+)"[^>]*value="([^"]*)"', client.get("/fits/2/edit").text)
    values = dict(form) | {
        "grip_holes": "three",
        "span_edges": "cut",
        "bridge_edges": "cut",
        "style": "fingertip",
        "hand": "right",
        "system_id": "1",
    }
    shown = client.get("/fits/sketch", params=values, headers={"HX-Request": "true"})
    assert shown.status_code == 200
    assert '<svg class="grip page"' in shown.text
    broken = client.get("/fits/sketch", params=values | {"bridge": "43/8"}, headers={"HX-Request": "true"}).text
    assert "Not yet worked out" in broken
    assert client.get("/fits/sketch").status_code == 200


def test_a_hole_that_the_grip_has_not_is_asked_about_and_keeps_its_text(client: Client, who: str) -> None:
    typed = {"who": who, "hand": "left", "style": "fingertip", "reason": "first fit", "grip_holes": "thumbless"}
    typed |= {"spans": "2 x 2 1/8", "span_edges": "cut", "bridge": "1/4", "bridge_edges": "cut", "thumb_hole": "15/16"}
    answer = client.post("/bowlers/8/fits", typed)
    assert answer.status_code == 422
    assert 'id="thumb_hole-error"' in answer.text
    assert 'name="thumb_hole" value="15/16"' in answer.text
    assert client.post("/bowlers/8/fits", typed | {"thumb_hole": ""}).status_code == 303


def test_reaches_left_in_the_form_are_no_spans_when_the_holes_change(client: Client, who: str) -> None:
    typed = {"who": who, "hand": "left", "style": "fingertip", "reason": "first fit", "grip_holes": "thumbless"}
    typed |= {"spans": "2 x 2 1/8", "span_edges": "cut", "bridge": "1/4", "bridge_edges": "cut"}
    saved = client.post("/bowlers/8/fits", typed).headers["location"]
    changed = typed | {"grip_holes": "three", "thumb_hole": "1", "thumb_pitch": "0", "version": "1"}
    answer = client.post(saved, changed)
    assert answer.status_code == 422
    assert "reaches from the palm" in unescape(answer.text)
    assert 'name="spans" value="2 x 2 1/8"' in answer.text
    assert client.post(saved, changed | {"spans": "middle 2, ring 2 1/8"}).status_code == 303


def test_a_bad_fit_keeps_its_text_at_the_field(client: Client, who: str) -> None:
    typed = {
        "who": who,
        "hand": "left",
        "style": "fingertip",
        "reason": "first fit",
        "spans": "43/8 x 4",
        "span_edges": "",
        "bridge": "1/4",
        "bridge_edges": "cut",
    }
    answer = client.post("/bowlers/8/fits", typed)
    assert answer.status_code == 422
    assert 'value="43/8 x 4"' in answer.text
    assert "43/8 can be read in more than one way" in answer.text
    assert 'id="span_edges-error"' in answer.text


def test_a_new_fit_of_a_hand_that_has_one_revises_it(client: Client, session: Session, who: str) -> None:
    lefty = session.scalars(select(Fit).where(Fit.hand == "left", Fit.state == "in force")).one()
    form = f"/bowlers/{lefty.bowler_id}/fits"
    fields = re.compile(r'<input[^>]*name="(\w+)"[^>]*value="([^"]*)"')
    page = client.get(f"{form}/new?hand=left").text
    shown = {name: unescape(value) for name, value in fields.findall(page)}
    assert (shown["revises"], shown["spans"], shown["reason"]) == (str(lefty.id), lefty.typed["spans"], "")
    empty = dict(fields.findall(client.get(f"{form}/new?hand=left&empty=1").text))
    assert (empty["revises"], empty["spans"], empty["thumb_pitch"]) == (str(lefty.id), "", "")

    read_back = f"/read-back/span_pair?of=spans&spans=same&revises={lefty.id}&first_finger=middle"
    assert f"middle {in_words(not_none(lefty.span_middle_in))}" in client.get(read_back).text
    sent = shown | {"who": who, "style": lefty.style, "reason": "again", "spans": "same", "thumb_pitch": "-"}
    sent |= {
        "grip_holes": "three",
        "span_edges": "finished",
        "bridge_edges": lefty.bridge_edges,
        "system_id": "",
        "hand_notes": "",
    }
    edges, id_of_lefty, ring_in = lefty.span_edges, lefty.id, lefty.span_ring_in
    session.rollback()  # the test's own transaction would keep the page's from writing
    refused = client.post(form, sent)
    assert refused.status_code == 422
    assert 'id="span_edges-error"' in refused.text
    assert 'name="spans" value="same"' in refused.text
    saved = client.post(form, sent | {"span_edges": edges})
    assert saved.status_code == 303
    made = not_none(session.get(Fit, int(saved.headers["location"].rpartition("/")[2])))
    assert (made.revised_from_id, made.span_ring_in) == (id_of_lefty, ring_in)
    again = client.get(f"{form}/new?hand=left")  # the hand has a draft now, which is gone on with
    assert again.headers["location"] == f"/fits/{made.id}/edit"


def test_notes_of_the_hand_stand_wherever_it_is_drilled(client: Client, session: Session) -> None:
    drilling = session.scalars(select(Drilling).where(Drilling.state == "planned")).first()
    assert drilling
    fit = session.get_one(Fit, drilling.fit_id)
    fit.hand_notes, fit.clinician_notes = "numb at the ring finger", "rest it, said the therapist"
    number, bowler, ball = drilling.id, fit.bowler_id, drilling.ball_id
    session.commit()
    pages = [f"/bowlers/{bowler}", f"/balls/{ball}/drillings/new"]
    pages += [f"/drillings/{number}", f"/drillings/{number}/bench", f"/drillings/{number}/sheet"]
    for url in pages:
        shown = client.get(url).text
        assert [words in shown for words in ("numb at the ring finger", "rest it, said the therapist")] == [True] * 2, (
            url
        )
        assert "for a clinician, not for a pitch change" in shown, url
