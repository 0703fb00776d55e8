"""Marking strips read back from any PDF, a browser's too, as points along each."""

import io
from itertools import pairwise

import pypdf
import pytest

from tests.pages.drawn import read_drawn

POINTS, MM = 72, 25.4  # an inch
TICK_MM, UP_MM = 1.2, 18.8  # of a strip's lower edge, and how far the upper one is above it
LONGEST_IN = 6.5  # of one piece on A4


def measure_strips(pdf: bytes) -> list[list[float]]:
    """The ticks of each strip of a PDF, points from its first one: upright lines of 1.2 mm along the lower edge.

    A browser draws dashes as slender boxes, so that the upper edge, 18.8 mm higher, has some of 1.2 mm too.
    """
    found = []
    for sheet in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        single = io.BytesIO()
        writer = pypdf.PdfWriter()
        writer.add_page(sheet)
        writer.write(single)
        rows: list[tuple[float, list[float]]] = []
        for path in sorted(read_drawn(single.getvalue()).paths, key=lambda path: -float(path.points[0][1])):
            if len(path.points) <= 5 and path.size[0] < 0.4 and path.size[1] == pytest.approx(TICK_MM, abs=0.01):
                x, y = (float(path.points[:, i].min() + path.size[i] / 2) for i in (0, 1))
                if not rows or rows[-1][0] - y > 0.1:
                    rows.append((y, []))
                rows[-1][1].append(x)
        tops = [y for y, _ in rows]
        found += [sorted(row) for y, row in rows if not any(abs(y - UP_MM - low) < 0.1 for low in tops)]
    return [[(at - row[0]) / MM * POINTS for at in row] for row in found]


def join(rows: list[list[float]], whole: float) -> float:
    """How long the first strip is: one row, or pieces of paper laid over each other where their ticks agree."""
    first = rows.pop(0)
    if whole <= LONGEST_IN * POINTS:
        return first[-1]
    second = rows.pop(0)
    gaps = [[b - a for a, b in pairwise(row)] for row in (first, second)]
    shared = next(
        k for k in range(len(gaps[1]), -1, -1) if k == 0 or gaps[0][-k:] == pytest.approx(gaps[1][:k], abs=0.2)
    )
    return first[-1] + second[-1] - sum(gaps[1][:shared])
