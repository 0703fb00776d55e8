"""What shops say on cards of their own depths: each piece of evidence counts once, whatever came when."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import cast

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation import bores
from app.calculation import shop_depths as calculated
from app.cards import contents
from app.cards.evidence import keep_latest
from app.closed_sets import Datum
from app.models import InsertSystem, Shop, StatedDepth
from app.models.balls import USUAL_CIRCUMFERENCE_IN
from app.services import shops
from app.services.known_depths import Stated

_USUAL_BORE_IN = Fraction(3, 2)  # common practice, no source
_PITCH_FREE = {"collar", "rim_high"}
_STATED = (
    select(StatedDepth, shops.select_counted_as(), InsertSystem.bore_in)
    .join(Shop, Shop.id == StatedDepth.shop_id)
    .join(InsertSystem, InsertSystem.id == StatedDepth.system_id)
    .where(shops.IS_COUNTED_WITH, StatedDepth.taken_back_at.is_(None))
    .order_by(StatedDepth.id)
)
HAS_SAID = (  # a column beside `Shop.id`
    select(StatedDepth.id).where(StatedDepth.shop_id == Shop.id, StatedDepth.taken_back_at.is_(None)).exists()
)
Key = tuple[int, int]  # the shop that others are merged into, and the system


def load_stated(session: Session, shop_ids: Iterable[int]) -> dict[Key, list[Stated]]:
    """Returns what counts of the statements of these shops, in one query.

    A statement replaces only those of its own shop: a shop speaks by its key alone, or by one accepted as its next.
    """
    told: dict[int, list[tuple[StatedDepth, Fraction | None]]] = defaultdict(list)
    for row, root, bore_in in session.execute(_STATED, {"shop_ids": sorted(shop_ids)}):
        told[root].append((row, bore_in))
    counted: dict[Key, list[Stated]] = defaultdict(list)
    for root, rows in told.items():
        left = keep_latest(_as_told(row) for row, _ in rows)
        for row, bore_in in rows:
            if left.get(row.evidence) == _as_told(row):
                del left[row.evidence]
                counted[root, row.system_id].append(read_stated(row, bore_in))
    return counted


def _as_told(row: StatedDepth) -> contents.Depth:
    """Returns a statement as a card has it, but for its places in that card's own lists."""
    return contents.Depth(
        mean_in=row.mean_in,
        u_in=row.u_in,
        scatter_in=row.scatter_in,
        n=row.n,
        balls=row.balls,
        datum=cast("Datum", row.datum),
        as_of=row.as_of,
        evidence=row.evidence,
    )


def read_stated(row: StatedDepth, bore_in: Fraction | None) -> Stated:
    """Returns a statement for the calculation: as a collar setting, over every datum and pitch it may have had."""
    read = bores.Bore(float(USUAL_CIRCUMFERENCE_IN), float(bore_in or _USUAL_BORE_IN), float(row.mean_in), 0.0, 0.0)
    datums = [datum for datum in bores.DATUMS if row.datum in {datum, "unknown"}]
    settings = [bores.collar_depth_in(read, datum) for datum in datums]
    low, high = min(settings), max(settings)
    u = (float(row.u_in) ** 2 + ((high - low) / 2) ** 2 / 3) ** 0.5  # JCGM 100:2008 4.3.7
    doubts = {
        "what the depth was measured from": row.datum == "unknown",
        "the pitch of the bores": row.datum not in _PITCH_FREE,
    }
    known = calculated.StatedDepth((low + high) / 2, u, float(row.scatter_in), row.balls)
    return Stated(row.id, known, row.as_of, tuple(words for words, is_doubt in doubts.items() if is_doubt))


def list_said(session: Session, shop_id: int) -> Sequence[StatedDepth]:
    """Returns all that a shop, and those merged with it, said on cards, newest first, with card and hardware."""
    query = (
        select(StatedDepth)
        .where(StatedDepth.shop_id.in_(select(Shop.id).where(shops.IS_COUNTED_WITH)))
        .options(joinedload(StatedDepth.card), joinedload(StatedDepth.system))
        .order_by(StatedDepth.as_of.desc(), StatedDepth.id.desc())
    )
    return session.scalars(query, {"shop_ids": [shop_id]}).all()
