"""What lies on the demo's shelf: inners since the first day, and all the rest since two months ago."""

from sqlalchemy import select

from app.models import Part
from app.schemas.parts import CountForm, DeliveryForm, PartForm
from app.services import parts, shelf
from seed_demo.bench_hands import COUNTER, DRILLER, Hands
from seed_demo.past import Story

SLEEVE = {"kind": "sleeve", "label": "Outer sleeve", "size": "1 1/2"}
INSERT = {"kind": "insert", "label": "Finger insert", "colour": "black"}
# what it is, its hardware by its short name, and how many were written down as delivered
PUT_THERE = (
    (SLEEVE | {"lot": "A7", "outside_low": "1.499", "outside_high": "1.5"}, "floor", 2),
    (SLEEVE | {"lot": "B2", "outside_low": "1.5", "outside_high": "1.504"}, "floor", 0),
    ({"kind": "sleeve", "label": "Flanged sleeve", "size": "1 1/2", "least": "4"}, "flange", 6),
    (INSERT | {"size": "11/16", "least": "6"}, "lifted", 5),
    (INSERT | {"size": "21/32"}, "lifted", 12),
    ({"kind": "slug", "label": "Solid slug", "size": "1 3/8", "lot": "9"}, "slug", 1),
    ({"kind": "glue", "label": "Quick adhesive", "lot": "Q-31", "cure_minutes": "15", "least": "2"}, "", 3),
    ({"kind": "glue", "label": "Slow resin", "lot": "R-08", "cure_minutes": "45", "least": "1"}, "", 2),
    ({"kind": "other", "label": "Sanding discs, 500 grit", "least": "20"}, "", 50),
)


def take_delivery(hands: Hands) -> None:
    """The first delivery of inners, before the first bowler."""
    inners = select(Part).where(Part.system_id == hands.hardware["floor"].id).order_by(Part.id)
    for part, count in zip(hands.session.scalars(inners).all(), (32, 4), strict=True):
        _deliver(hands, part, count, "first order")


def keep(hands: Hands) -> Story:
    """Since two months all is counted; one part runs low, one was used before anybody wrote down that it came."""
    yield 60
    made = []
    for typed, hardware, count in PUT_THERE:
        form = {"who": DRILLER, "system_id": hands.system_id(hardware)} | typed
        made.append(parts.add(hands.session, PartForm.read(form)))
        if count:
            _deliver(hands, made[-1], count, "note 4471")
    yield 3
    discs = made[-1]
    counted = {"who": DRILLER, "counted": "41", "why": "some got wet", "version": str(discs.version)}
    shelf.count(hands.session, discs.id, CountForm.read(counted))


def _deliver(hands: Hands, part: Part, count: int, why: str) -> None:
    form = {"who": COUNTER, "count": str(count), "why": why}
    shelf.deliver(hands.session, part.id, DeliveryForm.read(form))
