"""What came of a row: the fields of the forms, every cell as typed, as read and in words, and what must be asked."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Literal

from app.sheets.parts import Part, PartState

Outcome = Literal["taken", "asked", "refused"]


@dataclass(frozen=True)
class CellReading:
    """One cell that is taken in: as typed, as read in the app's own writing, and read back in words."""

    column: int
    field: str
    as_typed: str
    as_read: str
    words: str
    state: PartState
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """What must be asked of a row. An answer under its `field` is a choice, or any text of the app's own writing."""

    field: str
    message: str
    choices: tuple[str, ...] = ()
    as_typed: str = ""


@dataclass(frozen=True)
class RowReading:
    """A row as taken, asked or refused. `bowler` and `fit` have the names and texts of the forms' fields.

    `beside` is what belongs to no such form: the day of the fit, the ball, hardware as written. `fit` is empty when the
    row says nothing of a fit. `words` reads each field back.
    """

    number: int
    outcome: Outcome
    reason: str = ""
    bowler: dict[str, str] = field(default_factory=dict)
    fit: dict[str, str] = field(default_factory=dict)
    beside: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    cells: tuple[CellReading, ...] = ()
    questions: tuple[Question, ...] = ()
    told: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        return asdict(self)


@dataclass
class Draft:
    """Collects what a row says while it is read."""

    answers: Mapping[str, str]
    parts: dict[str, Part] = field(default_factory=dict)
    bowler: dict[str, str] = field(default_factory=dict)
    fit: dict[str, str] = field(default_factory=dict)
    beside: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    cells: list[CellReading] = field(default_factory=list)
    questions: dict[str, Question] = field(default_factory=dict)
    kept: list[str] = field(default_factory=list)

    def ask(self, name: str, message: str, choices: tuple[str, ...] = (), as_typed: str = "") -> None:
        """Asks once a field; an answered one is not asked again."""
        if name not in self.questions:
            self.questions[name] = Question(name, message, choices, as_typed)

    def take(self, name: str, part: Part) -> Part:
        """Returns the part as answered; asks it if it is still a question."""
        answer = self.answers.get(name)
        if answer is not None and part.state in {"ask", "absent", "value", "unknown"}:
            state: PartState = "unknown" if answer == "unknown" else "value" if answer else "absent"
            part = Part(part.as_typed, state, answer, answer)
        elif part.state == "ask":
            self.ask(name, part.message, part.choices, part.as_typed)
        return part
