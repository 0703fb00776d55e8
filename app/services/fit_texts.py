"""The texts of a fit's form: as typed, and “same” or a dash for a measure of the fit that is revised.

What repeats a measure is stored with the text that it repeats, so that it can be read again without the earlier fit.
"""

from collections.abc import Mapping

from sqlalchemy.orm import Session

from app.closed_sets import BRIDGE_EDGES_WORDS, SPAN_EDGES_WORDS
from app.errors import InvalidError
from app.measures.pairs import read_span_pair
from app.measures.spelling import repeat, says_same
from app.measures.wording import exact
from app.models import Fit
from app.services import fits, grips

_MEASURES = (
    *("spans", "bridge", "thumb_hole", "thumb_pitch", "thumb_offset"),
    *(f"{digit}_{what}" for digit in grips.FINGERS for what in ("hole", "cut", "lift", "pitch", "depth")),
)
_EDGES: tuple[tuple[str, str, Mapping[str, str]], ...] = (
    ("spans", "span_edges", dict[str, str](SPAN_EDGES_WORDS.items())),
    ("bridge", "bridge_edges", dict[str, str](BRIDGE_EDGES_WORDS.items())),
)


def list_texts(fit: Fit) -> dict[str, str]:
    """Returns a fit's form as typed; spans that were never typed are formatted exactly."""
    texts = {
        "hand": fit.hand,
        "grip_holes": fit.grip_holes,
        "style": fit.style,
        "reason": fit.reason,
        "span_edges": fit.span_edges,
        "bridge_edges": fit.bridge_edges,
        "system_id": str(fit.system_id or ""),
        "hand_notes": fit.hand_notes,
        "clinician_notes": fit.clinician_notes,
    }
    texts |= {f"{hole.digit}_insert": str(hole.system_id or "") for hole in fit.holes if hole.digit != "thumb"}
    spans = [span for span in map(fit.span_in, fit.fingers) if span is not None]
    if len(spans) == len(fit.fingers):
        texts["spans"] = " x ".join(map(exact, spans))
    return texts | fit.typed


def find_revised(session: Session, bowler_id: int, hand: str) -> Fit | None:
    """Returns the fit that a new one of this hand revises: the one in force."""
    return next((f for f in fits.list_of_bowler(session, bowler_id) if (f.hand, f.state) == (hand, "in force")), None)


def repeat_same(posted: Mapping[str, str], revised: Fit | None) -> dict[str, str]:
    """Returns the form with “same” and dashes replaced by what the revised fit has there, marked as the same."""
    before = list_texts(revised) if revised else {}
    return {**posted, **{name: repeat(before.get(name, "")) for name in _list_same(posted) if revised}}


def require_same_edges(posted: Mapping[str, str], revised: Fit | None) -> None:
    """Raises InvalidError where a span or the bridge is to be the same as before, and its edges or holes are others."""
    before = list_texts(revised) if revised else {}
    if revised and "spans" in _list_same(posted) and posted.get("grip_holes", "three") != revised.grip_holes:
        raise InvalidError.at(
            "spans", f"Fit {revised.letter} has other holes, so its spans are no spans of this grip. Write them."
        )
    for name, edges, words in _EDGES:
        if name in _list_same(posted) and before.get(name) and posted.get(edges) != before[edges]:
            assert revised
            raise InvalidError.at(
                edges,
                f"The {name} are to be the same as in fit {revised.letter}, where they are {words[before[edges]]}. "
                "Choose those edges, or write what was measured.",
            )


def require_own_spans(posted: Mapping[str, str], before: Fit | None) -> None:
    """Raises InvalidError where the spans are those of a fit with other holes, unchanged in the form.

    A reach that is taken for a span, or the span of another finger, would be drilled without anybody having said so.
    """
    holes, text = posted.get("grip_holes") or "three", posted.get("spans", "").strip()
    if before is None or holes == before.grip_holes or not text or text != list_texts(before).get("spans", "").strip():
        return
    what = {"thumbless": "reaches from the palm's plus", "thumb_middle": "span to the middle finger"}
    what |= {"thumb_ring": "span to the ring finger", "three": "spans from the thumb hole"}
    raise InvalidError.at(
        "spans",
        f"These were the {what[before.grip_holes]} in fit {before.letter}, of other holes. Write the {what[holes]}.",
        *_name_fingers(text, holes),
    )


def _name_fingers(text: str, holes: str) -> list[str]:
    """The same numbers, written with their fingers: who chooses it says that they are measured in this grip too."""
    pair = read_span_pair(text, "middle", holes).value
    if pair is None:
        return []
    told = {"middle": pair.middle_in, "ring": pair.ring_in}
    edges = {"sleeve": " sleeve to cut"}.get(pair.edges, f" {pair.edges}" if pair.edges else "")
    named = [f"{finger} {exact(value)}" for finger, value in told.items() if value is not None]
    return [", ".join([*named, *([f"{pair.unknown} unknown"] if pair.unknown else [])]) + edges]


def _list_same(posted: Mapping[str, str]) -> list[str]:
    return [name for name in _MEASURES if says_same(posted.get(name, ""), counts_dash=True)]
