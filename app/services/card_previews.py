"""What a card would bring: who it may be of, what its shops and hardware are here, what is new and what differs."""

from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy.orm import Session

from app.cards import contents
from app.cards.contents import Card, Hardware
from app.cards.words import Line, list_words
from app.models import Bowler, InsertSystem, Shop
from app.services import bowlers, card_contents, card_texts, fits, known_keys, shop_keys, shops, systems
from app.services.card_reading import Told
from app.services.counter_rows import CounterRow

_NAMESAKES = 8


@dataclass(frozen=True)
class Difference:
    """One line of a card beside ours: equal, new where we have none, or different."""

    label: str
    theirs: str
    ours: str

    @property
    def kind(self) -> str:
        return "same" if self.theirs == self.ours else "differs" if self.ours else "new"


@dataclass(frozen=True)
class Preview:
    """What is proposed for a card; `shops` and `systems` are ids in the order of its lists, None for a new record.

    `asked_shops` are the places of shops of which somebody has to say whether they are new.
    """

    namesakes: list[CounterRow]
    bowler: Bowler | None
    shops: list[int | None]
    asked_shops: list[int]
    systems: list[int | None]
    fit: list[Difference]
    known_inners: list[bool]
    has_draft: bool
    is_fit_same: bool
    is_key_other: bool  # the shop that is proposed as its maker is known with another key

    def list_lines(self, kind: str) -> list[Difference]:
        """Returns the lines of the fit that are new, differ or are the same."""
        return [line for line in self.fit if line.kind == kind]


def preview(session: Session, told: Told, bowler_id: int = 0) -> Preview:
    """Returns what a card would bring to a bowler of ours, to a new one without `bowler_id`."""
    card = told.opened.card
    bowler = bowlers.get_bowler(session, bowler_id) if bowler_id else None
    ours = _tell_ours(session, bowler, card) if bowler else None
    fit = _compare_fits(card, ours)
    found = [find_shop(session, told, place) for place in range(len(card.shops))]
    return Preview(
        namesakes=bowlers.search(session, card.bowler, _NAMESAKES),
        bowler=bowler,
        shops=found,
        asked_shops=[place for place in range(len(card.shops)) if is_shop_asked(session, told, place)],
        systems=[find_system(session, one) for one in card.hardware],
        fit=fit,
        known_inners=[is_known_inner(card, inner, ours) for inner in card.inners],
        has_draft=bool(bowler and fits.find_draft(session, bowler.id, card.hand)),
        is_fit_same=bool(fit) and all(line.kind == "same" for line in fit),
        is_key_other=bool(told.key and found[0] and known_keys.has_other_key(session, found[0], told.key)),
    )


def _tell_ours(session: Session, bowler: Bowler, card: Card) -> Card:
    return card_contents.build_card(session, bowler, card.hand, card.series, card.made_on)


def _compare_fits(card: Card, ours: Card | None) -> list[Difference]:
    """Lists the lines of a card's fit beside our fit in force, in the words of both."""
    if card.fit is None:
        return []
    theirs, own = _list_fit_lines(card), dict(_list_fit_lines(ours)) if ours and ours.fit else {}
    lines = [Difference(label, words, own.pop(label, "")) for label, words in theirs]
    return [*lines, *(Difference(label, "", words) for label, words in own.items())]


def _list_fit_lines(card: Card) -> list[Line]:
    """Lists a fit's lines, with its hardware in words: a card's own numbers of it mean nothing elsewhere."""
    lines = next(lines for heading, lines in list_words(card) if heading.startswith("Fit "))
    told = {f"hardware {n}": _name(one) for n, one in enumerate(card.hardware, 1)}
    return [(label, told.get(words, words)) for label, words in lines if label != "in force since"]


def _name(one: Hardware) -> str:
    lines = dict(next(lines for heading, lines in list_words(_only(one)) if heading == "Hardware 1"))
    return ", ".join(f"{label} {lines[label]}" for label in ("outside of the sleeve", "bore") if label in lines)


def _only(one: Hardware) -> Card:
    """Returns a card that holds nothing but this hardware, to be told in words."""
    return Card(series=b"", revision=1, made_on=date.min, shops=("",), bowler="", hand="right", hardware=(one,))


def is_known_inner(card: Card, inner: contents.Inner, ours: Card | None) -> bool:
    """Whether an inner with the same numbers, trimmed in such a bore, is recorded of this bowler."""
    if ours is None:
        return False
    own = _as_made(card, inner)
    return any(_as_made(ours, known) == own for known in ours.inners)


def _as_made(card: Card, inner: contents.Inner) -> tuple[object, ...]:
    """Returns an inner with its bore as they were made, without what each card numbers or words in its own way."""
    bore = replace(card.bores[inner.bore], hardware=0, shop=0, depth_in=None, depth_u_in=None, datum="collar")
    return replace(card_texts.hold_inner(inner), label="", hardware=0, bore=0, heights_in=()), bore


def find_shop(session: Session, told: Told, place: int) -> int | None:
    """Returns which shop of ours a card means: the maker by its key, others by name; None without one, or in doubt."""
    if place == 0 and told.is_ours:
        return shop_keys.find_shop_id(session, told.opened.public_key)
    if place == 0 and told.key and told.key.shop_id:
        return told.key.shop_id
    name, alike = told.opened.card.shops[place], _list_namesakes(session, told, place)
    exact = [shop for shop in alike if shop.name == name] or alike
    if len(exact) != 1 or (place == 0 and exact[0].is_ours):
        return None  # a namesake of ours, whose key is not ours
    return exact[0].id


def _list_namesakes(session: Session, told: Told, place: int) -> list[Shop]:
    folded = known_keys.fold_name(told.opened.card.shops[place])
    return [shop for shop in shops.list_shops(session) if known_keys.fold_name(shop.name) == folded]


def is_shop_asked(session: Session, told: Told, place: int) -> bool:
    """Whether a person has to say which shop a card means: one of its name is here, and may be another."""
    return find_shop(session, told, place) is None and bool(_list_namesakes(session, told, place))


def find_system(session: Session, one: Hardware) -> int | None:
    """Returns the one hardware of ours with the same measures, as far as both are known."""
    alike = [own for own in systems.list_systems(session, one.digit) if not list_differences(own, one)]
    return alike[0].id if len(alike) == 1 else None


_MEASURES = (
    "notch_deg",
    "wide_tab_deg",
    "sleeve_in",
    "bore_in",
    "sleeve_length_in",
    "lock_depth_in",
    "inner_length_in",
    "lift_in",
    "oval_in",
)


def list_differences(own: InsertSystem, one: Hardware) -> list[str]:
    """Returns the measures in which our hardware and a card's differ, or of which too little is known to say."""
    ours, one = card_contents.tell_hardware(own), card_texts.hold_hardware(one)
    wrong = [
        name for name in _MEASURES if None not in {getattr(ours, name), getattr(one, name)}
        and getattr(ours, name) != getattr(one, name)
    ]  # fmt: skip
    if None in {ours.bore_in, one.bore_in} or ours.height_set_by != one.height_set_by:
        wrong.append("bore_in")
    if one.digit == "finger" and set(ours.inside_in) != set(one.inside_in):
        wrong.append("inside_in")
    if "unknown" not in {ours.locks, one.locks} and ours.locks != one.locks:
        wrong.append("locks")
    return wrong


def list_choices(session: Session, card: Card) -> list[list[tuple[int, str]]]:
    """Returns for each hardware of a card what it may be here: (id, label), with what differs."""
    choices = []
    for one in card.hardware:
        own = systems.list_systems(session, one.digit)
        told = [(system, list_differences(system, one)) for system in own]
        choices.append([
            (system.id, system.label + (f" (other {', '.join(map(_word, wrong))})" if wrong else ""))
            for system, wrong in sorted(told, key=lambda pair: len(pair[1]))
        ])  # fmt: skip
    return choices


def _word(name: str) -> str:
    return name.removesuffix("_in").removesuffix("_deg").replace("_", " ")
