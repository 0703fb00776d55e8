"""Puts the parts of a row together into the fields of the app's form of a fit."""

from collections.abc import Iterator

from app.closed_sets import DIGITS, DIGITS_OF
from app.measures.lengths import read_length
from app.measures.reading import SPAN
from app.sheets.absent_holes import WITHOUT, settle_absent
from app.sheets.cells import Cell
from app.sheets.conventions import CHOICES, QUESTIONS, Conventions
from app.sheets.fields import BESIDE_FIELDS, FIELDS
from app.sheets.grips import HOLES, STYLES, join_oval, write_pair
from app.sheets.parts import ABSENT, Part, describe
from app.sheets.pitch_pairs import join_pitch, tell_pitch
from app.sheets.readings import Draft

_SWAPPABLE = {"span", "hole", "pitch", "vertical", "lateral", "bridge"}


def fill_fit(draft: Draft, conventions: Conventions) -> None:
    """Fills the draft's fit and what goes beside it from its parts, asking what they leave open."""
    _ask_about_swapped(draft)
    for name in BESIDE_FIELDS:
        part = draft.parts.get(name, ABSENT)
        if part.as_read:
            draft.beside[name], draft.words[name] = part.as_read, part.words
    _settle_datum(draft, conventions)
    if not any(p.state != "absent" for n, p in draft.parts.items() if n not in BESIDE_FIELDS):
        return
    hand = draft.bowler.get("hand", "")
    draft.fit["hand"] = hand
    holes = _settle_holes(draft, conventions)
    _settle_style(draft, conventions)
    _fill_spans(draft, conventions, holes)
    for digit in DIGITS:
        if digit in DIGITS_OF[holes] or draft_has(draft, digit):
            _fill_hole(draft, conventions, digit, hand)
    _fill_rest(draft, conventions, holes)
    _check_measures(draft, hand)


_CHECKED = {"hole": "oval", "cut": "hole", "pitch": "pitch", "depth": "depth", "offset": "offset", "lift": "towards"}


def _check_measures(draft: Draft, hand: str) -> None:
    """Asks about every measure that the form would refuse, such as an answer that cannot be."""
    for name, text in draft.fit.items():
        digit, _, part = name.partition("_")
        kind = "bridge" if name == "bridge" else _CHECKED.get(part, "") if digit in DIGITS else ""
        reading = describe(kind, text, hand, digit).reading if kind else None
        if reading is not None and not reading.is_usable:
            draft.ask(name, reading.message, reading.choices, text)


def draft_has(draft: Draft, digit: str) -> bool:
    """Whether any cell of the row says something of a digit's hole or span."""
    return any(p.state != "absent" for n, p in draft.parts.items() if FIELDS[n].hole == digit)


def _settle_datum(draft: Draft, conventions: Conventions) -> None:
    text = draft.beside.get("bore_depth")
    if not text:
        return
    named = dict(describe("written_depth", text).exact).get("datum", "")
    datum = draft.answers.get("bore_datum") or named or conventions.datum
    if datum:
        draft.beside["bore_datum"] = datum
    else:
        draft.ask("bore_datum", QUESTIONS["datum"], tuple(CHOICES["datum"]), text)


def _settle_holes(draft: Draft, conventions: Conventions) -> str:
    """Returns the holes of the grip: as written, three where all have cells, else as the file has it, or asked."""
    without, doubted = settle_absent(draft)
    part = draft.take("grip_holes", draft.parts.get("grip_holes", ABSENT))
    has_pair = draft.parts.get("spans", ABSENT).state != "absent"
    missing = [d for d in DIGITS if not draft_has(draft, d) and not (has_pair and d != "thumb")]
    if part.state == "value" and part.as_read in HOLES:
        holes = part.as_read
        if "grip_holes" not in draft.answers and (doubted or without not in {"", holes}):
            draft.ask(
                "grip_holes",
                "The cells of a hole say that there is none.",
                tuple(filter(None, (without or WITHOUT[doubted], holes))),
            )
    elif without:
        holes = without
    elif doubted:
        holes = "three"
        message = f"Is there no hole for the {doubted}, or is it unknown?"
        draft.ask("grip_holes", message, (WITHOUT[doubted], "three"))
    elif not missing or conventions.grip_holes == "three" or part.state == "ask":
        holes = "three"
    else:
        holes = "three"
        likely = WITHOUT[missing[0]]
        named = " and ".join(missing)
        draft.ask("grip_holes", f"Nothing is written of the {named}. Which holes has this grip?", ("three", likely))
    draft.fit["grip_holes"] = holes
    return holes


def _settle_style(draft: Draft, conventions: Conventions) -> None:
    part = draft.take("style", draft.parts.get("style", ABSENT))
    style = part.as_read or conventions.style
    if style:
        draft.fit["style"] = style
    elif part.state != "ask":
        draft.ask("style", QUESTIONS["style"], STYLES)


# Spans --------------------------------------------------------------------------------------------------------


def _fill_spans(draft: Draft, conventions: Conventions, holes: str) -> None:
    part = _join_spans(draft, holes)
    if part.state == "ask" and any(n in draft.questions for n in ("span_middle", "span_ring")):
        return
    part = draft.take("spans", part)
    draft.fit["spans"] = part.as_read
    if part.state == "value":
        told = describe("span_pair", part.as_read, holes=holes)
        if told.reading.state != "value":
            draft.ask("spans", told.reading.message, told.reading.choices, part.as_typed)
        draft.words["spans"] = told.words
    _settle_edges(draft, conventions, part, holes)


def _join_spans(draft: Draft, holes: str) -> Part:
    """Returns the spans of one cell for both, or of a cell each."""
    pair = draft.parts.get("spans", ABSENT)
    middle, ring = (draft.parts.get(f"span_{finger}", ABSENT) for finger in ("middle", "ring"))
    if pair.state != "absent":
        if "value" in {middle.state, ring.state}:
            return Part(
                pair.as_typed, "ask", message="Two columns give the spans. Which is meant?", choices=(pair.as_read,)
            )
        return pair
    return _join_two_spans(middle, ring, holes)


def _join_two_spans(middle: Part, ring: Part, holes: str) -> Part:
    states = {middle.state, ring.state}
    typed = " | ".join(p.as_typed for p in (middle, ring) if p.as_typed)
    if "ask" in states:
        return Part(typed, "ask")
    if states <= {"absent", "unknown"}:
        return Part(typed, "unknown", "unknown", "unknown") if "unknown" in states else ABSENT
    if states == {"value"}:
        return _check_spans(f"middle {middle.as_read}, ring {ring.as_read}", typed)
    known, finger = (middle, "middle") if middle.state == "value" else (ring, "ring")
    if holes == f"thumb_{finger}":
        return Part(typed, "value", known.as_read, known.words)
    other = "ring" if finger == "middle" else "middle"
    message = f"The span to the {other} finger is {'unknown' if 'unknown' in states else 'not written'}."
    return Part(typed, "ask", message=message, choices=(f"both {known.as_read}", "unknown"))


def _check_spans(text: str, typed: str) -> Part:
    reading = describe("span_pair", text).reading
    if reading.value is None:
        return Part(typed, "ask", message=reading.message, choices=reading.choices)
    doubts = [w for w in reading.warnings if w.startswith("Unusual")]
    if doubts:
        return Part(typed, "ask", message=doubts[0], choices=(write_pair(reading.value, text),))
    return Part(typed, "value", text)


def _settle_edges(draft: Draft, conventions: Conventions, spans: Part, holes: str) -> None:
    """Takes the edges that the cell of the spans names, those of their own column, or the file's."""
    part = draft.take("span_edges", draft.parts.get("span_edges", ABSENT))
    named = dict(describe("span_pair", spans.as_read, holes=holes).exact).get("edges", "") if spans.as_read else ""
    if named and part.state == "value" and part.as_read not in {named, "unknown"}:
        draft.ask("span_edges", "Two cells name different edges of the spans.", (named, part.as_read))
    edges = part.as_read if part.state == "value" else named or conventions.span_edges
    if spans.state not in {"value", "ask"}:
        edges = edges if part.state == "value" else "unknown"
    if edges:
        draft.fit["span_edges"] = edges
    elif part.state != "ask":
        draft.ask("span_edges", QUESTIONS["span_edges"], tuple(CHOICES["span_edges"]))


# Holes --------------------------------------------------------------------------------------------------------


def _fill_hole(draft: Draft, conventions: Conventions, digit: str, hand: str) -> None:
    parts = draft.parts
    hole, oval = parts.get(f"{digit}_hole", ABSENT), parts.get(f"{digit}_oval", ABSENT)
    if oval.state != "absent" and f"{digit}_hole" not in draft.answers:
        hole = draft.take(
            f"{digit}_hole", join_oval(Cell(f"{hole.as_typed} | {oval.as_typed}", "text"), hole, oval, conventions)
        )
    _put(draft, f"{digit}_hole", hole)
    _put(draft, f"{digit}_pitch", _find_pitch(draft, conventions, digit, hand))
    for name in (f"{digit}_cut", f"{digit}_lift", f"{digit}_depth", f"{digit}_offset"):
        if name in parts:
            _put(draft, name, parts[name])


def _find_pitch(draft: Draft, conventions: Conventions, digit: str, hand: str) -> Part:
    """Returns the pitch of one cell for both ways, or of a cell each; parts that are asked leave it open."""
    name = f"{digit}_pitch"
    both = draft.parts.get(name, ABSENT)
    ahead, across = (draft.parts.get(f"{digit}_{way}", ABSENT) for way in ("forward", "lateral"))
    if name in draft.answers:
        both = draft.take(name, both)
        return tell_pitch(Cell(both.as_typed, "text"), both.as_read, (hand, digit)) if both.state == "value" else both
    if ahead.state == across.state == "absent":
        return both
    if both.state != "absent":
        return draft.take(
            name, Part(both.as_typed, "ask", message="Several columns give this pitch.", choices=(both.as_read,))
        )
    if "ask" in {ahead.state, across.state}:
        return Part("", "ask")
    cell = Cell(f"{ahead.as_typed} | {across.as_typed}", "text")
    return draft.take(name, join_pitch(cell, [ahead], [across], conventions, (hand, digit)))


def _put(draft: Draft, name: str, part: Part) -> None:
    """Puts a measure in its field of the form; what is asked stays open."""
    if part.state in {"value", "unknown"}:
        draft.fit[name], draft.words[name] = part.as_read, part.words


def _fill_rest(draft: Draft, conventions: Conventions, holes: str) -> None:
    bridge = draft.parts.get("bridge", ABSENT)
    _put(draft, "bridge", bridge)
    notes = draft.parts.get("hand_notes", ABSENT)
    if notes.state == "value":
        draft.fit["hand_notes"] = notes.as_read
    if len(DIGITS_OF[holes]) == 2 and holes != "thumbless":
        draft.fit["bridge_edges"] = ""
    elif bridge.state == "value":
        written = draft.parts.get("bridge_edges", ABSENT).as_read
        edges = draft.answers.get("bridge_edges") or written or conventions.bridge_edges
        if edges in CHOICES["bridge_edges"]:
            draft.fit["bridge_edges"] = edges
        else:
            draft.ask("bridge_edges", QUESTIONS["bridge_edges"], tuple(CHOICES["bridge_edges"]))
    else:
        draft.fit["bridge_edges"] = "unknown"


# Swapped columns ------------------------------------------------------------------------------------------------


def _list_asked(draft: Draft) -> Iterator[str]:
    for name in draft.questions:
        if name in FIELDS and FIELDS[name].kind in _SWAPPABLE and draft.parts.get(name, ABSENT).state == "ask":
            yield name


def _ask_about_swapped(draft: Draft) -> None:
    """Offers for two asked cells, each of which fits the other's column, that they were swapped."""
    asked = list(_list_asked(draft))
    for one in asked:
        for other in asked:
            mine, theirs = draft.parts[one].as_typed, draft.parts[other].as_typed
            if (
                one == other
                or FIELDS[one].kind == FIELDS[other].kind
                or not _fits(one, theirs)
                or not _fits(other, mine)
            ):
                continue
            old = draft.questions.pop(one)
            message = f"{old.message} It may be swapped with “{FIELDS[other].words}”."
            offered = (theirs,) if FIELDS[one].kind in {"span", "hole", "bridge"} else ()
            draft.ask(one, message, (*offered, *old.choices), mine)
            break


def _fits(name: str, text: str) -> bool:
    kind = FIELDS[name].kind
    if kind == "span":
        return read_length(text, SPAN).state == "value"
    measure = {"hole": "hole", "bridge": "bridge"}.get(kind, "oval_width")
    reading = describe(measure, text).reading
    return reading.state == "value" and not any(w.startswith("Unusual") for w in reading.warnings)
