"""The heights of an inner's trimmed rim above its seat, as measured on the loose inner here or at another shop."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.measures.wording import exact
from app.models import DepthObservation, Inner, Measurement
from app.schemas.inners import LooseHeights
from app.services import changes, loose_inners

PLACES = {"height_12": 12, "height_3": 3, "height_6": 6, "height_9": 9}


@dataclass(frozen=True)
class RimHeights:
    """Four heights in the inner's lock frame, and where they were measured unless here."""

    heights_in: tuple[Fraction, ...]
    note: str = ""

    @property
    def typed(self) -> dict[str, str]:
        """The heights as the form of a loose inner takes them."""
        return dict(zip(PLACES, map(exact, self.heights_in), strict=True))


def find_heights(session: Session, inner_ids: Sequence[int]) -> Mapping[int, RimHeights]:
    """Returns the heights by inner: those measured here last, else those that came with a card last."""
    return _find_brought(session, inner_ids) | _find_measured(session, inner_ids)


def _find_measured(session: Session, inner_ids: Sequence[int]) -> dict[int, RimHeights]:
    loose = (DepthObservation.inner_id.in_(inner_ids), DepthObservation.obtained == "loose_inner")
    found = {}
    for one in session.scalars(select(DepthObservation).where(*loose).order_by(DepthObservation.id)):
        form = LooseHeights.read(one.typed)
        read = (form.height_12, form.height_3, form.height_6, form.height_9)
        found[one.inner_id or 0] = RimHeights(tuple(height.given for height in read))
    return found


def _find_brought(session: Session, inner_ids: Sequence[int]) -> dict[int, RimHeights]:
    own = (Measurement.inner_id.in_(inner_ids), Measurement.what.in_(PLACES))
    told: dict[int, list[Measurement]] = {}
    for one in session.scalars(select(Measurement).where(*own).order_by(Measurement.id)):
        told.setdefault(one.inner_id or 0, []).append(one)
    return {inner_id: heights for inner_id, of in told.items() if (heights := pick_brought(of))}


def pick_brought(measured: Iterable[Measurement]) -> RimHeights | None:
    """Returns the heights that came with a card last, of an inner's measurements in their order."""
    last = {one.what: one for one in measured if one.what in PLACES}
    if len(last) < len(PLACES):
        return None
    return RimHeights(tuple(last[place].value_in for place in PLACES), last["height_12"].note)


def keep_brought(session: Session, who: int, of: Inner, heights_in: Sequence[Fraction], note: str) -> None:
    """Keeps heights that another shop measured; `note` says which, and on what they came.

    They are kept to be read: how the inner sits is worked out from its bore, of which they speak only when somebody
    saves what they say. Heights that the form of a loose inner refuses are told in the history, and not kept.
    """
    words = ", ".join(f"{changes.format_value(h)} at {p}" for p, h in zip(PLACES.values(), heights_in, strict=True))
    if not _are_of_a_rim(session, of, heights_in):
        entry = changes.Entry("rim above its seat", "", f"not kept: {words} cannot be of one clean cut", note)
        changes.note(session, who, of, entry, is_addition=True)
        return
    for what, height in zip(PLACES, heights_in, strict=True):
        session.add(
            Measurement(
                inner_id=of.id,
                stage="found",
                what=what,
                value_in=height,
                typed=exact(height)[:120],
                reference="seat",
                note=note,
                staff_id=who,
            )
        )
    changes.note(session, who, of, changes.Entry("rim above its seat", "", words, note), is_addition=True)


def _are_of_a_rim(session: Session, of: Inner, heights_in: Sequence[Fraction]) -> bool:
    """Whether the form of a loose inner would take these heights; without an outside it can only read them."""
    try:
        form = LooseHeights.read(RimHeights(tuple(heights_in)).typed)
        session.refresh(of, ["trimmed_in"])
        return of.outside_in is None or loose_inners.read_loose(session, of, form).is_one_clean_cut
    except InvalidError:
        return False
