"""The Jinja environment: what templates can call, and how values are put into words and markup."""

import hashlib
import secrets
from collections.abc import Callable, Iterable, Mapping, MutableMapping, Sequence
from fractions import Fraction
from functools import cache, partial
from itertools import count
from typing import Any, get_args

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from app import closed_sets
from app.cards.signing import fingerprint
from app.measures.balance_words import (
    direction_words,
    interval_words,
    pound_words,
    side_words,
    signed_words,
    spare_words,
)
from app.measures.describe import describe
from app.measures.half_pairs import tells_unknown
from app.measures.wording import (
    VERDICT_WORDS,
    clock_words,
    decimal,
    degree_words,
    in_64ths,
    inches,
    inches_within,
    lateral_words,
    mark_words,
    pitch_decimals,
    pitch_words,
    place_words,
    plain_fraction,
    proud_words,
    share_words,
)
from app.models import Drilling, Inner
from app.models.plans import Plan
from app.pages import arrows, ball_labels, formats, layout_pictures, sections
from app.services.changes import describe_field
from app.services.held import flatten
from app.services.paper_checks import describe_doubt
from app.settings import ROOT
from app.sheets.fields import FIELDS
from app.sheets.paper_lines import SHOWN, WAYS, line_of


@cache
def locate_static(name: str) -> str:
    """The address of a static file, with the hash of its content, so that browsers may keep it for good."""
    return f"/static/{name}?v={hashlib.sha256((ROOT / 'static' / name).read_bytes()).hexdigest()[:16]}"


@cache
def link_sheets() -> Markup:
    """The links to the style sheets, in the order in which they add to each other."""
    names = ("tokens", "page", "parts", "forms", "ball", "bench", "shop")
    return Markup("\n  ").join(
        Markup('<link rel="stylesheet" href="{}">').format(locate_static(f"css/{name}.css")) for name in names
    )


def list_options(records: Iterable[Any], words: str = "name") -> list[tuple[int, str]]:
    """Records as choices of a select: (id, words)."""
    return [(record.id, getattr(record, words)) for record in records]


def _list_inner_options(inners: Sequence[Inner]) -> list[tuple[int, str]]:
    sizes = {i.id: "unknown outside" if i.outside_in is None else inches(i.outside_in) for i in inners}
    return [(i.id, f"{i.label}, {sizes[i.id]}, {i.system.label}") for i in inners]


def _list_drilling_options(made: Sequence[Drilling]) -> list[tuple[int, str]]:
    return [(d.id, f"{d.ball.label}, {d.state}, {formats.format_local_day(d.planned_at)}") for d in made]


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
        "ticket_kind": closed_sets.TICKET_KIND_WORDS,
        "priority": closed_sets.PRIORITY_WORDS,
        "wait_kind": closed_sets.WAIT_KIND_WORDS,
        "redo_reason": closed_sets.REDO_REASON_WORDS,
        "part_kind": closed_sets.PART_KIND_WORDS,
        "found_by": closed_sets.FOUND_BY_WORDS,
        "mass_mark": closed_sets.MASS_MARK_WORDS,
        "centre_side": closed_sets.CENTRE_SIDE_WORDS,
        "weighed_stage": closed_sets.WEIGHED_STAGE_WORDS,
    }
    return {name: list(known.items()) for name, known in words.items()}


_DRAWN = count(1)  # numbers the gradients of drawings, so that no two of a page share an id


class Macros:
    """The macros of one file, as attributes; the file is compiled at its first use, so the server starts sooner."""

    def __init__(self, environment: Environment, name: str) -> None:
        self._read = cache(lambda: environment.get_template(f"macros/{name}.html").module)

    def __getattr__(self, macro: str) -> object:
        return getattr(self._read(), macro)


class Templates(Environment):
    """Jinja's environment; each template copies its globals into one dictionary when it is loaded.

    Jinja looks them up through a chain for whoever adds globals later, and copies all through the chain at each
    rendering, which takes longer than a small fragment does. Here all are there before the first template is loaded.
    """

    def make_globals(self, d: MutableMapping[str, object] | None) -> MutableMapping[str, object]:
        return {**self.globals, **(d or {})}


def _build_environment() -> Environment:
    made = Templates(
        loader=FileSystemLoader(ROOT / "templates"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(_list_filters())
    made.globals.update(_list_globals() | _list_floor_words() | _list_drawings())
    # a block rendered alone skips its page's imports, so macros are globals
    for path in (ROOT / "templates" / "macros").glob("*.html"):
        made.globals[path.stem] = Macros(made, path.stem)
    return made


def _list_filters() -> dict[str, Callable[..., object]]:
    """The filters that templates use, by name."""
    return dict(
        inch=formats.format_built_up,
        mark=formats.format_mark,
        mark_words=mark_words,
        figures=formats.format_figures,
        fraction=plain_fraction,
        fractions=formats.format_fractions,
        inches=formats.format_inches,
        decimal=decimal,
        diff=in_64ths,
        proud=proud_words,
        share=share_words,
        lateral=lateral_words,
        clock=clock_words,
        fingerprint=fingerprint,
        when=formats.format_local_time,
        day=formats.format_local_day,
        promise=formats.format_promise,
        ago=formats.describe_age,
        whereabouts=formats.describe_whereabouts,
        field=describe_field,
        exactly=Fraction,
        device=formats.describe_device,
        held=formats.format_held,
        parts_of=flatten,
        counted=formats.format_count,
        moved=formats.format_movement,
        lasting=formats.format_minutes,
        ounces=formats.format_ounces,
        degrees=degree_words,
        side=side_words,
        interval=interval_words,
        directions=direction_words,
        spare=spare_words,
        pounds=pound_words,
        signed=signed_words,
    )


def _list_globals() -> dict[str, object]:
    """The functions and words that templates use, by name."""
    return dict(
        read_back=describe,
        gap=formats.name_gap,
        says_unknown=lambda typed, field: tells_unknown(typed.get(field, "")),
        pitch_words=pitch_words,
        verdict_words=VERDICT_WORDS,
        pitch_decimals=pitch_decimals,
        place_words=partial(place_words, length=formats.format_exactly),
        place_64ths=partial(place_words, length=formats.format_inches),
        place_within=lambda along, across, u_in: place_words(along, across, lambda size: inches_within(size, u_in)),
        place_decimals=partial(place_words, length=decimal),
        options=list_options,
        fit_options=lambda fits: [(f.id, f"Fit {f.letter}, {f.hand} hand, {f.state}: {f.reason}") for f in fits],
        found_options=_list_found_options,
        thumbless_fits=lambda fits: {f.id: "thumbless" for f in fits if f.is_thumbless},
        drilling_options=_list_drilling_options,
        fix_options=lambda fixes: [(f"{fix.field}={fix.value}", fix.words) for fix in fixes],
        kind_options=lambda kinds: [(name, kind.words) for name, kind in kinds.items()],
        inner_options=_list_inner_options,
        bore_options=lambda bores: [
            (bore.id, ", ".join(filter(None, (label, system.label, bore.hand and f"{bore.hand} hand"))))
            for bore, label, system in bores
        ],
        static=locate_static,
        sheets=link_sheets,
        form_key=lambda: secrets.token_urlsafe(16),
        roles=closed_sets.ROLES,
        grip_words=closed_sets.GRIP_HOLES_WORDS,
        hardware_words=_name_hardware,
        datum_words=closed_sets.DATUM_WORDS,
        card_state_words=closed_sets.CARD_STATE_WORDS,
        edge_words=closed_sets.SPAN_EDGES_WORDS,
        bridge_words=closed_sets.BRIDGE_EDGES_WORDS,
        height_words=closed_sets.HEIGHT_WORDS,
        stop_words=closed_sets.STOP_DECISION_WORDS,
        obtained_words=closed_sets.OBTAINED_WORDS,
        choices=_list_choices(),
    )


def _list_floor_words() -> dict[str, object]:
    return dict(
        sheet_fields={name: of.words for name, of in FIELDS.items()},
        line_of=line_of,
        card_ways=SHOWN,
        card_choices=WAYS,
        describe_doubt=describe_doubt,
        found_by_words=closed_sets.FOUND_BY_WORDS,
        ticket_words=closed_sets.TICKET_KIND_WORDS,
        wait_words=closed_sets.WAIT_KIND_WORDS,
        redo_words=closed_sets.REDO_REASON_WORDS,
    )


def _list_drawings() -> dict[str, object]:
    """What the drawings use besides."""
    return dict(
        dial_path=arrows.draw_dial,
        layout_errors=layout_pictures.ERRORS,
        letter_ball=ball_labels.letter_ball,
        ball_view=ball_labels.format_view,
        ball_points=ball_labels.list_points,
        drawing_id=lambda: f"shade-{next(_DRAWN)}",
        wall_words=sections.describe_wall,
    )


templates = _build_environment()
