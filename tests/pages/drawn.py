"""What a PDF draws, read from its operators with every matrix applied (ISO 32000-1, 8.3 to 8.10 and 9.4)."""

import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import SupportsFloat, cast

import numpy as np
import pypdf
from pypdf.generic import ContentStream, DictionaryObject, StreamObject

PT_MM = 25.4 / 72
_ENDS = (b"h", b"S", b"s", b"f", b"B", b"n", b"f*", b"B*")  # a path is closed, painted or dropped


@dataclass
class Path:
    """A path in millimetres from the page's lower left corner."""

    points: np.ndarray

    @property
    def size(self) -> np.ndarray:
        return np.asarray(np.ptp(self.points, axis=0))


@dataclass
class Drawn:
    """The paths of a document and the sizes of its texts, points."""

    paths: list[Path] = field(default_factory=list)
    letters: list[float] = field(default_factory=list)


def read_drawn(pdf: bytes) -> Drawn:
    drawn = Drawn()
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    for page in reader.pages:
        resources = cast(DictionaryObject, page["/Resources"])
        _Stream(drawn, resources, reader, np.eye(3)).run(ContentStream(page.get_contents(), reader))
    return drawn


class _Stream:
    """One content stream: its graphics state, and the path that it is building."""

    def __init__(self, drawn: Drawn, resources: DictionaryObject, reader: pypdf.PdfReader, matrix: np.ndarray) -> None:
        self.drawn, self.resources, self.reader, self.matrix = drawn, resources, reader, matrix
        self.saved: list[np.ndarray] = []
        self.path: list[tuple[float, float]] = []
        self.size, self.text = 0.0, np.eye(3)

    def run(self, content: ContentStream) -> None:
        for operands, operator in content.operations:
            if operator == b"q":
                self.saved.append(self.matrix)
            elif operator == b"Q":
                self.matrix = self.saved.pop()
            elif operator == b"cm":
                self.matrix = _to_matrix(operands) @ self.matrix
            elif operator == b"Do":
                objects = cast(DictionaryObject, self.resources["/XObject"])
                self.draw(cast(StreamObject, objects[operands[0]]))
            else:
                self.trace(operands, operator)
                self.write(operands, operator)

    def draw(self, form: StreamObject) -> None:
        if form.get("/Subtype") == "/Form":
            matrix = _to_matrix(form.get("/Matrix", (1, 0, 0, 1, 0, 0))) @ self.matrix
            inner = _Stream(self.drawn, form.get("/Resources", self.resources), self.reader, matrix)
            inner.run(ContentStream(form, self.reader))

    def trace(self, operands: Sequence[SupportsFloat], operator: bytes) -> None:
        if operator == b"m" or operator in _ENDS:
            if len(self.path) > 1:
                self.drawn.paths.append(Path(np.array(self.path)))
            self.path = []
        if operator in (b"m", b"l", b"c"):
            x, y = float(operands[-2]), float(operands[-1])
            right, up, _ = np.array([x, y, 1]) @ self.matrix * PT_MM
            self.path.append((right, up))

    def write(self, operands: Sequence[SupportsFloat], operator: bytes) -> None:
        if operator == b"BT":
            self.text = np.eye(3)
        elif operator == b"Tf":
            self.size = float(operands[1])
        elif operator == b"Tm":
            self.text = _to_matrix(operands)
        elif operator in (b"Tj", b"TJ"):
            across, up, _ = np.array([0, 1, 0]) @ self.text @ self.matrix
            self.drawn.letters.append(self.size * math.hypot(across, up))


def _to_matrix(six: Iterable[SupportsFloat]) -> np.ndarray:
    a, b, c, d, e, f = map(float, six)
    return np.array([[a, b, 0], [c, d, 0], [e, f, 1]])
