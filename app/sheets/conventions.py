"""The conventions of one file: what its numbers mean that the numbers do not say. None is ever taken for granted."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields

from app.closed_sets import BRIDGE_EDGES_WORDS, DATUM_CHOICES, HAND_WORDS, SPAN_EDGES_WORDS

_STYLES = {"conventional": "conventional", "semi-fingertip": "semi-fingertip", "fingertip": "fingertip"}
_AS_HEADED = {"as_headed": "right as they are headed"}
OF_ONE_FILE = {"span_headings", "pitch_headings"}  # said of this file's columns, never of the next one's
CHOICES: dict[str, dict[str, str]] = {
    "span_headings": _AS_HEADED,
    "pitch_headings": _AS_HEADED,
    "hand": dict[str, str](**HAND_WORDS),
    "style": _STYLES,
    "grip_holes": {"three": "a thumb and two fingers", "ask": "ask each row"},
    "span_edges": dict[str, str](**SPAN_EDGES_WORDS),
    "bridge_edges": dict[str, str](**BRIDGE_EDGES_WORDS),
    "first_finger": {"middle": "the middle finger", "ring": "the ring finger"},
    "pitch_order": {"vertical": "forward or reverse first", "lateral": "left or right first"},
    "plain_vertical": {"forward": "forward; a minus is reverse", "reverse": "reverse; a minus is forward"},
    "plain_lateral": {
        "right": "to the right; a minus is left",
        "left": "to the left; a minus is right",
        "under": "under, towards the palm; a minus is away",
        "away": "away from the palm; a minus is under",
    },
    "seen_from": {
        "outside": "looking at the ball with the fingers up",
        "inside": "the other way round, as from inside the ball",
    },
    "empty_pitch": {"straight": "straight: 0", "ask": "ask each row"},
    "datum": dict[str, str](**DATUM_CHOICES),
    "units": {"in": "inches", "mm": "millimetres"},
    "pitch_units": {"in": "inches", "mm": "millimetres", "deg": "degrees"},
    "comma": {"decimal": "a decimal comma", "apart": "two numbers"},
    "date_order": {"day": "the day", "month": "the month"},
    "name_order": {"last_first": "last name, first name", "as_written": "as it stands"},
}
QUESTIONS: dict[str, str] = {
    "span_headings": "Most middle spans are the longer ones: are the columns right? If not, swap them under columns.",
    "pitch_headings": "A pitch goes another way than its column: are they right? If not, swap them under columns.",
    "hand": "Whose hand is it where no hand is written?",
    "style": "Which style is it where none is written?",
    "grip_holes": "Which holes has a grip where the sheet does not say?",
    "span_edges": "Between which edges do the spans go?",
    "bridge_edges": "Between which edges does the bridge go?",
    "first_finger": "Two spans in one cell: which finger comes first?",
    "pitch_order": "Two pitches in one cell without letters: which comes first?",
    "plain_vertical": "A pitch without a letter, or with a plus: which way is it?",
    "plain_lateral": "A lateral without a letter, or with a plus: which way is it?",
    "seen_from": "Left and right: as seen from where?",
    "empty_pitch": "One of forward and lateral is written and the other is empty: what is the empty one?",
    "datum": "From where are depths of the bore measured?",
    "units": "Numbers without a unit: inches or millimetres?",
    "pitch_units": "Pitches as bare decimals: in which unit?",
    "comma": "A comma between figures, as in 4,375: what is it?",
    "date_order": "Dates such as 3/8/2024: what comes first?",
    "name_order": "Names with a comma: in which order?",
}


@dataclass(frozen=True)
class Conventions:
    """What a person said of one file; empty is not said, and then every row that needs it is asked."""

    span_headings: str = ""
    pitch_headings: str = ""
    hand: str = ""
    style: str = ""
    grip_holes: str = ""
    span_edges: str = ""
    bridge_edges: str = ""
    first_finger: str = ""
    pitch_order: str = ""
    plain_vertical: str = ""
    plain_lateral: str = ""
    seen_from: str = ""
    empty_pitch: str = ""
    datum: str = ""
    units: str = ""
    pitch_units: str = ""
    comma: str = ""
    date_order: str = ""
    name_order: str = ""

    def __post_init__(self) -> None:
        for of in fields(self):
            value = getattr(self, of.name)
            if value and value not in CHOICES[of.name]:
                raise ValueError(f"{of.name} cannot be {value!r}")

    def to_json(self) -> dict[str, str]:
        return asdict(self)

    @classmethod
    def from_json(cls, held: Mapping[str, object]) -> "Conventions":
        """Rebuilds it; ValueError for a value or a name that there is not."""
        if unknown := set(held) - {of.name for of in fields(cls)}:
            raise ValueError(f"no convention {sorted(unknown)}")
        return cls(**{name: str(value) for name, value in held.items()})


@dataclass(frozen=True)
class Need:
    """A convention that must be asked for a file: its question, choices, and cells of the file that need it."""

    name: str
    question: str
    choices: tuple[tuple[str, str], ...]
    examples: tuple[str, ...]


def make_need(name: str, examples: tuple[str, ...]) -> Need:
    return Need(name, QUESTIONS[name], tuple(CHOICES[name].items()), examples)
