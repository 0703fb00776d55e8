"""What one screen of the bench shows: the one number to read from afar, what belongs beside it, and what may be met."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from app.closed_sets import PART_KIND_WORDS
from app.measures.wording import clock_words, decimal, mark_words, nearest_64th, plain_fraction
from app.models import DrillingStep, Part
from app.models.numbers import (
    ClockNumber,
    CutNumber,
    LengthNumber,
    MarkNumber,
    MoveNumber,
    Number,
    PitchNumber,
    PlaceNumber,
    TextNumber,
)
from app.services import shelf
from app.services.bench_screens import Screen
from app.services.part_uses import GLUES, Offer

_TICK_IN = Fraction(1, 64)
_SAME_IN = 1e-6
_AT_THE_BORE = {
    "bore_pitch", "bore_check", "pilot", "bore", "ream", "drop_in", "glue", "glue_slug", "set_height", "seat_flange",
    "notch", "zero", "flush", "flush_slug", "bevel",
}  # fmt: skip
_MACHINE = CutNumber | PlaceNumber | MoveNumber  # what a table is set by, in decimals


@dataclass(frozen=True)
class Glance:
    """The number to read from afar: a length with its way in `says`, or words in its place; what it is, from where."""

    what: str
    value_in: float | None
    says: str = ""
    words: str = ""


@dataclass(frozen=True)
class Asked:
    """A reading that a screen asks for at a step; `name` is that of its field, with the step's prefix before it."""

    kind: str
    name: str
    step: DrillingStep


@dataclass(frozen=True)
class LotChoice:
    """What of the shelf is chosen at a screen: (value, words) at a tap each, one of them proposed."""

    name: str
    legend: str
    choices: list[tuple[str, str]]
    proposed: str


@dataclass(frozen=True)
class View:
    """One screen of the bench, ready for its template; `met` are depths at a tap, (text, label), as planned second."""

    screen: Screen
    glance: Glance | None
    bit_in: float | None
    pitch: PitchNumber | None
    is_pitch_unknown: bool
    marks: list[MarkNumber]
    edges: list[_MACHINE]
    beside: list[LengthNumber | TextNumber | ClockNumber]
    met: list[tuple[str, str]]
    asked: list[Asked]

    @property
    def main(self) -> DrillingStep:
        return self.screen.main

    @property
    def lead(self) -> DrillingStep:
        """The step that heads the screen: the main one, or the next where that is ticked by itself."""
        return self.main if self.main.ticked_at is None else self.screen.due[0]

    @property
    def first(self) -> list[DrillingStep]:
        """The steps before the one that heads the screen."""
        return [step for step in self.screen.steps if step.position < self.lead.position]

    @property
    def then(self) -> list[DrillingStep]:
        """The steps after the one that heads the screen."""
        return [step for step in self.screen.steps if step.position > self.lead.position]

    @property
    def reads(self) -> set[str]:
        """The kinds of reading asked for under their plain names."""
        return {asked.kind for asked in self.asked if asked.name == asked.kind}

    @property
    def earlier(self) -> list[Asked]:
        """What is set or met at the steps before: each can be judged by itself, before its cut."""
        return [asked for asked in self.asked if asked.name != asked.kind]

    @property
    def cautions(self) -> list[str]:
        return list(dict.fromkeys(words for step in self.screen.due for words in step.cautions))

    @property
    def lit(self) -> str:
        """The part of the drawings that is in question."""
        if self.main.action in _AT_THE_BORE:
            return "thumb bore"
        return self.main.hole if self.main.hole in ("thumb", "middle", "ring") else ""

    @property
    def positions(self) -> str:
        """The steps that this screen ticks, as its form carries them."""
        return ",".join(str(step.position) for step in self.screen.due)


def build_view(screen: Screen, before: Iterable[Screen] = ()) -> View:
    """Returns what a screen shows while a step of it is due; for a cut also the pitch met on a screen `before`."""
    numbers = [number for step in screen.steps for number in step.numbers]
    set_before = [step for s in before for step in s.steps if step.hole == screen.main.hole]
    pitch, is_unknown = _find_pitch([*screen.steps, *(reversed(set_before) if screen.main.is_cut else ())])
    glance = _choose_glance(screen.main.numbers) or _choose_glance(numbers)
    marks = list({(n.what, n.words): n for n in numbers if isinstance(n, MarkNumber)}.values())
    edges = [n for n in numbers if isinstance(n, CutNumber | PlaceNumber | MoveNumber)]
    return View(
        screen=screen,
        glance=None if screen.main.action in ("mark", "oval") else glance,
        bit_in=next((n.value_in for n in numbers if isinstance(n, LengthNumber) and n.what == "bit"), None),
        pitch=pitch,
        is_pitch_unknown=is_unknown,
        marks=marks,
        edges=edges,
        beside=_list_beside(numbers, glance, bool(marks)),
        met=_list_met(screen),
        asked=_list_asked(screen),
    )


def _find_pitch(steps: Iterable[DrillingStep]) -> tuple[PitchNumber | None, bool]:
    """The pitch told at the first of these steps that tells one, as met where it is set already; or that it is unknown.

    A pitch step that is ticked keeps what was planned in its numbers.
    """
    for step in steps:
        told = next((number for number in step.numbers if isinstance(number, PitchNumber)), None)
        if told is None:
            continue
        if step.leaves_pitch_unknown:
            return None, True
        if step.met_forward_in is not None and step.is_done:
            return replace(told, forward_in=float(step.met_forward_in), right_in=float(step.met_right_in or 0)), False
        return told, False
    return None, False


def name_prefix(screen: Screen, step: DrillingStep) -> str:
    """Returns what stands before the names of a step's fields: nothing for the reading that the screen is about."""
    return "" if step is screen.reader else f"s{step.position}-"


def _choose_glance(numbers: Iterable[Number]) -> Glance | None:
    """Depth before clock, length, pitch and words; a travel is set in the middle of its window."""
    told = list(numbers)
    lengths = {n.what: n for n in told if isinstance(n, LengthNumber)}
    if least := lengths.get("travel at least"):
        most = lengths["travel at most"]
        stop_in = _choose_stop(least.value_in, most.value_in)
        return Glance("travel", float(stop_in), words=f"{mark_words(least.value_in)} to {mark_words(most.value_in)}")
    first = next((lengths[what] for what in ("depth", "shim", "inside", "inner, outside") if what in lengths), None)
    if first:
        return Glance(first.what, first.value_in, words=first.words)
    for number in told:
        if isinstance(number, ClockNumber):
            says = "unknown" if number.deg is None else clock_words(number.deg).partition(" ")[0]
            return Glance(number.what, None, says, "towards this hour, seen from outside, fingers at 12")
        if isinstance(number, PitchNumber):
            return _glance_at_pitch(number)
        if isinstance(number, LengthNumber):
            return Glance(number.what, number.value_in, words=number.words)
    return None


def _choose_stop(least_in: float, most_in: float) -> Fraction:
    """The 64th nearest to the middle of a window of travel, far from both faults; the middle where none is in it."""
    middle = (least_in + most_in) / 2
    near = nearest_64th(middle)
    return near if least_in - _SAME_IN <= near <= most_in + _SAME_IN else Fraction(middle).limit_denominator(10**4)


def _glance_at_pitch(pitch: PitchNumber) -> Glance:
    """The larger part of a pitch; the dial and the words beside it tell both."""
    if max(abs(pitch.forward_in), abs(pitch.right_in)) < _SAME_IN:
        return Glance("pitch", None, "0", "straight, no pitch")
    if abs(pitch.forward_in) >= abs(pitch.right_in):
        return Glance("pitch", abs(pitch.forward_in), "forward" if pitch.forward_in > 0 else "reverse")
    return Glance("pitch", abs(pitch.right_in), "right" if pitch.right_in > 0 else "left")


def _list_beside(
    numbers: Iterable[Number], glance: Glance | None, is_marked: bool
) -> list[LengthNumber | TextNumber | ClockNumber]:
    """What else is told, each once: neither the bit nor what stands large already."""
    large = {"bit", glance.what if glance else "", *(("travel at least", "travel at most") if glance else ())}
    kept = (n for n in numbers if isinstance(n, LengthNumber | TextNumber | ClockNumber) and n.what not in large)
    return [n for n in dict.fromkeys(kept) if not (is_marked and n.what.startswith("reach of"))]


def _list_met(screen: Screen) -> list[tuple[str, str]]:
    """The depths that are written down at a tap: as planned, and a 64th to either side; empty where none is read."""
    step = screen.reader
    glance = _choose_glance(step.numbers)
    if "depth" not in step.reads or glance is None or glance.value_in is None or glance.what not in ("depth", "travel"):
        return []
    datum = "" if glance.what == "travel" else " collar" if step.action in _AT_THE_BORE else " crown"
    near = nearest_64th(glance.value_in)
    is_on_64th = abs(float(near) - glance.value_in) < _SAME_IN
    planned = plain_fraction(near) if is_on_64th else decimal(glance.value_in)
    around = [(plain_fraction(near - _TICK_IN), "−1/64"), (planned, ""), (plain_fraction(near + _TICK_IN), "+1/64")]
    return [(f"{text}{datum}", label) for text, label in around]


def _list_asked(screen: Screen) -> list[Asked]:
    return [Asked(kind, name_prefix(screen, step) + kind, step) for step in screen.due for kind in step.reads]


def list_lot_choices(screen: Screen, offers: Iterable[Offer], glues: Iterable[Part]) -> list[LotChoice]:
    """Returns what is chosen at a screen: a lot of each part, the proposed one first, and a pack of glue opened."""
    found = []
    for offer in offers:
        first = sorted(offer.lots, key=lambda lot: lot[0].id != offer.proposed_id)
        lots = [(str(part.id), f"{shelf.name_lot(part)}: {count} left") for part, count in first]
        legend = PART_KIND_WORDS[offer.kind].capitalize()
        found.append(LotChoice(name_prefix(screen, offer.step) + "lot", legend, lots, str(offer.proposed_id)))
    glued = next((step for step in screen.due if step.action in GLUES), None)
    packs = [(str(part.id), shelf.name_part(part)) for part in glues] if glued else []
    if glued and packs:
        name = name_prefix(screen, glued) + "opened"
        found.append(LotChoice(name, "Glue pack opened", [("", "none"), *packs], ""))
    return found
