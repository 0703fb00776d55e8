"""Screens of the bench: the steps that a driller does at one setting of the machine, shown and ticked together.

A stored route does not change: each of its steps keeps its own tick, reading and line of history, so a plan begun
before there were screens is finished like any other. A screen ends where something has to be judged before the work
goes on: before the first cut, at which the pause is due, and after every step that reads a depth or a rim, so that
nothing is cut deeper or glued over a reading beyond a limit. A pitch or a pilot can be judged alone, before its cut.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Drilling, DrillingStep

# Common practice, no source: what belongs to one setting of the machine, or to one handling of sleeve, inner or insert.
_TOGETHER = (
    {"bore_pitch", "bore_check", "pilot", "bore"},
    {"ream", "drop_in"},
    {"glue", "glue_slug", "set_height", "seat_flange", "notch"},
    {"zero", "flush", "flush_slug", "bevel", "clean", "lock_in", "free_turn"},
    {"thumb_pitch", "thumb_check", "pilot_inner", "drill_inner", "drill_thumb"},
    {"zero_inner", "flush_inner", "bevel_thumb", "clean", "free_turn"},
    {"middle_pitch", "middle_check", "middle_bore"},
    {"ring_pitch", "ring_check", "ring_bore"},
    {"middle_insert", "ring_insert", "finger_bevel"},
)
_JUDGED = {"depth", "rim"}  # what ends a screen once it is read


@dataclass(frozen=True)
class Screen:
    """Steps shown and ticked together, in their order; `number` counts screens from 1."""

    number: int
    steps: tuple[DrillingStep, ...]

    @property
    def due(self) -> list[DrillingStep]:
        """Those of its steps that are neither ticked nor skipped."""
        return [step for step in self.steps if step.ticked_at is None]

    @property
    def main(self) -> DrillingStep:
        """The step whose words and number the driller reads from afar: the one that is judged, else the first told."""
        judged = (step for step in self.steps if _JUDGED & set(step.reads))
        told = (step for step in self.steps if step.numbers)
        return next(judged, None) or next(told, self.steps[0])

    @property
    def reader(self) -> DrillingStep:
        """The step whose readings are asked for under their plain names: the one that is judged, else the last due."""
        return self.main if _JUDGED & set(self.main.reads) else (self.due or self.steps)[-1]

    @property
    def passed(self) -> list[DrillingStep]:
        """Those of its steps that are ticked or skipped."""
        return [step for step in self.steps if step.ticked_at is not None]


def list_screens(of: Drilling) -> list[Screen]:
    """Returns every step of a drilling in screens; the same ones whatever is ticked."""
    groups: list[list[DrillingStep]] = []
    first_cut = next((step for step in of.steps if step.is_cut), None)
    for step in of.steps:
        if groups and step is not first_cut and _belongs(groups[-1], step):
            groups[-1].append(step)
        else:
            groups.append([step])
    return [Screen(number, tuple(group)) for number, group in enumerate(groups, 1)]


def find_screen(screens: Iterable[Screen], step: DrillingStep) -> Screen:
    """Returns the screen that a step is on."""
    return next(screen for screen in screens if step in screen.steps)


def list_ticked_with(of: Drilling, position: int) -> list[int]:
    """Returns the position of a ticked step and those of the later steps of its screen that are ticked too."""
    screen = next(s for s in list_screens(of) if any(step.position == position for step in s.steps))
    return [step.position for step in screen.passed if step.position >= position]


def _belongs(group: Sequence[DrillingStep], step: DrillingStep) -> bool:
    actions = {*(other.action for other in group), step.action}
    return not _JUDGED & set(group[-1].reads) and any(actions <= together for together in _TOGETHER)


def are_ticked(session: Session, drilling_id: int, positions: Sequence[int]) -> bool:
    """Whether all of these steps are ticked or skipped."""
    own = (DrillingStep.drilling_id == drilling_id, DrillingStep.position.in_(positions))
    found = session.scalars(select(DrillingStep.ticked_at).where(*own)).all()
    return bool(found) and all(found)
