"""Bits and their collars: bores since the last sharpening, and control charts that detect a slipped collar.

A collar's chart restarts at every set-up event and needs eight points.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation.charts import SET_UP_READINGS, CollarChart, collar_chart
from app.closed_sets import BIT_EVENT_WORDS
from app.errors import InvalidError, NotFoundError
from app.measures.wording import in_64ths
from app.models import Bit, BitEvent, Drilling, DrillingStep
from app.models.numbers import LengthNumber
from app.schemas.bits import BitEventForm, BitForm
from app.services import changes, shop_limits

_MADE_SHARP = {"sharpened", "replaced"}


@dataclass(frozen=True)
class CollarReading:
    """One bore to the collar: depth met less depth planned, in inches."""

    at: datetime
    drilling_id: int
    deviation_in: float


@dataclass
class BitCard:
    """A bit with its events, its bores since the last sharpening, and its readings since the last set-up."""

    bit: Bit
    events: list[BitEvent] = field(default_factory=list)
    bores: int = 0
    readings: list[CollarReading] = field(default_factory=list)
    chart: CollarChart | None = None

    @property
    def sharpenings(self) -> int:
        return sum(event.what == "sharpened" for event in self.events)

    @property
    def is_worn(self) -> bool:
        return self.bit.bores_limit is not None and self.bores >= self.bit.bores_limit

    @property
    def to_go(self) -> int:
        """The number of readings that the chart still lacks."""
        return max(0, SET_UP_READINGS - len(self.readings))

    @property
    def signal(self) -> str:
        """The chart's signal in words, one cause at a time; empty without a signal or with too few readings."""
        if self.chart is None:
            return ""
        if self.chart.slipped_at is not None:
            slipped, since = self.chart.ewma.averages[-1] - self.chart.centre, self.readings[self.chart.slipped_at].at
            return f"collar reads {in_64ths(slipped, 'deeper', 'shallower')} since {since:%Y-%m-%d}"
        if self.chart.is_off_target:
            return f"collar was set {in_64ths(self.chart.centre, 'deeper', 'shallower')} than planned"
        if self.chart.is_last_wild:
            off = self.readings[-1].deviation_in - self.chart.centre
            return f"the last bore alone came out {in_64ths(off, 'deeper', 'shallower')} than the others"
        return ""


def list_cards(session: Session) -> list[BitCard]:
    """Returns every bit with its service life and its chart, in three queries."""
    found = {bit.label: BitCard(bit) for bit in session.scalars(select(Bit).order_by(Bit.label))}
    by_id = {card.bit.id: card for card in found.values()}
    for event in session.scalars(select(BitEvent).options(joinedload(BitEvent.staff)).order_by(BitEvent.id)):
        by_id[event.bit_id].events.append(event)
    bored: dict[str, list[DrillingStep]] = defaultdict(list)
    used = select(DrillingStep).where(DrillingStep.is_cut, DrillingStep.met_bit.in_(list(found)))
    for step in session.scalars(used.order_by(DrillingStep.ticked_at)):
        bored[step.met_bit].append(step)
    limits = shop_limits.load_limits(session)
    stated, sure = (float(limits[name].value_in) for name in ("collar_spread", "met_depth"))
    trials = _list_trials(session, {step.drilling_id for steps in bored.values() for step in steps}, sure)
    for label, card in found.items():
        _fill(card, bored[label], stated, trials)
    return list(found.values())


def _list_trials(session: Session, drilling_ids: set[int], sure_in: float) -> set[int]:
    """Returns the drillings whose bore is deepened by what the trial of an owned inner shows, as `Met.trial_in`.

    An inner whose height is known to `sure_in` inches or better needs none.
    """
    plans = session.execute(select(Drilling.id, Drilling.plan).where(Drilling.id.in_(drilling_ids)))
    return {
        drilling_id
        for drilling_id, plan in plans
        if plan and plan.owned and (plan.owned.unknown or plan.owned.half_width_in > sure_in)
    }


def _fill(card: BitCard, steps: Sequence[DrillingStep], stated_in: float, trials: set[int]) -> None:
    sharpened = max((e.at for e in card.events if e.what in _MADE_SHARP), default=None)
    set_up = max((e.at for e in card.events), default=None)
    for step in steps:
        if step.ticked_at is None:
            continue
        card.bores += sharpened is None or step.ticked_at > sharpened
        planned = next((n.value_in for n in step.numbers if isinstance(n, LengthNumber) and n.what == "depth"), None)
        is_read = step.action == "bore" and step.met_depth_in is not None and step.met_datum in {"collar", "rim_high"}
        is_read = is_read and step.drilling_id not in trials
        if is_read and planned is not None and (set_up is None or step.ticked_at > set_up):
            card.readings.append(
                CollarReading(step.ticked_at, step.drilling_id, float(step.met_depth_in or 0) - planned)
            )
    card.chart = collar_chart([reading.deviation_in for reading in card.readings], stated_in)


def list_signals(session: Session) -> list[tuple[str, str]]:
    """Returns (bit, signal) of every bit whose chart signals or that is worn, to be shown at the bench."""
    found = []
    for card in list_cards(session):
        if card.signal:
            found.append((card.bit.label, card.signal))
        if card.is_worn:
            found.append((card.bit.label, f"{card.bores} bores since it was sharpened: over the shop's limit"))
    return found


def add(session: Session, form: BitForm) -> Bit:
    """Adds a bit; raises InvalidError for a label that is taken."""
    if session.scalar(select(Bit).where(Bit.label == form.label)):
        raise InvalidError.at("label", "There is a bit of that label already.")
    limit = int(form.bores_limit) if form.bores_limit else None
    added = Bit(label=form.label, material=form.material, bores_limit=limit, notes=form.notes)
    changes.add_record(session, form.who, added, added.label)
    return added


def note_event(session: Session, bit_id: int, form: BitEventForm) -> BitEvent:
    """Records an event of a bit or its collar, which restarts its chart; raises NotFoundError."""
    bit = session.get(Bit, bit_id)
    if bit is None:
        raise NotFoundError("There is no such bit.")
    event = BitEvent(bit_id=bit.id, what=form.what, note=form.note, staff_id=form.who)
    session.add(event)
    changes.note(
        session, form.who, bit, changes.Entry("event", "", BIT_EVENT_WORDS[form.what], form.note)
    )  # it resets the bit's chart
    return event
