"""Marking strips read back from the drawing operators of their PDF, against geometry that the app does not share."""

import html
import io
import math
import re
from dataclasses import asdict, dataclass, replace

import numpy as np
import pypdf
import pytest
from sqlalchemy.orm import Session

from app.calculation.cuts import SleeveBore
from app.calculation.strips import lay_strips
from app.models import Ball, Bowler
from app.pages import strip_pictures
from app.services import drillings
from tests.calculation.grips import Json
from tests.calculation.reference import ReferenceHole, Sphere, solve
from tests.conftest import Client, not_none
from tests.drawn_fits import random_fits
from tests.pages.drawn import Path, read_drawn

PAPER_MM = 0.1  # how far a laid out length may be from the ball's


def read_strips(paths: list[Path]) -> list[list[float]]:
    """The places of the ticks of each strip: upright lines 2.4 mm long, by the height they stand at, top first."""
    rows: dict[float, set[float]] = {}
    for path in paths:
        if len(path.points) == 2 and path.size[0] < 1e-3 and path.size[1] == pytest.approx(2.4, abs=0.01):
            rows.setdefault(round(float(path.points[0][1]), 1), set()).add(round(float(path.points[0][0]), 4))
    return [sorted(rows[top]) for top in sorted(rows, reverse=True)]


@dataclass
class Truth:
    """The demo's first drilling solved by pyproj and scipy: its holes on the sphere."""

    body: Json

    def __post_init__(self) -> None:
        self.sphere = Sphere(self.body["circumference_in"])
        self.answer = solve(self.body)
        self.at = {n: self.sphere.degrees(p["along_in"], p["across_in"]) for n, p in self.answer["holes"].items()}

    def hole(self, name: str) -> ReferenceHole:
        asked = self.body[name]
        return ReferenceHole(self.sphere, self.at[name], asked["forward_in"], asked["right_in"], name == "thumb")

    def reach(self, name: str, azimuth: float, what: str) -> float:
        """Inches of arc from a hole's centre to an edge of it, by bisection on the distance from a line in space."""
        asked = self.body[name]
        if what == "sleeve":
            return self.hole(name).edge(azimuth, self.body["sleeve_od_in"])
        if what == "cut":
            return self.hole(name).edge(azimuth, asked["cut_in"])
        return self.hole(name).edge(azimuth, asked["hole_in"], asked.get("oval_in", 0.0), asked.get("oval_deg", 0.0))

    def lay(self, start: str, end: str) -> list[float]:
        """Centres and edges along the great circle from one hole to another, inches from the start's centre."""
        whole = self.sphere.arc(self.at[start], self.at[end])[1]
        told: list[float] = []
        for name, other, at, way in ((start, end, 0.0, 1), (end, start, whole, -1)):
            facing = self.sphere.arc(self.at[name], self.at[other])[0]
            told.append(at)
            for what in ("hole", "sleeve" if name == "thumb" else "cut"):
                told.append(at + way * self.reach(name, facing, what))
                told.append(at - way * self.reach(name, facing + 180, what))
        return sorted(told)


@pytest.fixture
def truth(session: Session) -> Truth:
    plan = not_none(drillings.get_drilling(session, 1).plan)
    assert plan.bore
    assert (plan.bore.bore_in, plan.bore.forward_in) == (plan.grip.sleeve_od_in, not_none(plan.grip.thumb).forward_in)
    return Truth(asdict(plan.grip))


@pytest.mark.parametrize(("query", "scale"), [("", 1.0), ("?paper=letter&bar=98.5+mm", 100 / 98.5)])
def test_the_pdfs_lengths_are_the_balls(client: Client, truth: Truth, query: str, scale: float) -> None:
    paths = read_drawn(client.get(f"/drillings/1/strips.pdf{query}").content).paths
    read = read_strips(paths)
    assert len(read) == 4
    for row, (start, end), lines in zip(
        read, (("thumb", "middle"), ("thumb", "ring"), ("middle", "ring")), (2, 2, 1), strict=False
    ):
        told = truth.lay(start, end)
        assert len(row) == len(told) + lines  # the cut line and the midline, or the centre line
        laid = [row[0] + (at - told[0]) * 25.4 * scale for at in told]
        assert max(min(abs(x - tick) for tick in row) for x in laid) < PAPER_MM
    thumb, spans = truth.answer["holes"]["thumb"]["along_in"], truth.answer["spans"]
    half = (spans["middle"]["cut_in"] + spans["ring"]["cut_in"]) / 4
    towards = truth.reach("thumb", 90.0, "sleeve")
    line = [thumb - truth.reach("thumb", 270.0, "sleeve"), thumb, -half, thumb + towards, 0.0]
    line += [truth.answer["holes"][finger]["along_in"] for finger in ("middle", "ring")]
    laid = [read[3][0] + (at - line[0]) * 25.4 * scale for at in line]
    assert max(min(abs(x - tick) for tick in read[3]) for x in laid) < PAPER_MM
    check_disc(paths, truth, scale)
    bars = [path.size[0] for path in paths if len(path.points) == 2 and path.size[0] > 95 and path.points[0][1] > 220]
    assert [100 * scale, 101.6 * scale] == pytest.approx(sorted(bars)[:2], abs=0.01)


def check_disc(paths: list[Path], truth: Truth, scale: float) -> None:
    """Points sampled on the true rims, laid out by hand, lie on the disc's curves."""
    (cross,) = [path for path in paths if path.size == pytest.approx([3, 0], abs=0.01)]
    centre = cross.points.mean(axis=0)
    rims = sorted((path for path in paths if len(path.points) > 100), key=lambda path: float(path.size[0]))
    assert len(rims) == 3  # hole, and a sleeve that fills its bore
    for path, what in zip(rims, ("hole", "sleeve", "sleeve"), strict=True):
        for azimuth in range(0, 360, 12):
            reach = truth.reach("thumb", azimuth, what) * 25.4 * scale
            turn = math.radians(azimuth)  # from the reference's north, which is the ball's right, to the fingers
            true = centre + reach * np.array([math.cos(turn), math.sin(turn)])
            assert find_distance(true, path.points) < PAPER_MM, (what, azimuth)


def find_distance(point: np.ndarray, line: np.ndarray) -> float:
    """Least distance of a point from a closed line."""
    start, step = line, np.roll(line, -1, axis=0) - line
    along = np.einsum("ij,ij->i", point - start, step) / np.maximum(np.einsum("ij,ij->i", step, step), 1e-12)
    nearest = start + np.clip(along, 0, 1)[:, None] * step
    return float(np.linalg.norm(nearest - point, axis=1).min())


def test_each_piece_of_paper_says_whose_it_is(client: Client, session: Session) -> None:
    not_none(session.get(Bowler, 1)).name = "Anna Johnson of " + 12 * "the long name "
    not_none(session.get(Ball, 1)).label = "Blue pearl"
    session.commit()
    pdf = client.get("/drillings/1/strips.pdf?paper=letter").content
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    said = page.extract_text()
    day = not_none(re.search(r"fit A · right · \d{4}-\d\d-\d\d", said))[0]
    assert said.count(day) == 5  # four strips and the disc
    assert said.count("Anna Johnson of the") == 7  # and the title block and the foot of the page
    drawn = np.concatenate([path.points for path in read_drawn(pdf).paths])
    assert drawn.min() >= 8.9
    assert drawn[:, 0].max() <= 215.9 - 8.9


def test_a_short_spans_strip_stays_on_the_page_and_keeps_its_date() -> None:
    identity = ("Somebody with a long name", "A ball with a long name", "fit A · right · 2026-11-26")
    tight = 0
    for solved, _, _ in random_fits(120, seed=3):
        pitch = solved.grip.sleeve_pitch_in
        bore = SleeveBore(1.53125, *pitch, 2.75) if pitch else None
        for scale in (1.0, 1 / 0.95):
            for picture in strip_pictures.draw_strips(lay_strips(solved, bore), scale, identity, {}):
                told = [line.text for line in picture.lines]
                assert picture.width <= 192, picture.words  # between the margins of A4
                assert told[-1].endswith("right · 2026-11-26"), picture.words
                tight += told[-1] != identity[2]
    assert tight > 5


def test_a_left_hand_and_a_grip_without_a_thumb_have_their_strips(client: Client, session: Session) -> None:
    drilling = drillings.get_drilling(session, 1)
    plan = not_none(drilling.plan)
    middle, ring = (replace(finger, span_in=2.0) for finger in plan.grip.fingers.values())
    grip = replace(
        plan.grip, middle=middle, ring=ring, hand="left", thumb=None, sleeve_od_in=None, sleeve_pitch_in=None
    )
    drilling.plan = replace(plan, grip=grip, bore=None, inner=None, system=None, notch_deg=None)
    session.commit()
    page = client.get("/drillings/1/strips").text
    assert "Rim disc about" not in page
    assert "fit A · left · " in page
    named = re.findall(r"aria-label=\"(.+?), inches of arc", page)
    assert named == ["Plus to middle", "Plus to ring", "Middle to ring", "Centre line"]


@pytest.mark.parametrize(("bar", "message"), [
    ("98.5", "inches or mm"), ("89 mm", "more than a tenth off"), ("\"><b>", "no measure that can be read"),
])  # fmt: skip
def test_a_refused_bar_says_so_at_its_field_and_is_kept(client: Client, bar: str, message: str) -> None:
    for url in ("/drillings/1/strips", "/drillings/1/strips.pdf"):
        answer = client.get(url, params={"bar": bar})
        assert answer.status_code == 422
        assert message in not_none(re.search(r'id="bar-error">(.+?)</strong>', answer.text, re.DOTALL))[1]
        typed = not_none(re.search(r'id="bar" name="bar" value="(.*?)" autocomplete', answer.text))[1]
        assert html.unescape(typed) == bar
        assert re.search(r'aria-describedby="bar-help bar-error" aria-invalid="true"', answer.text)
        assert 'href="/drillings/1/strips.pdf?paper=A4"' in answer.text


def test_a_bar_that_was_read_leads_to_the_pdf_with_it(client: Client) -> None:
    page = client.get("/drillings/1/strips", params={"bar": "3 15/16"}).text
    assert "drawn 101.59 %" in page
    assert 'href="/drillings/1/strips.pdf?paper=letter&amp;bar=3%2015/16"' in page
    assert client.get("/drillings/4/strips").status_code == 400  # drilled elsewhere: no plan to print
    assert client.get("/drillings/999/strips").status_code == 404
