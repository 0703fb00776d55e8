from sqlalchemy.orm import Session

from app.schemas.fits import FitForm, InForceForm, RevisionForm
from app.services import bench, fits, stale_plans
from app.services.work_outs import work_out
from seed_demo.world import FIT
from tests.conftest import not_none
from tests.services.conftest import Make


def test_a_fit_revised_after_the_plan_makes_it_stale_and_changes_nothing(
    session: Session, make: Make, who: str
) -> None:
    of = make()
    before = work_out(not_none(of.plan)).predicted_in("middle")
    assert stale_plans.find_staleness(session, of) is None
    revised = fits.revise(session, not_none(of.fit_id), RevisionForm.read({"who": who, "reason": "shorter"}))
    session.flush()
    typed = FIT | {"who": who, "hand": "left", "spans": "3 15/16 x 4 1/8", "version": str(revised.version)}
    fits.edit(session, revised.id, FitForm.read(typed | {"system_id": str(of.system_id)}))
    session.flush()
    fits.put_in_force(session, revised.id, InForceForm.read({"who": who, "version": str(revised.version)}))
    session.flush()
    of = bench.get_drilling(session, of.id)
    stale = not_none(stale_plans.find_staleness(session, of))
    assert stale.letter == "B"
    assert [line.words for line in stale.lines if line.what == "span to middle"] == ["1/16 shorter"]
    assert work_out(not_none(of.plan)).predicted_in("middle") == before
