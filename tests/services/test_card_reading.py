"""Each state of a card that is read: whole, damaged, changed, newer, too large, unknown shop, old, seen before."""

import struct
import zlib
from datetime import date, timedelta

import cbor2
import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.cards import signing
from app.cards.codes import make_code
from app.cards.texts import to_lines, to_text
from app.errors import InvalidError
from app.models import Change, KnownKey, ReadCard, Rule
from app.schemas.cards import IssueForm
from app.services import card_issues, card_reading, rules
from tests.cards.made import PRIVATE_KEY
from tests.cards.photographs import to_png
from tests.services.cards import OTHER_KEY, open_made

WHOLE = open_made().data


def with_checksum(data: bytes) -> bytes:
    """The checksum of `templates/help/card.md`: CRC-32 as in ISO 3309, high byte first."""
    return data[:-4] + struct.pack(">I", zlib.crc32(data[:-4]))


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (WHOLE, ""),
        (to_text(WHOLE).encode(), ""),
        (b"\xef\xbb\xbf" + to_lines(WHOLE).lower().encode(), ""),
        (to_png(make_code(to_text(WHOLE))), ""),
        (b"", "> " + to_lines(WHOLE).replace("\n", "\r\n> ")),
    ],
)
def test_a_card_is_read_from_bytes_text_picture_and_quoted_mail(data: bytes, text: str) -> None:
    assert card_reading.open_any(data, text).data == WHOLE


def sign(contents: object) -> bytes:
    """Contents of any kind, packed by another program (cbor2) and signed as `templates/help/card.md` says."""
    version_and_key = b"\x01" + signing.public_key_of(PRIVATE_KEY)
    packed = cbor2.dumps(contents, canonical=True)
    signature = signing.sign(PRIVATE_KEY, b"spanbook card\0" + version_and_key + packed)
    return with_checksum(version_and_key + signature + packed + bytes(4))


@pytest.mark.parametrize(
    ("further", "state"),
    [({99: 1}, "Newer"), ({6: 2}, "Newer"), ({6: -1}, "Damaged"), ({2: -1}, "Damaged"), ({}, "")],
)
def test_signed_contents_that_this_version_does_not_know_are_newer(further: dict[int, object], state: str) -> None:
    data = sign(cbor2.loads(WHOLE[97:-4]) | further)
    if not state:
        assert card_reading.open_any(data, "").card == open_made().card
        return
    for given in ((data, ""), (b"", to_text(data)), (b"", to_lines(data))):
        with pytest.raises(InvalidError) as told:
            card_reading.open_any(*given)
        assert next(iter(told.value.fields.values())).message.startswith(state)


@pytest.mark.parametrize(
    ("data", "state"),
    [
        (WHOLE[:-9], "Damaged"),
        (b"\x89PNG\r\n\x1a\nrubbish", "No code"),
        (with_checksum(WHOLE[:150] + bytes([WHOLE[150] ^ 1]) + WHOLE[151:]), "Changed"),
        (with_checksum(b"\x02" + WHOLE[1:]), "Newer"),
        (b"\x01" * 4000, "Too large"),
        (b"", "Take or choose"),
        (b"%PDF-1.7 " + bytes(200), "Damaged"),
        (b"\x00" + with_checksum(bytes(200)), "Damaged"),
        (with_checksum(bytes(200)), "No card"),
    ],
)
def test_what_is_no_whole_card_is_told_apart(data: bytes, state: str) -> None:
    with pytest.raises(InvalidError) as told:
        card_reading.open_any(data, "")
    assert next(iter(told.value.fields.values())).message.startswith(state)


@pytest.mark.parametrize(
    ("data", "state"),
    [
        (with_checksum(WHOLE[:150] + bytes([WHOLE[150] ^ 1]) + WHOLE[151:]), "Changed"),
        (with_checksum(b"\x02" + WHOLE[1:]), "Newer"),
        (WHOLE[:-9], "Damaged: The card was not read whole"),
        (b"", "No card"),
    ],
)
def test_a_pasted_text_is_told_apart_as_its_bytes_are(data: bytes, state: str) -> None:
    for text in (to_lines(data), to_text(data)):
        with pytest.raises(InvalidError) as told:
            card_reading.open_any(b"", text if data else "See you on Friday")
        assert told.value.fields["text"].message.startswith(state)


def test_an_unknown_shop_is_told_each_time_and_the_card_known_again(session: Session, who: str) -> None:
    first = card_reading.tell(session, int(who), open_made())
    session.flush()
    assert first.is_unknown
    assert first.before is None
    again = card_reading.tell(session, int(who), open_made())
    session.flush()
    assert again.is_unknown
    assert again.before is not None
    assert session.scalar(select(func.count()).select_from(ReadCard)) == 1
    later = card_reading.tell(session, int(who), open_made(revision=4))
    assert (later.before, later.newer) == (None, 0)
    session.flush()
    older = card_reading.look_again(session, open_made())
    assert older.newer == 4
    assert session.scalar(select(func.count()).select_from(KnownKey)) == 1


def test_nothing_of_a_person_is_kept_of_a_card_that_was_only_read(session: Session, who: str) -> None:
    opened = open_made()
    card_reading.tell(session, int(who), opened)
    session.flush()
    kept = session.scalars(select(ReadCard)).one()
    assert (kept.data, kept.bowler_id, kept.outcome) == (None, None, "read")
    for line in session.scalars(select(Change).where(Change.noun.in_(("read_card", "known_key")))):
        assert opened.card.bowler not in line.new


def test_another_key_under_the_name_is_warned_of(session: Session, who: str) -> None:
    card_reading.tell(session, int(who), open_made())
    session.flush()
    told = card_reading.tell(session, int(who), open_made(OTHER_KEY))
    assert told.key is not None
    assert told.key.is_changed


@pytest.mark.parametrize(
    ("months", "limit", "is_old"), [(12, 0, False), (14, 0, True), (14, 18, False), (20, 18, True)]
)
def test_a_card_is_old_after_the_shops_own_number_of_months(
    session: Session, who: str, months: int, limit: int, is_old: bool
) -> None:
    if limit:
        session.add(Rule(name=rules.CARD_MONTHS, value=limit))
    this_month = date.today().replace(day=1)
    made = (this_month - timedelta(days=30.4375 * months - 10)).replace(day=1)
    told = card_reading.tell(session, int(who), open_made(made_on=made))
    assert told.months_old == months
    assert told.is_old is is_old


def test_a_card_of_our_own_is_known_as_ours(session: Session, who: str) -> None:
    issued = card_issues.issue(session, 1, IssueForm.read({"who": who, "hand": "right"}))
    session.flush()
    told = card_reading.tell(session, int(who), card_reading.open_any(issued.data, ""))
    assert told.is_ours
    assert told.key is None
    assert session.scalar(select(func.count()).select_from(KnownKey)) == 0
