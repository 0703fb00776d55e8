"""Bowlers by the thousand, made up: frequent and rare names, several alphabets, twins, old phones, balls and drillings."""

import random
from collections.abc import Iterator
from datetime import timedelta
from fractions import Fraction
from itertools import islice
from typing import cast

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from app.db import open_engine, sessions, upgrade
from app.models import Ball, Bowler, BowlerWord, Change, Drilling, now
from app.services import bowler_words
from seed_demo import fill
from tests.conftest import not_none

SEED = 20261125
_FOUND_BY = ("name", "phone", "league", "hand", "home_shop_id")
_BATCH = 5_000
_OPEN = ["b", "br", "d", "f", "g", "h", "j", "k", "kl", "l", "m", "n", "p", "r", "s", "st", "sch", "t", "v", "w", "z"]
_MIDDLE = ["a", "e", "i", "o", "u", "aa", "ei", "ie", "oo", "ö", "ä", "é", "å"]
_CLOSE = ["n", "r", "l", "s", "m", "nd", "rt", "ck", "ns", "th", "x", "ss", "t"]
_ENDINGS = ["sen", "son", "er", "mann", "berg", "stad", "ley", "ford", "ova", "ini", "ez", "ic", "lund", "ski", "aert"]
_PARTICLES = ["van", "van den", "de", "von", "da", "el"]
_FIRST = [
    "Anna", "Robert", "William", "Maria", "Johan", "Elizabeth", "Thomas", "Katherine", "Peter", "Margaret", "Jan", "Susan",
    "Michael", "Ingrid", "Daniel", "Laura", "Erik", "Sofia", "Martin", "Helena", "Andrew", "Julia", "Piet", "Karin", "Steven",
]  # fmt: skip
_OTHER_ALPHABETS = [
    ("Анна", "Иванова"), ("Пётр", "Соколов"), ("Ελένη", "Παπαδοπούλου"), ("Νίκος", "Γεωργίου"), ("伟", "王"), ("秀英", "李"),
    ("민준", "김"), ("さくら", "田中"), ("Şükrü", "Yılmaz"), ("Łukasz", "Wiśniewski"), ("Žofie", "Dvořáková"), ("محمد", "حداد"),
]  # fmt: skip
_LEAGUES = ["Tuesday mixed", "Wednesday seniors", "Friday early birds", "Sunday juniors", "Monday trios", ""]


def _syllable(chance: random.Random) -> str:
    return chance.choice(_OPEN) + chance.choice(_MIDDLE)


def names(chance: random.Random, count: int, endings: list[str]) -> list[str]:
    """Different made-up names, the first ones to be used most."""
    made: dict[str, None] = {}
    while len(made) < count:
        middle = "".join(_syllable(chance) for _ in range(chance.choice((1, 1, 2))))
        made[(middle + chance.choice(_CLOSE) * chance.randint(0, 1) + chance.choice(endings)).capitalize()] = None
    return list(made)


def _frequent(chance: random.Random, known: list[str]) -> str:
    """A name with about the frequency of its rank: the tenth is ten times rarer than the first (Zipf's law)."""
    return known[min(len(known) - 1, int(len(known) ** chance.random()) - 1)]


def people(count: int, seed: int = SEED) -> Iterator[dict[str, object]]:
    """Bowlers as rows, in no order; with twins and parents of one name among them."""
    chance = random.Random(seed)
    surnames = names(chance, min(60_000, 5_000 + count // 4), _ENDINGS)
    firsts = _FIRST + names(chance, 660, ["a", "o", "e", "in", "us", "y", "el", "ia"])
    last: dict[str, object] = {}
    for number in range(1, count + 1):
        phone = f"555 {chance.randrange(10_000):04d} {chance.randrange(10_000):04d}"
        surname = _frequent(chance, surnames)
        if chance.random() < 0.05:
            surname = f"{chance.choice(_PARTICLES)} {surname}"
        name = f"{_frequent(chance, firsts)} {surname}"
        kind = chance.random()
        if kind < 0.01:
            first, surname = chance.choice(_OTHER_ALPHABETS)
            name = f"{first} {surname}"
        elif last and kind < 0.02:
            name = str(last["name"])  # a parent and a child of one name, or the same person with an old phone
        elif last and kind < 0.03:
            name, phone = (
                f"{_frequent(chance, firsts)} {str(last['name']).split(' ', 1)[1]}",
                str(last["phone"]),
            )  # a twin
        last = {
            "id": 1000 + number, "name": name, "phone": phone, "phone_digits": phone.replace(" ", ""), "phone_last4": phone[-4:],
            "hand": "left" if chance.random() < 0.12 else "right", "league": chance.choice(_LEAGUES), "home_shop_id": 1 + (number % 5 == 0), "made_by_shop_id": 1,
            "version": 1, "notes": "", "guardian": "", "consent": "", "is_minor": False,
        }  # fmt: skip
        yield last


def make(url: str, count: int) -> None:
    """Fills the empty database at this address with the demo shop and so many made-up bowlers."""
    upgrade(url)
    engine = open_engine(url)
    with sessions(engine)() as session:
        fill(session)
        session.commit()
        plan = not_none(session.scalars(select(Drilling).where(Drilling.state == "closed")).first())
        rows = people(count)
        while batch := list(islice(rows, _BATCH)):
            _write(session, batch, plan)
    with engine.connect() as connection:
        if engine.dialect.name == "postgresql":  # ids were given, which its sequences do not notice
            for table in (model.__tablename__ for model in (Bowler, Ball)):
                connection.exec_driver_sql(f"SELECT setval('{table}_id_seq', (SELECT max(id) FROM {table}))")
        connection.exec_driver_sql("ANALYZE")
        connection.commit()
    engine.dispose()


def _write(session: Session, people: list[dict[str, object]], plan: Drilling) -> None:
    """A batch of bowlers, with words and history; every second has a ball, every eighth an old phone, every twentieth a drilling."""
    session.execute(insert(Bowler), people)
    balls, words, drillings, history = [], [], [], []
    for person in people:
        number = cast(int, person["id"])
        history.append(_line(number, "bowler", "made", "", str(person["name"])))
        if number % 8 == 0:
            history.append(
                _line(number, "bowler", "phone", f"555 {number % 9973:04d} {number % 9967:04d}", str(person["phone"]))
            )
        serials = [f"SN-{number:07d}"] if number % 2 else []
        told = bowler_words.list_words(Bowler(**{name: person[name] for name in _FOUND_BY}), serials, ())
        words += [{"bowler_id": number, "word": w, "kind": k} for w, k in told]
        if serials:
            ball = {
                "id": number,
                "bowler_id": number,
                "label": "House ball",
                "serial": serials[0],
                "circumference_in": Fraction(27),
            }
            history.append(_line(number, "ball", "made", "", "House ball"))
            balls.append(ball | {"version": 1, "typed": {}, "colour": "", "condition": "", "made_by_shop_id": 1})
        if number % 20 == 1:
            drillings.append(
                {"ball_id": number, "fit_id": plan.fit_id, "system_id": plan.system_id, "shop_id": 1, "state": "closed", "plan": plan.plan,
                 "tolerance_in": plan.tolerance_in, "tolerance_source": "ASSUMED", "staff_id": 1, "version": 1, "made_by_shop_id": 1}
            )  # fmt: skip
    session.execute(insert(BowlerWord), words)
    session.execute(insert(Ball), balls)
    session.execute(insert(Drilling), drillings)
    session.execute(insert(Change), history)
    session.commit()


def _line(number: int, noun: str, field: str, old: str, new: str) -> dict[str, object]:
    """A line of history of some day in the last years."""
    at = now() - timedelta(days=2 + number % 1500)
    return {
        "at": at, "staff_id": 1 + number % 2, "noun": noun, "noun_id": number, "bowler_id": number, "field": field, "old": old, "new": new,
        "why": "", "made_by_shop_id": 1,
    }  # fmt: skip


def typos(name: str, chance: random.Random) -> Iterator[tuple[str, str]]:
    """(kind, name as mistyped) for each kind of slip that is possible in a name of two words."""
    first, last = name.split(" ", 1)
    for kind, slip in _SLIPS.items():
        in_first = chance.random() < 0.3 and len(first) > 3
        wrong = slip(first if in_first else last, chance)
        if wrong is not None:
            yield kind, f"{wrong} {last}" if in_first else f"{first} {wrong}"
    yield "order", f"{last} {first}"


def _place(word: str, chance: random.Random) -> int:
    return chance.randrange(1, len(word) - 1) if len(word) > 3 else 1


def _letter(chance: random.Random) -> str:
    return chance.choice("abcdefghijklmnopqrstuvwxyz")


def _insert(word: str, chance: random.Random) -> str | None:
    at = _place(word, chance)
    return word[:at] + _letter(chance) + word[at:]


def _delete(word: str, chance: random.Random) -> str | None:
    at = _place(word, chance)
    return word[:at] + word[at + 1 :] if len(word) > 3 else None


def _swap(word: str, chance: random.Random) -> str | None:
    at = _place(word, chance)
    return (
        word[:at] + word[at + 1] + word[at] + word[at + 2 :]
        if at + 1 < len(word) and word[at] != word[at + 1]
        else None
    )


def _replace(word: str, chance: random.Random) -> str | None:
    at = _place(word, chance)
    return word[:at] + _letter(chance) + word[at + 1 :]


def _unaccented(word: str, _chance: random.Random) -> str | None:
    plain = " ".join(bowler_words.fold_words(word))
    return plain if plain != word.casefold() else None


_SLIPS = {"insert": _insert, "delete": _delete, "swap": _swap, "replace": _replace, "accent": _unaccented}
