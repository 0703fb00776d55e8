"""What a column can be: the fields of a sheet, with the form's field that each one feeds."""

from dataclasses import dataclass
from typing import Literal

from app.closed_sets import DIGITS

FieldKind = Literal[
    "person", "phone", "hand", "note", "date", "style", "holes", "edges", "pair", "span", "bridge", "hole", "oval",
    "pitch", "vertical", "lateral", "offset", "depth", "label", "weight", "axis_point",
    "towards",
]  # fmt: skip


@dataclass(frozen=True)
class SheetField:
    """A field of a sheet: its kind, its words, and the field of a form (or of what goes beside it) that it feeds."""

    kind: FieldKind
    words: str
    feeds: str
    hole: str = ""


def _list_of_hole(digit: str) -> dict[str, SheetField]:
    named = f"{digit} finger" if digit != "thumb" else digit
    return {
        f"{digit}_hole": SheetField("hole", f"{named}: hole size", f"{digit}_hole", digit),
        f"{digit}_oval": SheetField("oval", f"{named}: oval", f"{digit}_hole", digit),
        f"{digit}_pitch": SheetField("pitch", f"{named}: pitch, both ways", f"{digit}_pitch", digit),
        f"{digit}_forward": SheetField("vertical", f"{named}: forward or reverse", f"{digit}_pitch", digit),
        f"{digit}_lateral": SheetField("lateral", f"{named}: lateral", f"{digit}_pitch", digit),
    }


def _list_of_finger(digit: str) -> dict[str, SheetField]:
    return {
        f"span_{digit}": SheetField("span", f"span to the {digit} finger", "spans", digit),
        f"{digit}_cut": SheetField("hole", f"{digit} finger: bore for the insert", f"{digit}_cut", digit),
        f"{digit}_depth": SheetField("depth", f"{digit} finger: depth", f"{digit}_depth", digit),
        f"{digit}_lift": SheetField("towards", f"{digit} finger: lift of the insert", f"{digit}_lift", digit),
        f"{digit}_insert": SheetField("label", f"{digit} finger: insert", f"{digit}_insert", digit),
    }


FIELDS: dict[str, SheetField] = {
    "name": SheetField("person", "name", "name"),
    "first_name": SheetField("person", "first name", "name"),
    "last_name": SheetField("person", "last name", "name"),
    "phone": SheetField("phone", "phone", "phone"),
    "hand": SheetField("hand", "hand", "hand"),
    "league": SheetField("note", "league or club", "league"),
    "guardian": SheetField("note", "guardian", "guardian"),
    "notes": SheetField("note", "notes on the bowler", "notes"),
    "hand_notes": SheetField("note", "notes on the fit", "hand_notes"),
    "fit_date": SheetField("date", "date of the fit", "fit_date"),
    "style": SheetField("style", "style of grip", "style"),
    "grip_holes": SheetField("holes", "holes of the grip", "grip_holes"),
    "spans": SheetField("pair", "both spans", "spans"),
    "span_edges": SheetField("edges", "edges of the spans", "span_edges"),
    "bridge": SheetField("bridge", "bridge", "bridge"),
    "bridge_edges": SheetField("edges", "edges of the bridge", "bridge_edges"),
    **{name: of for digit in DIGITS for name, of in _list_of_hole(digit).items()},
    **{name: of for digit in ("middle", "ring") for name, of in _list_of_finger(digit).items()},
    "thumb_offset": SheetField("offset", "thumb off the centre line", "thumb_offset", "thumb"),
    "inserts": SheetField("label", "finger inserts, both", "inserts"),
    "system": SheetField("label", "thumb hardware: inner and sleeve", "system"),
    "bore_depth": SheetField("depth", "depth of the thumb's bore", "bore_depth", "thumb"),
    "ball_label": SheetField("label", "ball", "ball_label"),
    "ball_serial": SheetField("label", "serial number of the ball", "ball_serial"),
    "ball_weight": SheetField("weight", "weight of the ball", "ball_weight"),
    "axis_point": SheetField("axis_point", "axis point", "axis_point"),
    "number": SheetField("label", "the sheet's own number", "number"),
}
BOWLER_FIELDS = ("name", "phone", "hand", "league", "notes", "guardian")
BESIDE_FIELDS = (
    "fit_date", "middle_insert", "ring_insert", "inserts", "system", "bore_depth", "bore_datum",
    "ball_label", "ball_serial", "ball_weight", "axis_point", "number",
)  # fmt: skip
