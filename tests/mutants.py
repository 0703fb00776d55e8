"""Small faults put into the code one at a time: the tests of the faulty module must fail for nearly all of them.

    python -m tests.mutants [--mutants 200] [--seed 1] [--only calculation/bores] [--named]

Each mutant changes one operator, comparison, number or function name of one function. No file is ever changed: app,
tests and demo shop are loaded once; each mutant is a forked process in which the function gets the faulty code. It
runs those tests of the module that call the function, quickest first, until one fails. One run without a fault tells
which those are. Printed at the end: every survivor with its place, the share killed and how many were left out as
equal to the code; below 95 % the exit code is 1.
"""

import argparse
import contextlib
import functools
import os
import random
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from types import CodeType, FrameType

import pytest

from tests import conftest
from tests.faults import ROOT, TABLE, Mutant, forget, mutants_of, named_mutant, put_in, take_few_examples

LIMIT_S = 60  # of processor time; a mutant whose tests run longer, or ten times that by the clock, counts as killed
NOT_PUT_IN = 3  # exit code
LEAST_SHARE = 0.95
OPTIONS = ("-o", "addopts=", "-p", "no:cacheprovider", "-s", "-W", "ignore::pytest.PytestAssertRewriteWarning")

# the modules that make numbers; their tests are found by name, and are these where a file speaks for several modules
CALCULATION = sorted(path.stem for path in (ROOT / "app/calculation").glob("[a-z]*.py"))
MEASURES = sorted(path.stem for path in (ROOT / "app/measures").glob("[a-z]*.py"))
SERVICES = (
    "bench", "bench_paper", "bits", "checks", "depths", "differences", "grips", "loose_inners", "mark_numbers", "measurements", "plans",
    "routes", "shop_limits", "step_numbers", "target_depths", "inner_grids", "inners_in_bores", "transfers", "trial_fits", "unsettled", "work_outs",
)  # fmt: skip
MODULES = (
    *(f"calculation/{name}" for name in CALCULATION),
    *(f"measures/{name}" for name in MEASURES),
    *(f"services/{name}" for name in SERVICES),
)
ALSO = {
    "calculation/gauges": ("calculation/test_charts.py",),
    "calculation/grip_solver": ("calculation/test_grip.py", "calculation/test_fewer_holes.py"),
    "calculation/holes": (
        "calculation/test_fewer_holes.py",
        "calculation/test_grip.py",
        "calculation/test_old_holes.py",
        "calculation/test_sections.py",
    ),
    "calculation/spans": ("calculation/test_fewer_holes.py", "calculation/test_grip.py"),
    "calculation/sphere": ("calculation/test_grip.py",),
    "calculation/inners": ("calculation/test_bores.py",),
    "calculation/tolerances": ("calculation/test_depths.py",),
    "calculation/trims": ("calculation/test_rim_diagnosis.py", "services/test_inner_grids.py"),
    "calculation/triangles": (
        "calculation/test_fewer_holes.py",
        "calculation/test_grip.py",
        "calculation/test_marking.py",
        "calculation/test_strips.py",
    ),
    "calculation/units": ("calculation/test_sphere.py",),
    "calculation/verdict_rates": ("services/test_shop_limits.py",),
    # one text passes several modules: every test of measures speaks for each of them
    **{
        f"measures/{name}": tuple(
            f"measures/{path.name}" for path in sorted((ROOT / "tests/measures").glob("test_*.py"))
        )
        for name in MEASURES
    },
    "measures/divisions": ("calculation/test_loose.py",),
    "services/bench": (
        "services/test_bench_screens.py",
        "services/test_bench_stops.py",
        "services/test_owned_inners.py",
    ),
    "services/checks": ("services/test_fewer_holes.py", "services/test_work_outs.py"),
    "services/depths": ("services/test_inners_in_bores.py", "services/test_trial_fits.py", "services/test_visitors.py"),
    "services/differences": ("services/test_transfers.py",),
    "services/grips": ("services/test_fits.py", "services/test_measurements.py", "services/test_plans.py"),
    "services/inners_in_bores": (
        "services/test_inner_grids.py",
        "services/test_unsettled.py",
        "services/test_visitors.py",
    ),
    "services/measurements": ("services/test_drillings.py", "services/test_fewer_holes.py"),
    "services/plans": (
        "services/test_bench.py",
        "services/test_checks.py",
        "services/test_fewer_holes.py",
        "services/test_work_outs.py",
    ),
    "services/routes": ("services/test_bench.py", "services/test_fewer_holes.py"),
    "services/shop_limits": ("services/test_studies.py",),
    "services/step_numbers": ("services/test_bench.py", "services/test_routes.py"),
    "services/target_depths": ("services/test_plans.py", "services/test_visitors.py"),
    "services/transfers": ("services/test_inners_in_bores.py",),
    "services/trial_fits": ("services/test_visitors.py",),
    "services/unsettled": ("services/test_visitors.py",),
    "services/work_outs": (
        "services/test_checks.py",
        "services/test_fewer_holes.py",
        "services/test_measurements.py",
        "services/test_plans.py",
        "services/test_routes.py",
    ),
}

# what is too long to run once a mutant: pages, and these with solids or many balls
LONG_FIXTURES = {"count_queries"}
LONG = {
    "test_depth_and_pitch_are_recovered_within_their_stated_intervals",
    "test_intervals_hold_what_they_promise",
    "test_intervals_hold_where_every_reading_is_known_differently",
    "test_solids_rebuilt_from_the_printed_page_have_the_spans_the_bridge_and_the_pitches",
    "test_the_bench_tells_the_same_edges_and_moves_on_every_kind_of_hardware",
    "test_the_least_wall_agrees_with_the_gap_between_solids",
    "test_trial_fits_saved_before_freedom_was_kept_get_what_their_readings_had",
    "test_volumes_and_moments_agree_with_solids",
    "test_webs_agree_with_solids",
}

# (module, line of source, change): why no test can tell the two apart
EQUIVALENT: dict[tuple[str, str, str], str] = {
    (m, text, words): reason
    for m, reason, text, changes in (
        ("services/depths", "whether there is one", "return session.scalar(same.limit(1)) is not None", ("1 → 2",)),
        ("calculation/as_cut", "a grip has both, the thumb's axis and its hole, or neither", "if solved.thumb is None or solved.grip.thumb is None or cut.thumb is None:", ("Or → And",)),
        ("calculation/as_cut", "a grip has both, the thumb's axis and its hole, or neither", "hole = edge_angle(axis, outwards, thumb.hole_in, thumb.oval_in, thumb.oval_deg) if axis and thumb else 0.0", ("And → Or",)),
        ("calculation/ball_marks", "one arc is read or all three: two are refused before", "if len(names) > 1:", ("1 → 2",)),
        ("calculation/ball_marks", "both ways are taken", "ends = [find({**means, name: means[name] + way * u_in}) for way in (1, -1)]", ("Add → Sub",)),
        ("calculation/depths", "a shorter step of Newton's comes to the same place", "t, peak = student_factor(math.inf, coverage), mpmath.beta(half, 0.5) * math.sqrt(degrees_of_freedom)", ("0.5 → 0.75",)),
        ("calculation/depths", "a shorter step of Newton's comes to the same place", "step = float(over * peak * x ** -(half + 0.5) / 2)", ("2 → 3",)),
        ("calculation/fewer_holes", "where a search starts", "across = (bridge_in + middle.cut_in) / 2", ("Add → Sub", "Div → Mult", "2 → 3")),
        ("calculation/fewer_holes", "where a search starts", "place(middle.span_in + middle.cut_in / 2, side * across, radius),", ("Add → Sub", "Div → Mult", "2 → 3", "Mult → Div")),
        ("calculation/fewer_holes", "where a search starts", "place(ring.span_in + ring.cut_in / 2, -side * across, radius),", ("Add → Sub", "Div → Mult", "2 → 3", "Mult → Div")),
        ("calculation/fewer_holes", "where a search starts", "alongs = (-finger.span_in / 2 - thumb.hole_in / 2, finger.span_in / 2 + finger.cut_in / 2)", ("Add → Sub", "Sub → Add", "Div → Mult", "2 → 3", "USub → UAdd")),
        ("calculation/fewer_holes", "nothing is missing where the search comes to rest", "cut_span = spans.cut_in + missing", ("Add → Sub",)),
        ("calculation/fewer_holes", "no edge hangs on where along the line its hole stands, so the second round moves neither", "shift = max(abs(a - b) for a, b in zip(alongs, moved, strict=True)) / radius", ("max → min", "Div → Mult")),
        ("calculation/grip", "both ways are taken", "ends = (math.hypot(self.lift_in + way * half * math.cos(turn), half * math.sin(turn)) for way in (-1, 1))", ("Add → Sub",)),
        ("calculation/grip_solver", "where a search starts", "thumb = place(-half - grip.thumb.hole_in / 2, grip.thumb.offset_in, radius)", ("Sub → Add", "Div → Mult", "2 → 3", "USub → UAdd")),
        ("calculation/grip_solver", "where a search starts", "half = (grip.middle.span_in + grip.ring.span_in) / 4", ("Add → Sub", "Div → Mult", "4 → 5")),
        ("calculation/grip_solver", "where a search starts", "across = (grip.bridge_in + grip.middle.cut_in) / 2", ("Add → Sub", "Div → Mult", "2 → 3")),
        ("calculation/grip_solver", "where a search starts", "finger_along = half + grip.middle.cut_in / 2", ("Add → Sub", "Div → Mult", "2 → 3")),
        ("calculation/grip_solver", "where a search starts", "return thumb, place(finger_along, side * across, radius), place(finger_along, -side * across, radius)", ("Mult → Div",)),
        ("calculation/holes", "one round more of a search that has come to rest", "for _ in range(50):", ("50 → 51",)),
        ("calculation/holes", "a bracket of 1e-13 radians either way", "while high - low > _EDGE_TOLERANCE * 10:", ("10 → 11",)),
        ("calculation/holes", "the bracket of a root, which is widened until it holds it", "high = low + (r + sweep) / big", ("Add → Sub",)),
        ("calculation/loose", "a line more of cofactors that nobody reads", "for i in range(3)", ("3 → 4",)),
        ("calculation/loose", "a line more of cofactors that nobody reads", "for j in range(3)", ("3 → 4",)),
        ("calculation/loose", "where a search starts", "x = [sum(heights_in) / 4, 0.0, 0.0]", ("Div → Mult", "4 → 5")),
        ("calculation/loose", "a row more that the inverse does not read", "inverse = _inverse(_normal([_slope(rim, x, here, i) for i in range(3)]))", ("3 → 4",)),
        ("calculation/loose", "the rim of the same bore, worked out next, refuses it as well", "check_bore(Bore(circumference_in, bore_in, x[0], x[1], x[2]))", ("1 → 2",)),
        ("calculation/old_holes", "a line more of a sum that is right within 0.01", "steps = 40 if half else 0", ("40 → 41",)),
        ("calculation/owned_inners", "180° once more, as −180°", "turns = sorted(range(-180, 180, _COARSE_DEG), key=abs)", ("180 → 181",)),
        ("calculation/owned_inners", "one round more of a search that has come to rest", "for _ in range(60):", ("60 → 61",)),
        ("calculation/rim_diagnosis", "360° is 0° once more", "((_misfit(readings_in, _lips(inner_od_in, made_in, fitted_in, t), spread_in), t) for t in range(0, 360, 2)),", ("360 → 361",)),
        ("calculation/sections", "one round more of a search that has come to rest", "for _ in range(60):", ("60 → 61",)),
        ("calculation/sections", "the bracket of a root", "low, high = -1.0, to_in", ("1.0 → 1.5",)),
        ("calculation/shop_depths", "Newton's slope alone, and the bracket is halved instead", "slope += w * math.exp(-z * z / 2) / sd", ("Div → Mult", "2 → 3")),
        ("calculation/shop_depths", "a place more of a grid", "places = [low + (high - low) * i / _COARSE for i in range(_COARSE + 1)]", ("1 → 2",)),
        ("calculation/shop_depths", "a place more of a grid", "fine = [low + (high - low) * i / _FINE for i in range(_FINE + 1)]", ("1 → 2",)),
        ("calculation/shop_depths", "the bracket of a root", "low, high = min(m - 9 * sd for _, m, sd in parts), max(m + 9 * sd for _, m, sd in parts)", ("9 → 10", "Mult → Div")),
        ("calculation/shop_depths", "the end of a grid, beyond what counts", "spread = max((abs(b.depth_in - centre) for b in balls), default=0.0)", ("max → min",)),
        ("calculation/shop_depths", "the end of a grid, beyond what counts", "high = math.log(3 * max(prior.scatter_in, spread)) + 6 * math.log(10) / prior.freedom", ("3 → 4", "6 → 7", "10 → 11")),
        ("calculation/shop_depths", "the end of a grid, beyond what counts", "low = math.log(prior.scatter_in / 20)", ("20 → 21",)),
        ("calculation/shop_depths", "one round more of a search that has come to rest", "for _ in range(100):", ("100 → 101",)),
        ("calculation/shop_depths", "the search has come to rest and ends by its rounds instead", "if abs(following - x) < _CLOSE_IN:", ("Sub → Add",)),
        ("calculation/shop_depths", "where a search starts", "x = math.fsum(w * m for w, m, _ in parts) + math.copysign(2.0, share - 0.5) * max(parts)[2]", ("2.0 → 3.0", "Sub → Add", "Add → Sub", "Mult → Div", "max → min")),
        ("calculation/strips", "180° either way", "flatten(axis, surface_point(axis, half, oval_deg + 180)),", ("Add → Sub",)),
        ("calculation/strips", "a sign, 1 or −1", "return math.atan2(-dot(start, pole) * math.copysign(1.0, rise), abs(rise))", ("Mult → Div",)),
        ("calculation/strips", "arc and direction are the same of a point of any length", "point = combine(1 / size, at, 0.0, at)", ("Div → Mult", "1 → 2")),
        ("calculation/strips", "a grip has both, the thumb's axis and its hole, or neither", "if axis is None or thumb is None:", ("Or → And",)),
        ("calculation/trims", "a turn told in whole degrees, as near either way", "if far - near < 0.02:", ("0.02 → 0.03",)),
        ("calculation/trims", "another place inside the bracket; both are worked out anew", "ratio = (math.sqrt(5) - 1) / 2", ("5 → 6",)),
        ("calculation/trims", "where a search starts", "near, far = start - 5.0, start + 5.0", ("5.0 → 7.5",)),
        ("calculation/trims", "where a search starts", "found.append((shift * 360 / _SAMPLES, max(lips) - min(lips)))", ("360 → 361",)),
        ("calculation/walls", "the farthest point in a direction of any length", "back = combine(-1.0, there, 0.0, there)", ("1.0 → 1.5",)),
        ("calculation/verdict_rates", "a place more of an integral, where nothing is left", "for i in range(_STEPS + 1):", ("1 → 2",)),
        ("calculation/walls", "the Illinois rule with a third: the bracket closes as well", "low, gap_low, gap_high, last = middle, gap, gap_high / 2 if last < 0 else gap_high, -1", ("2 → 3",)),
        ("calculation/walls", "the Illinois rule with a third: the bracket closes as well", "high, gap_high, gap_low, last = middle, gap, gap_low / 2 if last > 0 else gap_low, 1", ("2 → 3",)),
        ("calculation/walls", "without the Illinois rule the bracket closes as well", "low, gap_low, gap_high, last = middle, gap, gap_high / 2 if last < 0 else gap_high, -1", ("Lt → GtE",)),
        ("calculation/walls", "without the Illinois rule the bracket closes as well", "high, gap_high, gap_low, last = middle, gap, gap_low / 2 if last > 0 else gap_low, 1", ("Gt → LtE",)),
        ("calculation/walls", "of the end that stayed last only the sign counts", "low, gap_low, gap_high, last = middle, gap, gap_high / 2 if last < 0 else gap_high, -1", ("1 → 2",)),
        ("calculation/walls", "of the end that stayed last only the sign counts", "high, gap_high, gap_low, last = middle, gap, gap_low / 2 if last > 0 else gap_low, 1", ("1 → 2",)),
        ("calculation/walls", "the bracket of a root", "low, gap_low, high = 0.0, -self.radius_in, 2 * self.radius_in", ("2 → 3",)),
        ("calculation/walls", "the step is 0 then, and ends the search too", "if not gap_now or gap_last <= gap_now:", ("Or → And",)),
        ("calculation/walls", "where a search starts", "best = combine(1.0, one.mouth, -1.0, other.mouth)", ("1.0 → 1.5", "USub → UAdd")),
        ("measures/pitches", "thousand-millionths either way", "return Fraction(radius_in * math.sin(math.radians(angle))).limit_denominator(10**9)", ("10 → 11", "9 → 10")),
        ("measures/wording", "sixteenths have no such count", 'part = f"{number_words(top)}-{name}" if top < 20 and bottom <= 16 else f"{number_words(top)} {name}"', ("20 → 21",)),
        ("measures/wording", "what stands above 2, 4 … 64 in lowest terms is odd", "if top > 1:", ("1 → 2",)),
        ("services/checks", "a bit of 180° or more is flat", "flat = work_out(replace(plan, point_deg=180.0)).window if not window.is_open else None", ("180.0 → 270.0",)),
        ("services/depths", "millionths either way", "observation.repeatability_in = Fraction(floored_doubt_in(spread)).limit_denominator(10**6)", ("10 → 11", "6 → 7")),
        ("services/differences", "a system is there with its id or not at all", "return of.system.label if of.system_id and of.system else \"none\"", ("And → Or",)),
        ("services/differences", "tenths either way", "count = Fraction(round(abs(float(change)) * 64, 1)).limit_denominator(10)", ("10 → 11",)),
        ("services/inner_grids", "a rim is flush or not by its worst place alone, proud or sunk", 'if judge_rim(-trim.worst_after_in, trim.worst_after_in, half_width_in, lip_in) != "flush":', ("USub → UAdd",)),
        ("services/loose_inners", "millionths either way", "exact = [Fraction(v).limit_denominator(10**6) for v in (found.depth_in, found.forward_in, found.right_in)]", ("10 → 11", "6 → 7")),
        ("services/loose_inners", "millionths either way", "repeatability_in=Fraction(found.depth_u_in).limit_denominator(10**6),", ("10 → 11", "6 → 7")),
        ("services/mark_numbers", "a grip has both, the thumb's cut line and its own, or neither", "if marks.cut_line_in is None or marks.thumb_line_in is None:", ("Or → And",)),
        ("services/plans", "refused before: a system without a target, and no target without a system", "bore=_plan_bore(system, target, bore_pitch) if system and target else None,", ("And → Or",)),
        ("services/routes", "millionths either way", "return [round(value, 6) if isinstance(value, float) else value for value in vars(number).values()]", ("6 → 7",)),
        ("services/routes", "nothing to tell anew then, and no step is without a plan", "if of.plan is None or of.current_plan is None or not stale + unmarked:", ("Or → And",)),
        ("services/shop_limits", "millionths either way", "return value_in if floored == float(value_in) else Fraction(floored).limit_denominator(10**6)", ("10 → 11", "6 → 7")),
        ("services/shop_limits", "millionths either way", "return Fraction(self.half_width_in / NORMAL_FACTOR).limit_denominator(10**6)", ("10 → 11", "6 → 7")),
        ("services/trial_fits", "millionths either way", "freedom=None if math.isinf(estimate.freedom) else Fraction(estimate.freedom).limit_denominator(10**6),", ("10 → 11", "6 → 7")),
        ("services/trial_fits", "millionths either way", "depth_in=Fraction(estimate.depth_in).limit_denominator(10**6),", ("10 → 11", "6 → 7")),
        ("services/trial_fits", "millionths either way", "repeatability_in=Fraction(estimate.standard_uncertainty_in).limit_denominator(10**6),", ("10 → 11", "6 → 7")),
        ("services/work_outs", "of a hole that is not there nothing reads the width", "return oval_plan(1.0, 0.0, 0.0, FINEST_CUSP_IN)", ("1.0 → 1.5",)),
    )
    for words in changes
}  # fmt: skip

# faults that once passed every test: (what they are, module, source, faulty source)
TURN = "((fitted.notch_deg or 0.0) - (made.notch_deg or 0.0)) % 360"
NAMED = (
    ("wrong line told for the sleeve's bore", "services/step_numbers", '"bore_line": _line("bore")', '"bore_line": _line("thumb")'),
    ("inner turned the other way", "services/inners_in_bores", f"turn = {TURN}", f"turn = -{TURN}"),
    ("crown depth used as collar", "calculation/bores", ' - (height_in(bore, datum) - height_in(bore, "collar"))', ""),
    ("lower for higher", "services/inner_grids", "'lower' if best.lower_in > 0 else 'higher'", "'higher' if best.lower_in > 0 else 'lower'"),
    ("felt tilt of the other sign", "services/inners_in_bores", "(float(of.forward_in), float(of.right_in))", "(float(of.forward_in), -float(of.right_in))"),
    ("interval by the larger of two", "services/inners_in_bores", "(made.half_width_in**2 + fitted.half_width_in**2) ** 0.5", "max(made.half_width_in, fitted.half_width_in)"),
    ("unknown datum's term ÷ 100", "services/depths", "half**2 / 3", "half**2 / 30000"),
    ("met datum lost", "services/bench_paper", 'depths.reconcile_datum(depth.datum, form.datum)', '"unknown"'),
    ("chart ignores the datum", "services/bits", ' and step.met_datum in {"collar", "rim_high"}', ""),
    ("chart without its floor", "calculation/charts", "max(statistics.stdev(first), stated_sigma)", "statistics.stdev(first)"),
    ("notch remedy at ten times the limit", "services/inner_grids", "judge_rim(*rim, 0.0, lip_in)", "judge_rim(*rim, 0.0, 10 * lip_in)"),
    ("no doubt of depth in another bore either", "services/inners_in_bores", "bore.id == of.trimmed_in_id", "bore.id != of.trimmed_in_id"),
    ("wrong freedom for one more trial", "calculation/depths", "repeatability_freedom + count, resolution_in", "repeatability_freedom, resolution_in"),
    ("loose pitch with the smaller uncertainty", "calculation/loose", "max(inverse[1][1], inverse[2][2])", "min(inverse[1][1], inverse[2][2])"),
    ("axis-line angle swung the other way", "calculation/layouts", "-side * math.radians(layout.axis_line_deg)", "side * math.radians(layout.axis_line_deg)"),
    ("drilling angle swung the other way", "calculation/layouts", "side * math.radians(layout.drilling_deg)", "-side * math.radians(layout.drilling_deg)"),
    ("mass mark a quarter away whatever was measured", "calculation/layouts", "quarter_in if layout.pin_mark_in is None else layout.pin_mark_in", "quarter_in"),
    ("midline left on the wrong side of the axis line", "calculation/marking_lists", "-side * math.copysign(90.0, point.over_in)", "side * math.copysign(90.0, point.over_in)"),
    ("all errors as if they were independent", "calculation/marking_lists", "self._gather(math.fsum)", "self._gather(lambda changes: math.hypot(*changes))"),
    ("a mark under a hole as a gap", "calculation/layout_conflicts", "-nearest if mouth.holds(at) else nearest", "nearest"),
    ("a track that crosses a hole as a gap", "calculation/layout_conflicts", "max(low, -high)", "min(abs(low), abs(high))"),
    ("misfit shared alike whatever was read how often", "calculation/ball_marks", "excess / weights[name] / total", "excess / 3"),
    ("a heavy spot on the other side", "calculation/ball_marks", "(1 if is_clockwise else -1)", "1"),
    ("a crossing beyond a quarter lost", "calculation/layout_strips", "math.atan2(-height, rise) % math.pi", "math.atan2(-height, rise)"),
)  # fmt: skip


@dataclass
class Heard:
    """What the run without a fault told of each test: how long it took and which functions of the app it called."""

    seconds: dict[str, float] = field(default_factory=dict)
    called: dict[str, set[tuple[str, str]]] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)

    def tests_of(self, mutant: Mutant) -> list[str]:
        """The tests of the mutant's module that call its function, quickest first."""
        files = tests_of(mutant.module)
        functions = {name for f in self.called.values() for module, name in f if module == mutant.module}
        wanted = {(mutant.module, f) for f in ({mutant.function} if mutant.function != TABLE else functions)}
        calling = [t for t, called in self.called.items() if called & wanted and _file(t) in files]
        return sorted(calling, key=lambda t: self.seconds[t])


def _file(test: str) -> str:
    return test.split("::", maxsplit=1)[0].removeprefix("tests/")


@functools.cache
def tests_of(module: str) -> tuple[str, ...]:
    """The test files that speak for a module, below `tests`."""
    folder, name = module.split("/")
    own = ROOT / "tests" / folder / f"test_{name}.py"
    found = (f"{folder}/{own.name}",) if own.exists() else ()
    also = ALSO.get(module, ())
    if folder == "measures" and not found:
        also += tuple(f"measures/{path.name}" for path in sorted((ROOT / "tests/measures").glob("test_*.py")))
    return tuple(dict.fromkeys(found + also))


def is_long(item: pytest.Item) -> bool:
    fixtures: list[str] = getattr(item, "fixturenames", [])
    is_of_pages = "client" in fixtures and "/calculation/" not in item.nodeid  # there it asks the API, which is quick
    return item.name.split("[")[0] in LONG or is_of_pages or bool(LONG_FIXTURES.intersection(fixtures))


class Listener:
    """Notes of each test how long it takes and which functions of the app it calls, caches empty."""

    def __init__(self) -> None:
        self.heard = Heard()

    def run(self, item: pytest.Item, following: pytest.Item | None) -> None:
        called = self.heard.called.setdefault(item.nodeid, set())
        codes: set[CodeType] = set()

        def note(frame: FrameType, _event: str, _arg: object) -> None:
            codes.add(frame.f_code)

        forget()
        threading.settrace(note)
        sys.settrace(note)
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        sys.settrace(None)
        for code in codes:
            if code.co_filename.startswith(f"{ROOT}/app/"):
                called.add((code.co_filename.removeprefix(f"{ROOT}/app/").removesuffix(".py"), code.co_qualname))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.heard.seconds[report.nodeid] = self.heard.seconds.get(report.nodeid, 0.0) + report.duration
        if report.failed:
            self.heard.failed.append(report.nodeid)


class Mutating:
    """A run of pytest that collects the tests once and forks for every mutant."""

    def __init__(self, chosen: list[Mutant], left_out: int = 0) -> None:
        self.chosen, self.left_out, self.exit_code = chosen, left_out, 1

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        forget()
        items = {item.nodeid: item for item in session.items if not is_long(item)}
        for item in items.values():
            take_few_examples(item)
        heard = listen(list(items.values()))
        if heard.failed:
            say(f"tests fail without any fault: {', '.join(heard.failed)}")
        else:
            self.exit_code = report(self.chosen, heard, items)
            say(f"{self.left_out} more left out: no test can tell them from the code (EQUIVALENT)")
        return True


def say(words: str) -> None:
    print(words, file=sys.__stdout__, flush=True)


def _listen(items: list[pytest.Item], end: Connection) -> None:
    listener = Listener()
    items[0].config.pluginmanager.register(listener)
    for item, following in zip(items, [*items[1:], None], strict=True):
        listener.run(item, following)
    end.send(listener.heard)


def listen(items: list[pytest.Item]) -> Heard:
    """Runs the tests once without a fault."""
    here, there = get_context("fork").Pipe(duplex=False)
    process = get_context("fork").Process(target=_listen, args=(items, there))
    process.start()
    there.close()
    heard: Heard = here.recv()
    process.join()
    return heard


def _run(mutant: Mutant, items: list[pytest.Item]) -> None:
    """In a process of its own: exits with 1 at the first test that fails."""
    signal.setitimer(signal.ITIMER_PROF, LIMIT_S)
    signal.alarm(10 * LIMIT_S)
    listener = Listener()
    items[0].config.pluginmanager.register(listener)
    try:
        put_in(mutant)
    except Exception:
        os._exit(NOT_PUT_IN)
    for item, following in zip(items, [*items[1:], None], strict=True):
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if listener.heard.failed:
            os._exit(1)
    os._exit(0)


def is_killed(mutant: Mutant, items: list[pytest.Item]) -> bool:
    """Whether one of the tests fails, or hangs, on the mutant; without a test nothing does."""
    if not items:
        return False
    process = get_context("fork").Process(target=_run, args=(mutant, items))
    process.start()
    process.join()
    assert process.exitcode != NOT_PUT_IN, f"the fault cannot be put in: {mutant.module}:{mutant.line} {mutant.words}"
    return process.exitcode != 0


def fill_once(folder: Path) -> None:
    """Fills the demo shop once for every process to come."""
    made = conftest.Databases("sqlite", folder)
    conftest.KINDS[:] = ["sqlite"]

    def databases(_kind: str, own: Path) -> conftest.Databases:
        made.folder = own
        return made

    conftest.Databases = databases  # type: ignore[assignment,misc]  # every test copies what is made already


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--mutants", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="modules with this in their name, or several with commas")
    parser.add_argument("--named", action="store_true", help="the named faults alone")
    asked = parser.parse_args()
    modules = [m for m in MODULES if any(name in m for name in asked.only.split(","))]
    chosen = [mutant for mutant in (named_mutant(*row) for row in NAMED) if mutant.module in modules]
    makers = [] if asked.named else [maker for module in modules for maker in mutants_of(module)]
    picked = random.Random(asked.seed).sample(makers, min(asked.mutants, len(makers)))
    made = [maker() for maker in picked]
    chosen += [mutant for mutant in made if mutant.key not in EQUIVALENT]
    files = {file for mutant in chosen for file in tests_of(mutant.module)}
    paths = [str(ROOT / "tests" / file) for file in sorted(files)]
    mutating = Mutating(chosen, sum(mutant.key in EQUIVALENT for mutant in made))
    with tempfile.TemporaryDirectory() as folder, open(os.devnull, "w") as nowhere:
        fill_once(Path(folder))
        with contextlib.redirect_stdout(nowhere), contextlib.redirect_stderr(nowhere):
            pytest.main([*OPTIONS, *paths], [mutating])
    sys.exit(mutating.exit_code)


def report(chosen: list[Mutant], heard: Heard, items: dict[str, pytest.Item]) -> int:
    """Runs the mutants and prints survivors, figures by module and the share killed; 1 where that is too small."""
    killed: Counter[str] = Counter()
    survivors = []
    for number, mutant in enumerate(chosen, 1):
        began, tests = time.monotonic(), heard.tests_of(mutant)
        dies = is_killed(mutant, [items[t] for t in tests])
        killed[mutant.module] += dies
        place = f"app/{mutant.module}.py:{mutant.line} {mutant.words} ({mutant.function}, {len(tests)} tests)"
        say(f"{number}: {'killed' if dies else 'SURVIVED'} in {time.monotonic() - began:.1f} s: {place}")
        survivors += [] if dies else [place]
    for module, count in sorted(Counter(mutant.module for mutant in chosen).items()):
        say(f"{module}: {killed[module]} of {count}")
    for place in survivors:
        say(f"survived: {place}")
    share = killed.total() / len(chosen)
    say(f"{killed.total()} of {len(chosen)} mutants killed ({share:.1%})")
    return int(share < LEAST_SHARE)


if __name__ == "__main__":
    main()
