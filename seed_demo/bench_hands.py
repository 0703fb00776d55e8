"""What the demo's people do at the counter and at the bench, in few words: each calls the service a page would."""

from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.measures.amounts import read_depth
from app.measures.wording import exact
from app.models import Ball, Bowler, Drilling, DrillingStep, Fit, Inner, InsertSystem, Shop, now
from app.schemas.balls import BallForm, RetirementForm
from app.schemas.bowlers import BowlerForm
from app.schemas.drillings import (
    ClosingForm,
    ConfirmationForm,
    DecisionForm,
    DrilledForm,
    FindingForm,
    FinishForm,
    PlanForm,
    PluggingForm,
    TickForm,
)
from app.schemas.fits import FitForm, InForceForm, RevisionForm
from app.schemas.inners import VisitorForm
from app.schemas.troubles import TroubleForm
from app.services import (
    balls,
    bench,
    bench_paper,
    bowlers,
    drillings,
    fits,
    inners,
    measurements,
    plans,
    troubles,
    visitors,
)
from app.services.work_outs import work_out
from seed_demo.world import FIT

OWNER, COUNTER, DRILLER = "1", "3", "4"  # Imke Sand, Runa Vale, Odd Lien
MIRRORED = {
    "middle_pitch": "1/4 reverse, 1/16 right",
    "ring_pitch": "1/4 reverse, 1/8 left",
    "thumb_hole": "15/16 + 1/16 @ 45 left",
}


class Hands:
    """The demo's people at work in one session; hardware and shops by short names."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.hardware: dict[str, InsertSystem] = {}
        self.shops: dict[str, Shop] = {}
        self.typed: dict[int, dict[str, str]] = {}  # by fit

    def system_id(self, name: str) -> str:
        return str(self.hardware[name].id) if name else ""

    # The counter ------------------------------------------------------------------------------------------------------

    def register(self, name: str, phone: str, hand: str = "right", home: str = "ours", **more: str) -> Bowler:
        form = {"who": COUNTER, "name": name, "phone": phone, "hand": hand, "is_somebody_else": "true"}
        form |= {"home_shop_id": str(self.shops[home].id)} | more
        return bowlers.register(self.session, BowlerForm.read(form))

    def ball(self, of: Bowler, label: str, serial: str = "", weight: str = "15", **more: str) -> Ball:
        form = {"who": COUNTER, "label": label, "serial": serial, "weight": weight, "circumference": "27"} | more
        return balls.add(self.session, of, BallForm.read(form))

    def retire(self, ball: Ball, why: str) -> None:
        form = {"who": COUNTER, "version": str(ball.version), "why": why}
        balls.retire(self.session, ball.id, RetirementForm.read(form))

    def visit(self, of: Bowler, shop: str, label: str, **more: str) -> Inner:
        """Takes in an inner and ball that another shop drilled."""
        form = {"who": COUNTER, "bowler_id": str(of.id), "hand": of.hand, "shop_id": str(self.shops[shop].id)}
        form |= {"system_id": self.system_id("floor"), "outside": "1 1/4", "thumb_hole": "31/32", "tilt": "0"}
        form |= {"bore_pitch": "1/4 reverse, 0", "notch": "6:00", "circumference": "27", "ball_label": label} | more
        return visitors.take_in(self.session, VisitorForm.read(form))

    def trouble(self, of: Drilling, what: str, note: str) -> None:
        form = {"who": COUNTER, "system_id": str(of.system_id), "drilling_id": str(of.id), "what": what, "note": note}
        troubles.add(self.session, TroubleForm.read(form))

    # Fits -------------------------------------------------------------------------------------------------------------

    def draft(self, of: Bowler, system: str = "", **changed: str) -> Fit:
        hand = changed.get("hand", of.hand)
        typed = FIT | {"hand": hand, "system_id": self.system_id(system)} | (MIRRORED if hand == "left" else {})
        made = fits.add_draft(self.session, of, FitForm.read({"who": DRILLER} | typed | changed))
        self.typed[made.id] = typed | changed
        return made

    def put_in_force(self, fit: Fit) -> Fit:
        self.session.flush()
        return fits.put_in_force(self.session, fit.id, InForceForm.read({"who": DRILLER, "version": str(fit.version)}))

    def fit(self, of: Bowler, system: str = "", **changed: str) -> Fit:
        return self.put_in_force(self.draft(of, system, **changed))

    def revise(self, fit: Fit, reason: str, **changed: str) -> Fit:
        """Copies a fit into a draft and types what changes."""
        made = fits.revise(self.session, fit.id, RevisionForm.read({"who": DRILLER, "reason": reason}))
        self.session.flush()
        typed = self.typed[fit.id] | {"reason": reason} | changed
        fits.edit(self.session, made.id, FitForm.read({"who": DRILLER, "version": str(made.version)} | typed))
        self.typed[made.id] = typed
        return made

    # Drillings --------------------------------------------------------------------------------------------------------

    def plan(self, ball: Ball, fit: Fit, **chosen: str) -> Drilling:
        form = {"who": DRILLER, "fit_id": str(fit.id), "system_id": str(fit.system_id or "")} | chosen
        made = plans.plan_drilling(self.session, ball, PlanForm.read(form))
        self.session.flush()
        return made

    def plan_of(self, drilling_id: int) -> Drilling:
        """Returns a drilling that was planned before."""
        return drillings.get_drilling(self.session, drilling_id)

    def bench(self, of: Drilling, until: str, bit: str = "", depth: str = "2 3/4 collar") -> Drilling:
        """Ticks the steps up to an action, that one too; the bore's depth and bit are as met."""
        bench.confirm(self.session, of.id, ConfirmationForm.read({"who": DRILLER, "reason": ""}))
        ticks = {}
        for step in of.steps:
            met = {"depth": depth, "bit": bit} if step.action == "bore" else {"not_read": "true"}
            ticks[step.position] = TickForm.read({"who": DRILLER} | met)
            if step.action == until:
                break
        bench.tick_together(self.session, of.id, ticks)
        return of

    def decide(self, of: Drilling, decision: str, **more: str) -> None:
        form = {"who": DRILLER, "version": str(of.version), "decision": decision} | more
        bench.decide(self.session, of.id, DecisionForm.read(form))
        self.session.flush()

    def drill(self, of: Drilling, depth: str = "2 3/4", reason: str = "") -> Drilling:
        """Marks a ball as drilled from the form on paper."""
        form = {"who": DRILLER, "version": str(of.version), "reason": reason}
        form |= {"depth": depth, "datum": "collar"} if of.system_id else {"depth": "", "datum": "unknown"}
        drillings.mark_drilled(self.session, of.id, DrilledForm.read(form))
        self.session.flush()
        return of

    def note_bit(self, of: Drilling, bit: str, depth: str) -> None:
        """Adds what the paper beside the machine says of the bore: with which bit, and how deep it came out."""
        steps = (DrillingStep.drilling_id == of.id, DrillingStep.action == "bore")
        bore = self.session.scalars(select(DrillingStep).where(*steps)).one()
        bore.ticked_at, bore.staff_id, bore.met_bit, bore.typed = now(), int(DRILLER), bit, {"depth": depth, "bit": bit}
        bore.met_depth_in, bore.met_datum = read_depth(depth).given.depth_in, "collar"

    def finish_on_paper(self, of: Drilling) -> Drilling:
        """Ends a bench that was left after its bore: the rest was done and written down on paper."""
        form = {"who": DRILLER, "version": str(of.version), "depth": "", "datum": "unknown"}
        bench_paper.finish_on_paper(self.session, of.id, DrilledForm.read(form))
        self.session.flush()
        return of

    def measure(self, of: Drilling, off_64ths: int = 0, instrument: str = "span gauge") -> Drilling:
        """Reads every finishing measure so many 64ths beside its prediction."""
        predicted = work_out(drillings.get_current_plan(of)).predictions_in
        read = {part: exact(Fraction(round(value * 64) + off_64ths, 64)) for part, value in predicted.items()}
        form = {"who": DRILLER, "version": str(of.version), "instrument": instrument} | read
        measurements.record_measurement(self.session, of.id, FinishForm.read(form))
        self.session.flush()
        return of

    def close(self, of: Drilling, reason: str = "") -> Drilling:
        form = {"who": DRILLER, "version": str(of.version), "reason": reason}
        measurements.close_drilling(self.session, of.id, ClosingForm.read(form))
        self.session.flush()
        return of

    def find(self, of: Drilling, what: str, value: str, note: str) -> None:
        form = {"who": DRILLER, "version": str(of.version), "what": what, "value": value, "note": note}
        measurements.add_finding(self.session, of.id, FindingForm.read(form))
        self.session.flush()

    def plug(self, of: Drilling, reason: str, **filled: str) -> None:
        form = {"who": DRILLER, "version": str(of.version), "reason": reason} | filled
        bench.plug(self.session, of.id, PluggingForm.read(form))
        self.session.flush()

    def inner_of(self, of: Drilling) -> Inner:
        assert of.inner_id is not None
        return inners.get_inner(self.session, of.inner_id)
