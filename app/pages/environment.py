"""The Jinja environment: what templates can call, and how values are put into words and markup."""

import hashlib
import re
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from fractions import Fraction
from functools import cache, partial
from itertools import count
from typing import Any, get_args

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape

from app import closed_sets
from app.calculation.units import millimetres
from app.measures.describe import describe
from app.measures.lengths import is_unknown
from app.measures.wording import (
    VERDICT_WORDS,
    clock_words,
    decimal,
    in_64ths,
    inches,
    lateral_words,
    mark_words,
    nearest_mark,
    pitch_decimals,
    pitch_words,
    place_words,
    plain_fraction,
    proud_words,
    share_words,
    vertical_words,
)
from app.models import Drilling, Inner
from app.models.plans import Plan
from app.pages import arrows, ball_labels, sections
from app.services.changes import describe_field
from app.services.held import flatten
from app.settings import ROOT

NO_BREAK = "\u00a0"
_FRACTION = re.compile(r"(?<![\d./])(\d+ )?(\d+)/(\d+)")


def format_built_up(value: Fraction | float | None) -> Markup:
    """`3 ⁴⁷⁄₆₄` with its decimal small beside it; what is not known says so."""
    measure = format_figures(value)
    if value is None or inches(value) == decimal(value):
        return measure
    return measure + Markup(' <small class="decimal">{}</small>').format(decimal(value))


def format_figures(value: Fraction | float | None) -> Markup:
    """`3 ⁴⁷⁄₆₄` alone, never broken over a line; what is not known says so."""
    if value is None:
        return Markup('<span class="unknown">unknown</span>')
    near, sign, rest = inches(value).replace("−", "+ −").partition(" + ")
    shown = Markup(" ").join(_format_fraction(part) for part in near.split(" "))
    if sign:
        shown += Markup(' <span class="rest">{}</span>').format(rest if rest[0] == "−" else f"+ {rest}")
    return Markup('<span class="measure" title="{} mm">{}</span>').format(f"{millimetres(value):.2f}", shown)


def format_inches(value: Fraction | float) -> str:
    """`3 47/64 + 0.001` in a sentence, joined so that no line ends inside it."""
    return inches(value).replace(" ", NO_BREAK)


def _format_exactly(value: Fraction | float) -> str:
    return f"{format_inches(value)}{NO_BREAK}({decimal(value)})"


def format_mark(value: Fraction | float) -> Markup:
    """`3 ⁴⁷⁄₆₄ shy`: the nearest 64th built up, and whether the length is a little more or less."""
    near, word = nearest_mark(value)
    if word and not near:
        return Markup('<span class="measure">{}</span>').format(decimal(value))
    shown = Markup("\u2009").join(_format_fraction(part) for part in plain_fraction(near).split(" "))
    rest = Markup(' <span class="full-or-shy">{}</span>').format(word) if word else ""
    return Markup('<span class="measure">{}</span>').format(shown) + rest


def name_gap(typed: Mapping[str, str], field: str, absent: str = "not given") -> Markup:
    """What stands for a value that is not there: unknown where that was typed, else that it was not given."""
    if is_unknown(typed.get(field, "")):
        return Markup('<span class="unknown">unknown</span>')
    return Markup('<span class="quiet">{}</span>').format(absent)


def _format_fraction(part: str) -> Markup:
    top, stroke, bottom = part.partition("/")
    if not stroke:
        return escape(part)
    return Markup('<span class="fraction"><sup>{}</sup>⁄<sub>{}</sub></span>').format(top, bottom)


def format_fractions(words: str) -> Markup:
    """A text with its fractions built up, none of them broken over a line."""
    parts = _FRACTION.split(words)  # text, whole number, top, bottom, text …
    shown = escape(parts[0])
    for whole, top, bottom, text in zip(*(parts[i::4] for i in range(1, 5)), strict=True):
        joined = f"{whole.strip()}\u2009" if whole else ""
        built = Markup('<span class="fraction">{}<sup>{}</sup>⁄<sub>{}</sub></span>').format(joined, top, bottom)
        shown += built + text
    return shown


def format_local_time(moment: datetime) -> str:
    """A moment by this machine's clock."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")


def format_local_day(moment: datetime) -> str:
    return moment.astimezone().strftime("%Y-%m-%d")


def describe_age(moment: datetime) -> str:
    """How long ago a moment was, by this machine's days: `today`, `12 days ago`, `14 months ago`."""
    days = (datetime.now().astimezone().date() - moment.astimezone().date()).days
    if days < 2:
        return "today" if days < 1 else "yesterday"
    if days < 61:
        return f"{days} days ago"
    return f"{round(days / 30.4)} months ago" if days < 730 else f"{round(days / 365.25)} years ago"


def format_held(value: object, label: str = "") -> Markup | str:
    """A stored value to read: lengths built up, directions by the clock, moments by this machine's clock."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Fraction | float):
        return format_direction(value) if label.endswith("direction") else format_built_up(value)
    if isinstance(value, datetime):
        return format_local_time(value)
    return str(value)


def format_direction(value: Fraction | float) -> str:
    return clock_words(Fraction(value))


def describe_device(agent: str) -> str:
    """What kind of device a browser says it runs on."""
    if "Tablet" in agent or "iPad" in agent:
        return "a tablet"
    return "a phone" if "Mobi" in agent else "a computer"


@cache
def locate_static(name: str) -> str:
    """The address of a static file, with the hash of its content, so that browsers may keep it for good."""
    return f"/static/{name}?v={hashlib.sha256((ROOT / 'static' / name).read_bytes()).hexdigest()[:16]}"


def list_options(records: Iterable[Any], words: str = "name") -> list[tuple[int, str]]:
    """Records as choices of a select: (id, words)."""
    return [(record.id, getattr(record, words)) for record in records]


def _list_inner_options(inners: Sequence[Inner]) -> list[tuple[int, str]]:
    sizes = {i.id: "unknown outside" if i.outside_in is None else inches(i.outside_in) for i in inners}
    return [(i.id, f"{i.label}, {sizes[i.id]}, {i.system.label}") for i in inners]


def _list_found_options(plan: Plan | None) -> list[tuple[str, str]]:
    """The holes that may be found otherwise on a later visit: those of a plan's grip, all of them without a plan."""
    known = closed_sets.FOUND_HOLE_WORDS.items()
    return [(name, words) for name, words in known if plan is None or getattr(plan.grip, name.removesuffix("_hole"))]


def _name_hardware(drilling: Drilling) -> str:
    """The thumb hardware of a drilling in words."""
    if drilling.system:
        return drilling.system.label
    return "no thumb hole" if drilling.plan and drilling.plan.grip.thumb is None else "no thumb insert"


def _list_choices() -> dict[str, list[tuple[str, str]]]:
    """The closed sets that a select offers, by the name of its field: (value, words)."""
    words: dict[str, Mapping[Any, str]] = {
        "hand": closed_sets.HAND_WORDS,
        "grip_holes": closed_sets.GRIP_HOLES_WORDS,
        "style": {style: style for style in get_args(closed_sets.Style)},
        "span_edges": closed_sets.SPAN_EDGES_WORDS,
        "bridge_edges": closed_sets.BRIDGE_EDGES_WORDS,
        "digit": closed_sets.SYSTEM_DIGIT_WORDS,
        "locks": {way: way for way in get_args(closed_sets.Locks)},
        "height_set_by": closed_sets.HEIGHT_WORDS,
        "datum": closed_sets.DATUM_CHOICES,
        "obtained": {way: closed_sets.OBTAINED_WORDS[way] for way in get_args(closed_sets.ObtainedByForm)},
        "obtained_from_visitor": {"told": "told by the shop", "read_off_ball": "read off this ball"},
        "bore_runs": closed_sets.BORE_RUNS_WORDS,
        "point": closed_sets.POINT_WORDS,
        "inner_kind": closed_sets.INNER_KIND_WORDS,
        "fitted_by": closed_sets.FITTED_BY_WORDS,
        "bored_hole": closed_sets.BORED_HOLE_WORDS,
        "measures": closed_sets.MEASURES_WORDS,
        "accent": closed_sets.ACCENT_WORDS,
        "old_hole": closed_sets.OLD_HOLE_DIGIT_WORDS,
        "old_hole_state": closed_sets.OLD_HOLE_STATE_WORDS,
        "along_way": closed_sets.ALONG_WAY_WORDS,
        "across_way": closed_sets.ACROSS_WAY_WORDS,
    }
    return {name: list(known.items()) for name, known in words.items()}


_DRAWN = count(1)  # numbers the gradients of drawings, so that no two of a page share an id


class Macros:
    """The macros of one file, as attributes; the file is compiled at its first use, so the server starts sooner."""

    def __init__(self, environment: Environment, name: str) -> None:
        self._read = cache(lambda: environment.get_template(f"macros/{name}.html").module)

    def __getattr__(self, macro: str) -> object:
        return getattr(self._read(), macro)


def _build_environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(ROOT / "templates"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(_list_filters())
    made.globals.update(_list_globals())
    # a block rendered alone skips its page's imports, so macros are globals
    for path in (ROOT / "templates" / "macros").glob("*.html"):
        made.globals[path.stem] = Macros(made, path.stem)
    return made


def _list_filters() -> dict[str, Callable[..., object]]:
    """The filters that templates use, by name."""
    return dict(
        inch=format_built_up,
        mark=format_mark,
        mark_words=mark_words,
        figures=format_figures,
        fraction=plain_fraction,
        fractions=format_fractions,
        inches=format_inches,
        with_decimal=_format_exactly,
        decimal=decimal,
        diff=in_64ths,
        proud=proud_words,
        share=share_words,
        vertical=vertical_words,
        lateral=lateral_words,
        clock=clock_words,
        when=format_local_time,
        day=format_local_day,
        ago=describe_age,
        field=describe_field,
        exactly=Fraction,
        device=describe_device,
        held=format_held,
        parts_of=flatten,
    )


def _list_globals() -> dict[str, object]:
    """The functions and words that templates use, by name."""
    return dict(
        read_back=describe,
        gap=name_gap,
        says_unknown=lambda typed, field: is_unknown(typed.get(field, "")),
        pitch_words=pitch_words,
        verdict_words=VERDICT_WORDS,
        pitch_decimals=pitch_decimals,
        place_words=partial(place_words, length=_format_exactly),
        place_64ths=partial(place_words, length=format_inches),
        place_decimals=partial(place_words, length=decimal),
        options=list_options,
        fit_options=lambda fits: [(f.id, f"Fit {f.letter}, {f.hand} hand, {f.state}: {f.reason}") for f in fits],
        found_options=_list_found_options,
        thumbless_fits=lambda fits: {f.id: "thumbless" for f in fits if f.is_thumbless},
        drilling_options=lambda made: [
            (d.id, f"{d.ball.label}, {d.state}, {format_local_day(d.planned_at)}") for d in made
        ],
        fix_options=lambda fixes: [(f"{fix.field}={fix.value}", fix.words) for fix in fixes],
        kind_options=lambda kinds: [(name, kind.words) for name, kind in kinds.items()],
        inner_options=_list_inner_options,
        bore_options=lambda bores: [
            (bore.id, ", ".join(filter(None, (label, system.label, bore.hand and f"{bore.hand} hand"))))
            for bore, label, system in bores
        ],
        arrow_path=arrows.draw_arrow,
        dial_path=arrows.draw_dial,
        letter_ball=ball_labels.letter_ball,
        ball_view=ball_labels.format_view,
        ball_points=ball_labels.list_points,
        drawing_id=lambda: f"shade-{next(_DRAWN)}",
        wall_words=sections.describe_wall,
        static=locate_static,
        form_key=lambda: secrets.token_urlsafe(16),
        roles=closed_sets.ROLES,
        grip_words=closed_sets.GRIP_HOLES_WORDS,
        hardware_words=_name_hardware,
        datum_words=closed_sets.DATUM_WORDS,
        edge_words=closed_sets.SPAN_EDGES_WORDS,
        bridge_words=closed_sets.BRIDGE_EDGES_WORDS,
        height_words=closed_sets.HEIGHT_WORDS,
        stop_words=closed_sets.STOP_DECISION_WORDS,
        obtained_words=closed_sets.OBTAINED_WORDS,
        choices=_list_choices(),
    )


templates = _build_environment()
