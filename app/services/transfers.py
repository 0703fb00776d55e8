"""Transfers: the same finished fit on other hardware."""

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Grip, SolvedGrip, place_in
from app.calculation.grip_solver import solve_grip
from app.errors import FieldError, InvalidError
from app.measures.wording import inches
from app.models import Fit
from app.schemas.fits import TransferForm
from app.services import grips, systems
from app.services.differences import Difference, tell_change


@dataclass(frozen=True)
class Transfer:
    """A fit on its own and on other hardware, with the differences in 64ths."""

    before: SolvedGrip
    after: SolvedGrip
    moved: list[Difference]


def compare_hardware(session: Session, fit: Fit, form: TransferForm) -> Transfer:
    """Solves the cut and sleeve-to-cut numbers that keep finished spans and bridge; raises InvalidError."""
    if not grips.can_solve(fit):
        raise InvalidError.at("", f"Unknown in fit {fit.letter}: {', '.join(grips.list_unknown(fit)) or 'something'}.")
    before = grips.solve(fit, fit.system)
    system = systems.get_system(session, form.system_id) if form.system_id else None
    for hardware in (system, fit.system):
        grips.require_known_sleeve(hardware)
    try:
        after = solve_grip(_ask_on_other_hardware(before, form, grips.get_sleeve_od_in(system)))
    except CannotBuildError as error:
        raise grips.to_invalid(error) from None
    if (after.bridge_cut_in or 0) < 0:
        raise InvalidError.at("middle_cut", "With these bores the finger holes run into each other at the surface.")
    return Transfer(before, after, _list_moved(before, after))


def _ask_on_other_hardware(before: SolvedGrip, form: TransferForm, sleeve_od_in: float | None) -> Grip:
    grip = before.grip
    _refuse_absent(grip, form)
    fingers = {}
    for name, finger in grip.fingers.items():
        reading = form.middle_cut if name == "middle" else form.ring_cut
        cut = float(reading.value) if reading.value is not None else finger.cut_in
        if cut < 2 * finger.inside_reach_in - 1e-9:
            raise InvalidError.at(f"{name}_cut", "The bore is smaller than the finished hole inside it, oval and lift.")
        fingers[name] = replace(finger, cut_in=cut, span_in=before.spans[name].finished_in)
    thumb, oval = grip.thumb, form.thumb_hole.value
    if thumb and oval:
        thumb = replace(thumb, hole_in=float(oval.hole_in), oval_in=float(oval.oval_in), oval_deg=float(oval.oval_deg))
    around = form.circumference.value
    return replace(
        grip,
        thumb=thumb,
        middle=fingers.get("middle"),
        ring=fingers.get("ring"),
        circumference_in=float(around) if around else grip.circumference_in,
        sleeve_od_in=sleeve_od_in,
        span_edges="finished",
        bridge_in=before.bridge_finished_in,
        bridge_edges="finished",
    )


def _refuse_absent(grip: Grip, form: TransferForm) -> None:
    """Raises InvalidError for a change of a hole that the grip has not."""
    filled = {
        "system_id": grip.thumb is None and form.system_id is not None,
        "thumb_hole": grip.thumb is None and form.thumb_hole.value is not None,
        "middle_cut": grip.middle is None and form.middle_cut.value is not None,
        "ring_cut": grip.ring is None and form.ring_cut.value is not None,
    }
    wrong = {
        field: FieldError("This fit has no such hole: leave it empty.")
        for field, is_wrong in filled.items()
        if is_wrong
    }
    if "system_id" in wrong:
        wrong["system_id"] = FieldError("This fit has no thumb hole: there is no thumb hardware to change.")
    if wrong:
        raise InvalidError(next(iter(wrong.values())).message, wrong)


def _list_moved(before: SolvedGrip, after: SolvedGrip) -> list[Difference]:
    lines, said = [], "span" if before.thumb else "reach"
    for name, old in before.spans.items():
        new = after.spans[name]
        lines.append(compare_lengths(f"finished {said} to {name}", old.finished_in, new.finished_in))
        lines.append(compare_lengths(f"cut {said} to {name}", old.cut_in, new.cut_in))
        if before.thumb:
            lines.append(compare_lengths(f"sleeve to cut, {name}", old.sleeve_to_cut_in, new.sleeve_to_cut_in))
    if before.bridge_finished_in is not None:
        lines.append(
            compare_lengths("finished bridge", before.bridge_finished_in, after.bridge_finished_in, "wider", "narrower")
        )
        lines.append(compare_lengths("cut bridge", before.bridge_cut_in, after.bridge_cut_in, "wider", "narrower"))
    back = "towards the thumb" if before.thumb else "towards the palm"
    for hole, axis in before.holes.items():
        old_at, new_at = place_in(axis), place_in(after.holes[hole])
        for place, sides, moved in (
            (0, ("forward", "back"), ("towards the fingers", back)),
            (1, ("right", "left"), ("to the right", "to the left")),
        ):
            here, there = old_at[place], new_at[place]
            what = f"{hole} centre, {'across' if place else 'along'}"
            words = tell_change(there - here, *moved)
            lines.append(Difference(what, _format_place(here, *sides), _format_place(there, *sides), words))
    return lines


def _format_place(value: float, plus: str, minus: str) -> str:
    """`2 15/64 back`: how far from the grip centre, and to which side; `0` on the line."""
    words = inches(abs(value))
    return words if words == "0" else f"{words} {plus if value > 0 else minus}"


def compare_lengths(
    what: str, old: float | None, new: float | None, more: str = "longer", less: str = "shorter"
) -> Difference:
    """One line of lengths in inches; None is a length without a sleeve."""
    if old is None or new is None:
        return Difference(what, _format_length(old), _format_length(new), "" if old is new else "changed")
    return Difference(what, _format_length(old), _format_length(new), tell_change(new - old, more, less))


def _format_length(value: float | None) -> str:
    return "no sleeve" if value is None else inches(value)
