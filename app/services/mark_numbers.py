"""The marks of a layout as a step tells them: in the order in which a driller draws them.

Common practice, no source: centre line and grip centre first, the thumb's cut line half a span back from it, half the
bridge to each side, then each span by tape from the thumb's cut line; without a thumb hole from the palm's plus. A
thumb beside the centre line gets a line of its own, and the tape begins where that crosses the cut line.
"""

from app.calculation.cuts import Cut
from app.calculation.marking import GripMarks, lay_out
from app.models.numbers import MarkNumber, Numbers
from app.services.work_outs import WorkedOut

_SAME_IN = 0.00005  # what a ten-thousandth shows as 0


def tell_marks(worked: WorkedOut) -> Numbers:
    """Returns every mark of a grip, those of the thumb first."""
    marks = lay_out(worked.solved)
    thumb = [*_tell_thumb_lines(marks), *(n for cut in worked.cuts_of("bore") for n in _tell_bore(cut))]
    bridges = (n for finger in marks.fingers for n in _tell_bridge(worked, marks, finger))
    tapes = (n for finger in marks.fingers for n in _tell_tape(worked, marks, finger))
    return (*thumb, *bridges, *tapes)


def tell_marks_of(hole: str, worked: WorkedOut) -> Numbers:
    """Returns the marks that the bit of one hole touches: `bore`, `thumb`, `middle` or `ring`."""
    marks = lay_out(worked.solved)
    if hole == "bore":
        return tuple(n for cut in worked.cuts_of("bore") for n in _tell_bore(cut))
    if hole == "thumb":
        return tuple(n for cut in worked.cuts_of("thumb")[:1] for n in _tell_first_plunge(cut))
    return (*_tell_tape(worked, marks, hole), *_tell_bridge(worked, marks, hole))


def _tell_thumb_lines(marks: GripMarks) -> Numbers:
    if marks.cut_line_in is None or marks.thumb_line_in is None:
        return ()
    told: Numbers = (MarkNumber("thumb's cut line", marks.cut_line_in, "back from the grip centre"),)
    if abs(marks.thumb_line_in) < _SAME_IN:
        return told
    words = f"{_name_side(marks.thumb_line_in)} of the centre line, along the cut line"
    return (*told, MarkNumber("thumb's own line", abs(marks.thumb_line_in), words))


def _tell_bore(cut: Cut) -> Numbers:
    along_in, across_in = cut.near_edge_in
    words = f"{'back' if along_in < 0 else 'forward'} from the grip centre"
    return (MarkNumber("sleeve bore's edge", abs(along_in), words), *_tell_across("sleeve bore's edge", across_in))


def _tell_first_plunge(cut: Cut) -> Numbers:
    along_in, across_in = cut.near_edge_in
    words = f"{'back' if along_in < 0 else 'forward'} from the grip centre"
    return (MarkNumber("thumb bit's edge", abs(along_in), words), *_tell_across("thumb bit's edge", across_in))


def _tell_across(what: str, across_in: float) -> Numbers:
    """A mark beside the centre line; nothing for one that lies on it."""
    if abs(across_in) < _SAME_IN:
        return ()
    return (MarkNumber(what, abs(across_in), f"{_name_side(across_in)} of the centre line"),)


def _tell_bridge(worked: WorkedOut, marks: GripMarks, finger: str) -> Numbers:
    own = marks.fingers["middle" if finger == "middle" else "ring"]
    if own.half_bridge_in is None:
        return ()
    side = _name_side(worked.places[finger][1])
    over = "" if own.half_bridge_in >= 0 else ", over the line"  # a bridge of nearly nothing between unequal spans
    return (MarkNumber(f"half the bridge, {finger}", abs(own.half_bridge_in), f"{side} of the centre line{over}"),)


def _tell_tape(worked: WorkedOut, marks: GripMarks, finger: str) -> Numbers:
    own = marks.fingers["middle" if finger == "middle" else "ring"]
    start = "the thumb's cut line" if worked.solved.thumb else "the plus"
    return (MarkNumber(f"tape to the {finger}", own.tape_in, f"from {start} to its near edge"),)


def _name_side(across_in: float) -> str:
    return "right" if across_in > 0 else "left"
