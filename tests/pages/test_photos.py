"""Photos on the pages of a ball, fit, inner and trouble: added, refused, shown small and large, taken back."""

import io
import re
import threading

import pytest
from httpx import Response
from PIL import Image
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, Change, Photo
from app.photos.cleaning import CleanPhoto
from app.photos.errors import PhotoError
from app.services import photos
from tests.conftest import Client, not_none, signed_in
from tests.photos.made import head_png, make_picture, place_exif, write

TROUBLE = {"system_id": "1", "drilling_id": "1", "what": "stuck", "note": "after the heat wave"}
PAGES = {"ball": "/balls/1", "fit": "/fits/1", "inner": "/inners/1", "trouble": "/photos/of/trouble/1"}


def add(client: Client, who: str, noun: str = "fit", data: bytes = b"", **typed: str) -> Response:
    if noun == "trouble":
        client.post("/troubles", TROUBLE | {"who": who})
    sent = {"photo": ("IMG_0001.JPG", data or write(make_picture(), exif=place_exif(6)), "image/jpeg")}
    return client.post(f"/photos/of/{noun}/1", {"who": who} | typed, files=sent)


@pytest.mark.parametrize("noun", PAGES)
def test_a_photo_stands_on_the_page_of_its_record_small_and_opens_large(client: Client, who: str, noun: str) -> None:
    done = add(client, who, noun)
    assert done.status_code == 303
    assert done.headers["location"].partition("#")[0] == PAGES[noun]
    shown = client.get(PAGES[noun]).text
    tag = not_none(re.search(r'<a href="/photos/(\d+)"><img [^>]*>', shown))
    assert 'loading="lazy"' in tag[0]
    assert re.search(r'width="240"\s+height="320"', tag[0])  # held upright
    assert re.search(r'alt="Photo 1 of [^"]{4,}"', tag[0])
    large, small = client.get(f"/photos/{tag[1]}"), client.get(f"/photos/{tag[1]}/thumbnail")
    assert Image.open(io.BytesIO(large.content)).size == (480, 640)
    assert Image.open(io.BytesIO(small.content)).size == (240, 320)
    for answer in (large, small):
        assert answer.headers["content-type"] == "image/jpeg"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"].startswith("private")
        assert b"MADE-UP" not in answer.content


@pytest.mark.parametrize("noun", PAGES)
def test_every_page_has_one_form_that_works_without_a_script(client: Client, who: str, noun: str) -> None:
    add(client, who, noun)
    shown = client.get(PAGES[noun]).text
    form = not_none(re.search(rf'<form method="post" action="/photos/of/{noun}/1".*?</form>', shown, re.S))[0]
    assert 'enctype="multipart/form-data"' in form
    assert re.search(r'type="file"[^>]*accept="image/\*"', form)
    assert "capture" not in form  # a telephone then offers camera and album
    assert shown.count('type="file"') == 1


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"<script>alert(1)</script>", "JPEG, PNG, WebP and HEIC"),
        (head_png(9000, 9000), "too many dots"),
        (write(make_picture())[:300], "no picture that can be read"),
        (write(make_picture()) + bytes(25 * 2**20), "larger than 25 MB"),
    ],
)
def test_what_is_no_photo_is_refused_at_its_field_and_who_signs_stays(
    client: Client, who: str, session: Session, data: bytes, words: str
) -> None:
    refused = add(client, who, data=data)
    assert refused.status_code == 422
    assert words in not_none(re.search(r'id="add-photo-error"[^>]*>([^<]*)', refused.text))[1]
    assert re.search(rf'value="{who}"\s+checked', refused.text)
    assert session.scalar(select(Photo.id).where(Photo.fit_id == 1)) is None


def test_no_photo_at_all_is_asked_for(client: Client, who: str) -> None:
    refused = client.post("/photos/of/fit/1", {"who": who}, files={"photo": ("", b"", "application/octet-stream")})
    assert refused.status_code == 422
    assert "Take or choose a picture" in refused.text


def test_a_photo_sent_twice_is_kept_once(client: Client, who: str, session: Session) -> None:
    assert [add(client, who, key="once").status_code for _ in range(2)] == [303, 303]
    assert len(session.scalars(select(Photo.id).where(Photo.fit_id == 1)).all()) == 1


@pytest.mark.parametrize("noun", PAGES)
def test_a_photo_is_taken_back_with_a_reason(client: Client, who: str, session: Session, noun: str) -> None:
    add(client, who, noun)
    number = not_none(session.scalar(select(Photo.id).where(getattr(Photo, f"{noun}_id") == 1)))
    session.rollback()
    refused = client.post(f"/photos/{number}/removal", {"who": who, "why": ""})
    assert refused.status_code == 422
    assert f'id="photo-{number}-why-error"' in refused.text
    done = client.post(f"/photos/{number}/removal", {"who": who, "why": "of another"})
    assert done.status_code == 303
    assert client.get(f"/photos/{number}").status_code == 404
    assert client.get(f"/photos/{number}/thumbnail").status_code == 404
    assert "of another" in client.get(f"/photos/of/{noun}/1").text
    lines = session.scalars(select(Change).where(Change.field == "photo").order_by(Change.id)).all()
    assert [(line.noun, line.staff_id, line.why) for line in lines[-2:]] == [
        (noun, int(who), ""),
        (noun, int(who), "of another"),
    ]


def test_the_counter_takes_back_only_its_own(client: Client, who: str, session: Session) -> None:
    add(client, who)
    number = not_none(session.scalar(select(Photo.id).where(Photo.fit_id == 1)))
    session.rollback()
    counter = Client(client.app).carry(signed_in(client.app, "RV"))
    refused = counter.post(f"/photos/{number}/removal", {"who": "3", "why": "not mine"})
    assert refused.status_code == 403
    assert client.get(f"/photos/{number}").status_code == 200
    counter.close()


def test_what_is_known_of_consent_stands_beside_the_form(client: Client, session: Session) -> None:
    anna = session.get_one(Bowler, 1)
    anna.is_minor, anna.guardian, anna.consent = True, "Ylva Johnson", ""
    session.commit()
    assert "No consent is recorded" in client.get("/photos/of/ball/1").text
    anna.consent = "photos of the hand, guardian, 2031"
    session.commit()
    assert "photos of the hand, guardian, 2031" in client.get("/photos/of/ball/1").text


def test_no_other_record_has_photos(client: Client) -> None:
    for path in ("/photos/of/bowler/1", "/photos/of/ball/999", "/photos/of/trouble/999", "/photos/of/fit/0"):
        assert client.get(path).status_code == 404


def test_an_old_photo_that_cannot_be_decoded_is_shown_as_it_came(client: Client, who: str, session: Session) -> None:
    session.add(Photo(ball_id=1, media_type="image/png", data=b"\x89PNG\r\n\x1a\n", staff_id=int(who)))
    session.commit()
    number = not_none(session.scalar(select(Photo.id).order_by(Photo.id.desc())))
    assert f"/photos/{number}/thumbnail" in client.get("/balls/1").text
    assert client.get(f"/photos/{number}/thumbnail").content == b"\x89PNG\r\n\x1a\n"


def test_printed_pages_carry_no_photo(client: Client, who: str) -> None:
    for noun in ("ball", "fit", "inner"):
        add(client, who, noun)
    for path in ("/balls/1/tag", "/fits/1/card", "/fits/1/passport", "/drillings/1/sheet"):
        assert "/photos/" not in client.get(path).text


def test_nobody_makes_a_stranger_s_picture_anew(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[int] = []
    monkeypatch.setattr(photos, "clean", lambda data: looked.append(len(data)))
    stranger = Client(client.app).carry("made-up-token")
    assert add(stranger, "1").status_code in {303, 401}
    assert not looked
    stranger.close()


def test_five_photos_at_once_are_all_kept_and_made_one_at_a_time(
    client: Client, who: str, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Five telephones send at once; nobody waits for the write lock while a picture is decoded."""
    lane, taken, writers = client.app.state.lanes.pictures, [], []
    clean = photos.clean_sent

    def look(data: bytes) -> CleanPhoto | PhotoError:
        taken.append(lane.borrowed_tokens)
        with client.app.state.sessions() as other:
            other.connection()  # the write lock is free
            writers.append(True)
        return clean(data)

    monkeypatch.setattr(photos, "clean_sent", look)
    answers: list[int] = []

    def send() -> None:
        answers.append(add(client, who, data=write(make_picture((3000, 2000)))).status_code)

    threads = [threading.Thread(target=send) for _ in range(5)]
    for each in threads:
        each.start()
    for each in threads:
        each.join(60)
    assert answers == [303] * 5
    assert taken == [1] * 5
    assert writers == [True] * 5
    assert len(session.scalars(select(Photo.id).where(Photo.fit_id == 1)).all()) == 5
