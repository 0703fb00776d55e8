"""Two records made one and parted again: by the rule of whoever keeps records, nothing of either may be lost or changed.

The reference is the database itself: its export before the merger and after the parting, line by line.
"""

import json
import random
from datetime import timedelta
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Ball, Bowler, Fit, FitHole, Inner, Merger, OwnerChange, Photo, now
from app.schemas.taken_back import BowlerMergerForm, OwnerForm, PartingForm, TakingBackForm
from app.services import bowler_words, mergers, owner_changes, partings, portable, ticket_reads
from tests.conftest import not_none
from tests.services.floor_hands import Floor

LEFT_OUT = {"change", "merger", "sent_form", "sign_in"}  # the history and the acts themselves
WORDS = ["", "", "Tuesday mixed", "sanded at home", "Élodie", "a\nb"]


def lines(session: Session, *tables: str) -> list[str]:
    """The exported rows. Left out are the counter of a record's changes, which only goes up, and keys of the index."""
    session.flush()
    found = []
    chosen = [table for table in portable.list_tables() if not tables or table.name in tables]
    for line in portable.export_lines(session.connection(), "x", chosen):
        told = json.loads(line)
        if "row" in told and told["table"] not in LEFT_OUT:
            row = {k: v for k, v in told["row"].items() if (told["table"], k) not in UNCOUNTED}
            found.append(json.dumps([told["table"], row], sort_keys=True))
    return sorted(found)


HELD = ("bowler", "bowler_word", "fit", "fit_hole", "ball", "photo", "inner", "owner_change")  # tables with random rows
UNCOUNTED = {("bowler", "version"), ("bowler_word", "id")}


def make_bowler(session: Session, chance: random.Random, name: str) -> Bowler:
    """A bowler with random particulars, fits of both hands in any state, balls with photos, and inners."""
    digits = f"555 01{chance.randrange(100):02d} {chance.randrange(10_000):04d}" if chance.random() < 0.7 else ""
    plain = digits.replace(" ", "")
    of = Bowler(
        name=name, phone=digits, phone_digits=plain, phone_last4=plain[-4:], hand=chance.choice(["right", "left"]),
        home_shop_id=chance.choice([None, 1, 2]), league=chance.choice(WORDS), notes=chance.choice(WORDS),
        is_minor=chance.random() < 0.3, guardian=chance.choice(WORDS), consent=chance.choice(WORDS), made_by_shop_id=1,
    )  # fmt: skip
    session.add(of)
    session.flush()
    for hand in ("right", "left"):
        count = chance.randrange(4)
        for revision in range(1, count + 1):
            last = ["draft", "in force", "discarded"] if revision == count else ["superseded", "discarded"]
            add_fit(session, of, hand, revision, chance.choice(last))
    for number in range(chance.randrange(3)):
        ball = Ball(bowler_id=of.id, label=f"ball {number}", serial=f"S{of.id}-{number}", circumference_in=Fraction(27))
        session.add(ball)
        session.flush()
        session.add(Photo(ball_id=ball.id, media_type="image/png", data=chance.randbytes(40), staff_id=1))
        own = add_inner(session, of, chance.randrange(9))
        session.add(Photo(inner_id=own.id, media_type="image/jpeg", data=chance.randbytes(40), staff_id=1))
    bowler_words.index_bowler(session, of)
    session.flush()
    return of


def add_fit(session: Session, of: Bowler, hand: str, revision: int, state: str) -> Fit:
    made = Fit(
        bowler_id=of.id, hand=hand, revision=revision, state=state, reason="r", author_id=1, style="fingertip",
        span_edges="cut", bridge_edges="cut", in_force_at=now() if state in {"in force", "superseded"} else None,
        holes=[FitHole(digit=digit) for digit in ("thumb", "middle", "ring")],
    )  # fmt: skip
    session.add(made)
    session.flush()
    session.add(Photo(fit_id=made.id, media_type="image/jpeg", data=b"of a fit", staff_id=1))
    return made


def add_inner(session: Session, of: Bowler, number: int) -> Inner:
    known = not_none(session.scalars(select(Inner).order_by(Inner.id)).first())
    made = Inner(bowler_id=of.id, label=f"inner {number}", system_id=known.system_id, trimmed_in_id=known.trimmed_in_id)
    session.add(made)
    session.flush()
    return made


def merge(session: Session, one: Bowler, other: Bowler, chance: random.Random) -> Merger:
    """Merges with every question answered by chance."""
    answers = {q.field: chance.choice(q.choices)[0] for q in mergers.list_questions(session, one, other)}
    form = {"who": "1", "version": str(one.version), "other_id": str(other.id), "other_version": str(other.version)}
    form |= {"stays": str(chance.choice([one, other]).id), "why": "one person"} | answers
    return mergers.merge(session, one.id, BowlerMergerForm.read(form))


def part(session: Session, merger: Merger, given_to: dict[str, str] | None = None) -> Merger:
    kept = not_none(session.get(Bowler, merger.kept_id))
    form = {"who": "1", "version": str(kept.version), "why": "two after all"} | (given_to or {})
    return partings.part(session, merger.id, PartingForm.read(form))


def test_bowlers_with_drillings_are_merged_and_parted_exactly(session: Session) -> None:
    before = lines(session)
    merger = merge(session, session.get_one(Bowler, 1), session.get_one(Bowler, 4), random.Random(3))
    assert lines(session) != before
    part(session, merger)
    assert lines(session) == before


def test_merged_and_parted_leaves_every_row_and_photo_as_it_was(session: Session) -> None:
    for seed in range(25):
        chance = random.Random(seed)
        one, other, third = (make_bowler(session, chance, n) for n in ("Ana Quill", "Anna Quill", "Dora Quill"))
        before = lines(session, *HELD)
        first = merge(session, one, other, chance)
        assert lines(session, *HELD) != before
        if chance.random() < 0.5:
            between = lines(session, *HELD)
            second = merge(session, session.get_one(Bowler, first.kept_id), third, chance)
            with pytest.raises(ConflictError):
                part(session, first)
            part(session, second)
            assert lines(session, *HELD) == between
        part(session, first)
        assert lines(session, *HELD) == before, seed
        session.rollback()


def test_what_was_written_while_merged_goes_to_one_or_the_other_and_nothing_else_changes(session: Session) -> None:
    for seed in range(100, 112):
        chance = random.Random(seed)
        one, other = make_bowler(session, chance, "Ana Quill"), make_bowler(session, chance, "Anna Quill")
        before = lines(session, *HELD)
        merger = merge(session, one, other, chance)
        kept = session.get_one(Bowler, merger.kept_id)
        ball = Ball(bowler_id=kept.id, label="new", circumference_in=Fraction(27))
        session.add(ball)
        last = max((f.revision for f in session.scalars(select(Fit).where(Fit.bowler_id == kept.id))), default=0)
        made: dict[str, Ball | Inner | Fit] = {
            "ball": ball,
            "inner": add_inner(session, kept, 9),
            "fit": add_fit(session, kept, "right", last + 1, "draft"),
        }
        session.flush()
        with pytest.raises(InvalidError) as asked:
            part(session, merger)
        assert set(asked.value.fields) == {f"whose_{noun}_{row.id}" for noun, row in made.items()}
        whose = {field: str(chance.choice([merger.kept_id, merger.gone_id])) for field in asked.value.fields}
        part(session, merger, whose)
        for noun, row in made.items():
            session.refresh(row)
            assert str(row.bowler_id) == whose[f"whose_{noun}_{row.id}"]
        assert set(before) <= set(lines(session, *HELD)), seed
        session.rollback()


def test_a_phone_changed_while_merged_is_asked_for_and_given(session: Session, pair: tuple[Bowler, Bowler]) -> None:
    one, other = pair
    own = other.phone
    merger = merge(session, one, other, random.Random(1))
    kept, gone = session.get_one(Bowler, merger.kept_id), session.get_one(Bowler, merger.gone_id)
    mergers.set_particulars(session, 1, kept, mergers.write_particulars(kept) | {"phone": "555 0199 0000"}, "")
    session.flush()
    with pytest.raises(InvalidError) as asked:
        part(session, merger)
    assert set(asked.value.fields) == {"whose_phone"}
    part(session, merger, {"whose_phone": str(gone.id)})
    assert {kept.phone, gone.phone} == ({"555 0199 0000", own} if kept is other else {"555 0199 0000", one.phone})
    assert gone.phone == "555 0199 0000"
    assert gone.phone_last4 == "0000"


def test_a_fit_put_in_force_while_merged_supersedes_only_that_of_the_bowler_whose_it_is(session: Session) -> None:
    one, other = (add_plain(session, name) for name in ("Ana Quill", "Anna Quill"))
    old = {of.id: add_fit(session, of, "right", 1, "in force") for of in (one, other)}
    merger = merge(session, one, other, random.Random(1))
    newer = add_fit(session, session.get_one(Bowler, merger.kept_id), "right", 3, "in force")
    newer.in_force_at = now() + timedelta(seconds=1)
    for fit in old.values():
        fit.state = "superseded"
    session.flush()
    part(session, merger, {f"whose_fit_{newer.id}": str(merger.gone_id)})
    for fit in (newer, *old.values()):
        session.refresh(fit)
    assert (newer.bowler_id, newer.state, newer.revision) == (merger.gone_id, "in force", 3)
    assert old[merger.gone_id].state == "superseded"
    assert old[merger.kept_id].state == "in force"


def test_a_ball_sold_while_merged_came_from_whose_it_was(session: Session, pair: tuple[Bowler, Bowler]) -> None:
    one, other = pair
    buyer = add_plain(session, "Dora Quill")
    ball = Ball(bowler_id=other.id, label="sold", circumference_in=Fraction(27))
    session.add(ball)
    session.flush()
    merger = merge(session, one, other, random.Random(1))
    form = {"who": "1", "version": str(ball.version), "to_id": str(buyer.id), "why": "sold"}
    owner_changes.move_ball(session, ball.id, OwnerForm.read(form))
    session.flush()
    part(session, merger)
    session.refresh(ball)
    assert ball.bowler_id == buyer.id
    change = session.scalars(select(OwnerChange)).one()
    assert change.from_id == other.id
    form = {"who": "1", "version": str(ball.version), "why": "not sold after all"}
    owner_changes.undo(session, change.id, TakingBackForm.read(form))
    assert ball.bowler_id == other.id


def test_a_parted_merger_keeps_nothing_of_either_and_is_not_parted_twice(
    session: Session, pair: tuple[Bowler, Bowler]
) -> None:
    merger = part(session, merge(session, *pair, random.Random(1)))
    assert (merger.kept_before, merger.kept_after, merger.rows, merger.fits) == ({}, {}, {}, {})
    with pytest.raises(ConflictError):
        part(session, merger)


@pytest.fixture
def pair(session: Session) -> tuple[Bowler, Bowler]:
    return add_plain(session, "Ana Quill", "555 0142 1111"), add_plain(session, "Anna Quill", "555 0142 2222")


def add_plain(session: Session, name: str, phone: str = "") -> Bowler:
    digits = phone.replace(" ", "")
    made = Bowler(name=name, hand="right", phone=phone, phone_digits=digits, phone_last4=digits[-4:])
    session.add(made)
    session.flush()
    bowler_words.index_bowler(session, made)
    session.flush()
    return made


def test_a_ticket_goes_along_with_its_ball_and_back(session: Session, who: str) -> None:
    floor = Floor(session, who)
    tickets = [floor.take_in(f"ball:{ball_id}", "sand") for ball_id in (1, 3)]  # Anna's and Piet's
    floor.wait(tickets[0], "part", why="sleeve")
    before = lines(session)
    merger = merge(session, session.get_one(Bowler, 1), session.get_one(Bowler, 2), random.Random(3))
    listed = [of.id for of in ticket_reads.list_of_bowler(session, merger.kept_id)]
    assert listed == [of.id for of in tickets]
    part(session, merger)
    assert lines(session) == before
    owners = [floor.shown(of).bowler_id for of in tickets]
    assert owners == [1, 2]
