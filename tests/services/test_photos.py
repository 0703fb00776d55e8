"""Photos of any record: added, listed, taken back with history, erased with the person, and carried by an export."""

import json

import pytest
from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.access import COUNTER, DRILLER, Actor
from app.errors import ConflictError, InvalidError, NotAllowedError, NotFoundError
from app.models import Ball, Bowler, Change, Drilling, Fit, Inner, Photo, Trouble, now
from app.schemas.personal import ErasureForm
from app.schemas.taken_back import OwnerForm, TakingBackForm
from app.schemas.troubles import TroubleForm
from app.services import owner_changes, personal, photos, portable, troubles
from app.services.photos import Pictured
from tests.conftest import not_none
from tests.photos.made import make_picture, write

PICTURE = write(make_picture())


@pytest.fixture
def anna_things(session: Session, anna: Bowler, who: str) -> dict[str, Pictured]:
    """One of each kind of record of Anna's that may have photos."""
    ball = not_none(session.scalar(select(Ball).where(Ball.bowler_id == anna.id)))
    drilling = not_none(session.scalar(select(Drilling).where(Drilling.ball_id == ball.id)))
    typed = {"who": who, "system_id": drilling.system_id, "drilling_id": drilling.id, "what": "stuck"}
    return {
        "ball": ball,
        "fit": not_none(session.scalar(select(Fit).where(Fit.bowler_id == anna.id))),
        "inner": not_none(session.scalar(select(Inner).where(Inner.bowler_id == anna.id))),
        "trouble": troubles.add(session, TroubleForm.read(typed)),
    }


KINDS = ("ball", "fit", "inner", "trouble")


@pytest.mark.parametrize("kind", KINDS)
def test_a_photo_of_any_record_is_made_anew_kept_and_found(
    session: Session, anna: Bowler, anna_things: dict[str, Pictured], who: str, kind: str
) -> None:
    of = anna_things[kind]
    added = photos.add_photo(session, of, int(who), PICTURE)
    assert [each.id for each in photos.list_photos(session, of)] == [added.id]
    for other in set(KINDS) - {kind}:
        assert not photos.list_photos(session, anna_things[other])
    session.expire_all()
    kept = photos.get_photo(session, added.id)
    assert (kept.media_type, kept.width, kept.height, kept.staff_id) == ("image/jpeg", 640, 480, int(who))
    assert kept.data.startswith(b"\xff\xd8\xff")
    assert kept.data != PICTURE
    small = photos.get_thumbnail(session, added.id)
    assert small.thumbnail is not None
    assert small.thumbnail_size == (320, 240)
    assert photos.get_owner(session, kept) is of
    line = session.scalars(select(Change).where(Change.field == "photo")).one()
    assert (line.noun, line.noun_id, line.bowler_id) == (kind, of.id, anna.id)
    assert line.new == f"no. {added.id}, of {photos.describe(of)}"


@pytest.mark.parametrize("kind", KINDS)
def test_a_photo_taken_back_is_gone_and_its_history_stays(
    session: Session, anna: Bowler, anna_things: dict[str, Pictured], who: str, kind: str
) -> None:
    of = anna_things[kind]
    stays, gone = (photos.add_photo(session, of, int(who), PICTURE) for _ in range(2))
    number = gone.id
    photos.take_back(session, number, TakingBackForm.read({"who": who, "why": "of another ball"}))
    assert [each.id for each in photos.list_photos(session, of)] == [stays.id]
    with pytest.raises(NotFoundError):
        photos.get_photo(session, number)
    line = session.scalars(select(Change).where(Change.field == "photo").order_by(Change.id.desc())).first()
    assert line is not None
    assert (line.noun, line.noun_id, line.bowler_id, line.staff_id) == (kind, of.id, anna.id, int(who))
    assert (line.new, line.why) == ("taken back", "of another ball")
    assert line.old.startswith(f"no. {number}")


def test_who_added_it_or_a_driller_takes_a_photo_back(
    session: Session, anna_things: dict[str, Pictured], who: str
) -> None:
    form = TakingBackForm.read({"who": who, "why": "blurred"})
    theirs = photos.add_photo(session, anna_things["ball"], 3, PICTURE).id
    own = photos.add_photo(session, anna_things["ball"], int(who), PICTURE).id
    session.info["actor"] = Actor(int(who), 1, COUNTER)
    with pytest.raises(NotAllowedError):
        photos.take_back(session, theirs, form)
    photos.take_back(session, own, form)
    session.info["actor"] = Actor(int(who), 1, DRILLER)
    photos.take_back(session, theirs, form)
    assert not photos.list_photos(session, anna_things["ball"])


def test_another_shops_photo_is_taken_back_by_nobody_else_where_that_is_the_rule(
    session: Session, anna_things: dict[str, Pictured], who: str
) -> None:
    theirs = photos.add_photo(session, anna_things["ball"], int(who), PICTURE)
    theirs.made_by_shop_id = 2
    session.flush()
    session.info["actor"] = Actor(int(who), 1, DRILLER, edits_own_shop_only=True)
    with pytest.raises(NotAllowedError):
        photos.take_back(session, theirs.id, TakingBackForm.read({"who": who, "why": "blurred"}))


def test_a_photo_is_of_one_record_and_never_of_none_or_two(
    session: Session, anna_things: dict[str, Pictured], who: str
) -> None:
    plain = {"media_type": "image/jpeg", "data": b"x", "staff_id": int(who), "at": now()}
    ids = {f"{kind}_id": of.id for kind, of in anna_things.items()}
    one_and_another = {name: ids[name] for name in ("fit_id", "inner_id")}
    for owners in ({}, one_and_another, ids):
        with pytest.raises(IntegrityError), session.begin_nested():
            session.execute(insert(Photo).values(**plain, **owners))


def test_what_is_no_photo_is_refused_at_its_field(session: Session, anna_things: dict[str, Pictured], who: str) -> None:
    for data in (b"", b"GIF89a", PICTURE[:200], photos.clean_sent(b"%PDF-1.7")):
        with pytest.raises(InvalidError) as refused:
            photos.add_photo(session, anna_things["fit"], int(who), data)
        assert set(refused.value.fields) == {"photo"}
    assert session.scalar(select(Photo.id).where(Photo.fit_id == anna_things["fit"].id)) is None


def test_a_photo_made_before_the_transaction_is_kept_as_it_was_made(
    session: Session, anna_things: dict[str, Pictured], who: str
) -> None:
    made = photos.clean_sent(PICTURE)
    added = photos.add_photo(session, anna_things["inner"], int(who), made)
    assert photos.get_photo(session, added.id).data == made.data  # type: ignore[union-attr]


def test_nothing_is_added_to_a_person_who_was_erased(
    session: Session, anna: Bowler, anna_things: dict[str, Pictured], who: str
) -> None:
    anna.erased_at = now()
    session.flush()
    for of in anna_things.values():
        with pytest.raises(ConflictError):
            photos.add_photo(session, of, int(who), PICTURE)


def test_erasing_a_bowler_empties_every_photo_and_nobody_elses(
    session: Session, anna: Bowler, anna_things: dict[str, Pictured], who: str
) -> None:
    for of in anna_things.values():
        photos.add_photo(session, of, int(who), PICTURE)
    other = not_none(session.scalar(select(Fit).where(Fit.bowler_id != anna.id)))
    stays = photos.add_photo(session, other, int(who), PICTURE)
    system_id = not_none(anna_things["trouble"].system_id)  # type: ignore[union-attr]
    nobodys = troubles.add(session, TroubleForm.read({"who": who, "system_id": system_id, "what": "stuck"}))
    kept = photos.add_photo(session, nobodys, int(who), PICTURE)
    held = personal.export_bowler(session, anna.id)["photos"]
    assert {name for row in held for name in ("ball_id", "fit_id", "inner_id", "trouble_id") if row[name]} == {
        "ball_id", "fit_id", "inner_id", "trouble_id",
    }  # fmt: skip
    personal.erase(session, anna.id, ErasureForm.read({"who": who, "version": anna.version, "name": anna.name}))
    session.flush()
    before = set(session.scalars(select(Photo.id)))
    assert {stays.id, kept.id} <= before
    assert not any(photos.list_photos(session, of) for of in anna_things.values())
    told = session.scalars(select(Change).where(Change.field == "photo", Change.bowler_id == anna.id)).all()
    assert len(told) == 4
    assert {(line.old, line.new, line.why) for line in told} == {("", "", "")}


def test_a_photo_goes_along_with_its_ball_and_inner(
    session: Session, anna: Bowler, anna_things: dict[str, Pictured], who: str
) -> None:
    inner = anna_things["inner"]
    assert isinstance(inner, Inner)
    added = photos.add_photo(session, inner, int(who), PICTURE)
    to = not_none(session.scalar(select(Bowler).where(Bowler.id != anna.id)))
    form = OwnerForm.read({"who": who, "version": inner.version, "to_id": to.id, "why": "sold"})
    owner_changes.move_inner(session, inner.id, form)
    session.flush()
    own = [row["id"] for row in personal.export_bowler(session, to.id)["photos"]]
    assert added.id in own
    assert added.id not in [row["id"] for row in personal.export_bowler(session, anna.id)["photos"]]


def test_an_export_carries_whole_photos(session: Session, anna_things: dict[str, Pictured], who: str) -> None:
    added = {photos.add_photo(session, of, int(who), PICTURE).id for of in anna_things.values()}
    table = Photo.__table__
    told = [json.loads(line) for line in portable.export_lines(session.connection(), "x", [table])]  # type: ignore[list-item]
    rows = {line["row"]["id"]: line["row"] for line in told if "row" in line}
    assert added <= set(rows)
    assert all(rows[number]["data"] and rows[number]["thumbnail"] and rows[number]["width"] == 640 for number in added)


def test_photos_of_troubles_are_counted(session: Session, anna_things: dict[str, Pictured], who: str) -> None:
    trouble = anna_things["trouble"]
    assert isinstance(trouble, Trouble)
    photos.add_photo(session, anna_things["ball"], int(who), PICTURE)
    for _ in range(2):
        photos.add_photo(session, trouble, int(who), PICTURE)
    assert photos.count_of_troubles(session) == {trouble.id: 2}
