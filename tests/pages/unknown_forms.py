"""Every form of the pages with a field that allows unknown, and how the demo shop saves it."""

import itertools
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated, Any, get_args, get_origin

from fastapi import FastAPI
from pydantic import ConfigDict, TypeAdapter, ValidationError
from sqlalchemy import select
from sqlalchemy.orm import selectinload

from app.db import READ_ONLY
from app.measures.reading import Reading
from app.models import (
    AxisPoint,
    Ball,
    BallMarks,
    Base,
    Bore,
    DepthObservation,
    Drilling,
    DrillingStep,
    Fit,
    Inner,
    InsertSystem,
    OldHole,
    Scale,
)
from app.schemas import (
    balls,
    bits,
    bowlers,
    drillings,
    fits,
    identities,
    inners,
    layouts,
    old_holes,
    personal,
    scales,
    shops,
    studies,
    systems,
    troubles,
)
from app.schemas.forms import Form
from app.services import portable
from seed_demo.world import FIT, TWIST_LOCK
from tests.conftest import Client, not_none

MODULES = (
    balls,
    bits,
    bowlers,
    drillings,
    fits,
    identities,
    inners,
    layouts,
    old_holes,
    personal,
    scales,
    shops,
    studies,
    systems,
    troubles,
)
Typed = dict[str, str]


# Which fields allow unknown ---------------------------------------------------------------------------------------


def list_forms() -> list[type[Form]]:
    """Every form that a page reads, without those that are parts of another."""
    found = {f for m in MODULES for f in vars(m).values() if isinstance(f, type) and issubclass(f, Form)}
    return sorted((f for f in found if not set(f.__subclasses__()) & found), key=lambda f: f.__name__)


def allows_unknown(form: type[Form], name: str) -> bool:
    told = form.model_fields[name]
    if "unknown" in get_args(told.annotation):
        return True
    if get_origin(told.annotation) is not Reading:
        return False
    read: TypeAdapter[Any] = TypeAdapter(
        Annotated[(told.annotation, *told.metadata)],  # type: ignore[arg-type]
        config=ConfigDict(arbitrary_types_allowed=True),
    )
    try:
        return bool(read.validate_python("unknown").state == "unknown")
    except ValidationError:
        return False


def is_choice(form: type[Form], name: str) -> bool:
    return get_origin(form.model_fields[name].annotation) is not Reading


FIELDS = {f.__name__: [n for n in f.model_fields if allows_unknown(f, n)] for f in list_forms()}
BY_NAME = {f.__name__: f for f in list_forms()}


# How each form is saved -------------------------------------------------------------------------------------------


@dataclass
class Saved:
    """A saved form: its records by tag, the page that shows it, and pages with what is derived from it."""

    rows: dict[str, tuple[type[Base], int]]
    page: str
    derived: list[str] = field(default_factory=list)


class World:
    """The demo shop as its pages see it, with a lip so wide that only doubt keeps a verdict from being green."""

    def __init__(self, client: Client, app: FastAPI, who: str) -> None:
        self.client, self.app, self.who, self.count = client, app, who, itertools.count(1)
        self.post("/settings/lip", {"value": "1/8", "source": "tests"})

    def post(self, url: str, typed: Typed) -> str:
        answer = self.client.post(url, {"version": ""} | typed | {"who": self.who})
        assert answer.status_code == 303, (url, typed, re.sub(r"<[^>]+>|\s+", " ", answer.text)[:1500])
        return str(answer.headers["location"])

    def name(self, what: str) -> str:
        return f"{what} {next(self.count)}"

    def read(self, model: type[Base], row_id: int) -> Any:
        with self.app.state.sessions() as session:
            session.connection(execution_options=READ_ONLY)
            return session.get(model, row_id)

    def version(self, model: type[Base], row_id: int) -> str:
        return str(self.read(model, row_id).version)

    def newest(self, model: type[Base]) -> int:
        with self.app.state.sessions() as session:
            session.connection(execution_options=READ_ONLY)
            key = model.__table__.c.id
            return int(not_none(session.scalar(select(key).order_by(key.desc()).limit(1))))

    def exported(self) -> dict[tuple[str, int], dict[str, Any]]:
        """Every exported row, by table and id."""
        with self.app.state.engine.connect() as connection:
            lines = [json.loads(line) for line in portable.export_lines(connection, "0")]
        return {(at["table"], at["row"]["id"]): at["row"] for at in lines if "table" in at and "id" in at["row"]}

    def ball(self, typed: Typed | None = None, bowler_id: int = 1) -> int:
        form = {"label": self.name("Ball"), "circumference": "27"} | (typed or {})
        return id_of(self.post(f"/bowlers/{bowler_id}/balls", form))

    def planned(self, **typed: str) -> int:
        chosen = {"fit_id": "1", "system_id": "1", "bore_runs": "like_thumb", "reason": "tried"} | typed
        return id_of(self.post(f"/balls/{self.ball()}/drillings", chosen))


def id_of(location: str) -> int:
    return int(not_none(re.search(r"/(\d+)", location))[1])


def save_ball(world: World, typed: Typed) -> Saved:
    ball = world.ball(typed)
    return Saved({"ball": (Ball, ball)}, f"/balls/{ball}", [f"/balls/{ball}/drillings/new"])


def save_plan(world: World, typed: Typed) -> Saved:
    """The inner made in the bore turns with the notch."""
    made = world.planned(**typed)
    met = {"depth": "2 3/4 collar", "datum": "collar", "version": world.version(Drilling, made)}
    world.post(f"/drillings/{made}/drilled", met)
    inner = world.read(Drilling, made).inner_id
    return Saved({"drilling": (Drilling, made)}, f"/drillings/{made}", [f"/inners/{inner}?drilling={made}"])


def save_drilled(world: World, typed: Typed) -> Saved:
    """The bowler's own inner goes in; it was trimmed in another ball."""
    made = world.planned(inner_id="1")
    world.post(f"/drillings/{made}/drilled", typed | {"version": world.version(Drilling, made)})
    bore = world.read(Drilling, made).bore_id
    rows: dict[str, tuple[type[Base], int]] = {"bore": (Bore, bore), "drilling": (Drilling, made)}
    return Saved(rows, f"/drillings/{made}", [f"/inners/1?drilling={made}"])


def save_ticks(world: World, typed: Typed) -> Saved:
    """Every step to the end with the same form: each takes what it reads. An owned inner shows how its bore came out."""
    made = world.planned(inner_id="1")
    rows: dict[str, tuple[type[Base], int]] = {"drilling": (Drilling, made)}
    world.post(f"/drillings/{made}/confirmation", {"reason": "tried"})
    with world.app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        steps = session.scalars(select(DrillingStep).where(DrillingStep.drilling_id == made)).all()
    for step in steps[:-1]:
        met = typed | {"hand": "right", "hole": step.hole} | ({} if step.hole == "thumb" else {"pitch": ""})
        if step.hole != "thumb" and "depth" in step.reads:
            met |= {"depth": "", "not_read": "true"}
        world.post(f"/drillings/{made}/steps/{step.position}/tick", met)
        rows |= {step.action: (DrillingStep, step.id)} if step.action in {"bore", "bore_pitch"} else {}
    return Saved(rows, f"/drillings/{made}", [f"/inners/1?drilling={made}"])


def save_late_depth(world: World, typed: Typed) -> Saved:
    """Of a bore for the bowler's own inner, finished on paper without its depth."""
    made = world.planned(inner_id="1")
    unread = {"depth": "unknown", "datum": "unknown", "notch": "6:00", "version": world.version(Drilling, made)}
    world.post(f"/drillings/{made}/drilled", unread)
    world.post(f"/drillings/{made}/depth-readings", typed | {"version": world.version(Drilling, made)})
    rows: dict[str, tuple[type[Base], int]] = {"bore": (Bore, world.read(Drilling, made).bore_id)}
    return Saved(rows, f"/drillings/{made}", [f"/inners/1?drilling={made}"])


def save_fit(world: World, typed: Typed) -> Saved:
    fit = id_of(world.post("/bowlers/8/fits", typed))
    world.post(f"/fits/{fit}/in-force", {"version": world.version(Fit, fit)})
    with world.app.state.sessions() as session:
        session.connection(execution_options=READ_ONLY)
        held = session.get(Fit, fit, options=[selectinload(Fit.holes)])
        rows: dict[str, tuple[type[Base], int]] = {h.digit: (type(h), h.id) for h in held.holes}
    ball = world.ball(bowler_id=8)
    return Saved(rows | {"fit": (Fit, fit)}, f"/fits/{fit}", [f"/balls/{ball}/drillings/new?fit_id={fit}&system_id=1"])


def save_visitor(world: World, typed: Typed) -> Saved:
    label = world.name("Green")
    inner = id_of(world.post("/visitors", {"bowler_id": "9", "ball_label": label} | typed))
    bore = world.read(Inner, inner).trimmed_in_id
    drilling = world.newest(Drilling)
    rows: dict[str, tuple[type[Base], int]] = {
        "inner": (Inner, inner), "bore": (Bore, bore), "ball": (Ball, world.newest(Ball)),
    }  # fmt: skip
    asked = [f"/inners/{inner}", f"/inners/{inner}?drilling={drilling}", f"/inners/{inner}?pitch=1/8 reverse"]
    return Saved(rows, f"/inners/{inner}", asked)


def save_inner(world: World, typed: Typed) -> Saved:
    inner = id_of(world.post("/bowlers/1/inners", {"label": world.name("spare")} | typed))
    asked = f"/balls/{world.ball()}/drillings/new?fit_id=1&system_id=1&inner_id={inner}"
    return Saved({"inner": (Inner, inner)}, f"/inners/{inner}", [asked])


def save_completion(world: World, typed: Typed) -> Saved:
    """Of a visitor's inner that came with nothing but its depth."""
    nothing = dict.fromkeys(("outside", "bore_pitch", "notch", "thumb_hole", "tilt"), "unknown")
    came = save_visitor(world, VISITOR | nothing)
    inner = came.rows["inner"][1]
    world.post(f"/inners/{inner}/completion", typed | {"version": world.version(Inner, inner)})
    return came


def save_system(world: World, typed: Typed) -> Saved:
    system = id_of(world.post("/systems", typed | {"label": world.name("Lock")}))
    chosen = f"fit_id=1&system_id={system}&bore_runs=straight&point=180"
    asked = [f"/balls/{world.ball()}/drillings/new?{chosen}"] if typed["digit"] == "thumb" else []
    return Saved({"system": (InsertSystem, system)}, f"/systems/{system}", asked)


def save_depth(world: World, typed: Typed) -> Saved:
    """Of hardware that nothing else is known of; a visitor's inner for it is foreseen in our bore."""
    system = id_of(world.post("/systems", TWIST_LOCK | {"label": world.name("Lock")}))
    world.post("/shops/1/depths", typed | {"system_id": str(system)})
    seen = world.newest(DepthObservation)
    inner = save_visitor(world, VISITOR | {"system_id": str(system)})
    return Saved({"observation": (DepthObservation, seen)}, "/shops/1", inner.derived[:1])


VISITOR = {
    "hand": "right", "shop_id": "2", "system_id": "1", "outside": "1 1/4", "thumb_hole": "31/32", "bore_pitch": "0",
    "tilt": "0", "depth": "2 3/4", "datum": "collar", "obtained": "read_off_ball", "notch": "6:00", "circumference": "27",
}  # fmt: skip


def save_old_hole(world: World, typed: Typed) -> Saved:
    """Far from every new hole, so that nothing fails."""
    ball = world.ball()
    world.post(f"/balls/{ball}/old-holes", typed)
    hole = world.newest(OldHole)
    return Saved({"old hole": (OldHole, hole)}, f"/balls/{ball}", [f"/balls/{ball}/drillings/new?fit_id=1&system_id=1"])


def save_axis_point(world: World, typed: Typed) -> Saved:
    world.post("/bowlers/1/axis-points", typed)
    return Saved({"axis point": (AxisPoint, world.newest(AxisPoint))}, "/bowlers/1/axis-points")


def save_marks(world: World, typed: Typed) -> Saved:
    ball = world.ball()
    world.post(f"/balls/{ball}/marks", typed)
    return Saved({"marks": (BallMarks, world.newest(BallMarks))}, f"/balls/{ball}/marks")


def save_scale(world: World, typed: Typed) -> Saved:
    scale = id_of(world.post("/scales", typed | {"label": world.name("Scale")}))
    return Saved({"scale": (Scale, scale)}, f"/scales/{scale}")


SCENARIOS: dict[str, tuple[Callable[[World, Typed], Saved], Typed]] = {
    "BallForm": (save_ball, {"weight": "15", "circumference": "27", "safe_depth": "3 1/4"}),
    "OldHoleForm": (
        save_old_hole,
        {"hole": "finger", "along": "3 7/8", "along_way": "fingers", "across": "2 1/2", "across_way": "right", "size": "1", "pitch": "0",
         "depth": "1", "state": "filled"},
    ),
    "PlanForm": (save_plan, {"notch": "6:00"}),
    "DrilledForm": (
        save_drilled,
        {"depth": "2 3/4", "datum": "collar", "notch": "6:00", "reason": "as met"} | {f"rim_{at}": "flush" for at in (12, 3, 6, 9)},
    ),
    "TickForm": (save_ticks, {"depth": "2 3/4 collar", "pitch": "1/4 reverse, 0"} | {f"rim_{at}": "flush" for at in (12, 3, 6, 9)}),
    "DepthReadingForm": (save_late_depth, {"hole": "bore", "depth": "2 3/4", "datum": "collar", "day": "2026-01-02"}),
    "FitForm": (save_fit, FIT | {"hand": "right", "middle_depth": "3/4", "ring_depth": "3/4"}),
    "VisitorForm": (save_visitor, VISITOR),
    "InnerForm": (save_inner, {"trimmed_in_id": "1", "outside": "1 1/4", "thumb_hole": "15/16 + 1/16 @ 45 right", "tilt": "1/16 reverse"}),
    "CompletionForm": (save_completion, {n: VISITOR[n] for n in ("outside", "bore_pitch", "notch", "thumb_hole", "tilt")}),
    "SystemForm": (save_system, TWIST_LOCK),
    "DepthForm": (
        save_depth,
        {"depth": "2 3/4", "datum": "crown", "obtained": "collar_measured", "pitch": "0", "resolution": "1/64", "observed_on": "2026-01-02"},
    ),
    "AxisPointForm": (save_axis_point, {"hand": "right", "point": "4 1/2 over 1/2 up", "found_by": "tape", "track": "4"}),
    "BallMarksForm": (
        save_marks,
        {"label_weight": "15", "real_weight": "15 lb 1 oz", "top_weight": "3", "has_mass_mark": "yes", "pin_mark": "6 3/4",
         "pin_centre": "2", "mark_centre": "5", "centre_side": "left", "doubt": "1/16"},
    ),
    "ScaleForm": (
        save_scale,
        {"resolution": "1/8", "arm": "4 1/4", "arm_doubt": "0.03", "mass": "2 oz", "mass_doubt": "0.01", "mass_step": "1 g",
         "place": "6 3/4", "lift": "1/8", "circumference": "27"},
    ),
}  # fmt: skip
