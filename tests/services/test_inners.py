"""Inners of our own: what is unknown of one, and what was found of it later."""

from fractions import Fraction

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Drilling, Inner
from app.schemas.inners import InnerFindingForm
from app.services import inners, visitors
from tests.conftest import Client
from tests.services.conftest import Arrive, Take

INNER = {"label": "spare thumb", "outside": "1 1/4", "thumb_hole": "15/16", "tilt": "0"}


@given(unknown=st.sets(st.sampled_from(["thumb_hole", "tilt"]), min_size=1))
@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_is_unknown_of_an_own_inner_stays_so(
    session: Session, client: Client, who: str, unknown: set[str]
) -> None:
    bore_id = session.scalars(select(Drilling.bore_id).where(Drilling.id == 1)).one()
    session.rollback()
    form = {"who": who, "trimmed_in_id": str(bore_id)} | INNER | dict.fromkeys(unknown, "unknown")
    assert client.post("/bowlers/1/inners", form).status_code == 303
    added = session.scalars(select(Inner).order_by(Inner.id.desc()).limit(1)).one()
    assert (added.hole_in is None, added.forward_in is None) == ("thumb_hole" in unknown, "tilt" in unknown)
    page = client.get(f"/inners/{added.id}").text
    assert page.count('class="unknown"') >= len(unknown)
    assert page.count("cannot say") == len(unknown)  # what is felt, and which way its oval points
    session.rollback()


def test_a_tilt_under_the_palm_is_of_the_drillings_hand(
    session: Session, taken: Take, client: Client, who: str
) -> None:
    inner = taken(hand="left", tilt="0, 1/8 under")
    assert inner.trimmed_in.hand == "left"
    assert inner.right_in == Fraction(-1, 8)  # a left palm is on the left of its thumb
    inner.bowler.hand = "right"
    session.commit()
    page = client.get(f"/inners/{inner.id}").text
    assert "one-eighth to the left, towards the palm" in page
    form = {"who": who, "trimmed_in_id": str(inner.trimmed_in_id)} | INNER | {"tilt": "0, 1/8 under"}
    assert client.post(f"/bowlers/{inner.bowler_id}/inners", form).status_code == 303
    added = session.scalars(select(Inner).order_by(Inner.id.desc()).limit(1)).one()
    assert added.right_in == Fraction(-1, 8)


def test_an_inner_sanded_at_home_is_recorded_as_found_beside_what_was_built(
    session: Session, arrives: Arrive, who: str
) -> None:
    taken = visitors.take_in(session, arrives())
    found = {"who": who, "value": "63/64", "note": "sanded at home"}
    inners.add_finding(session, taken.id, InnerFindingForm.read(found))
    session.flush()
    assert inners.get_inner(session, taken.id).hole_in == Fraction(31, 32)
    assert [m.value_in for m in inners.list_findings(session, taken.id)] == [Fraction(63, 64)]


def test_an_outside_that_nobody_measured_is_added_later(session: Session, taken: Take, client: Client) -> None:
    inner = taken(outside="unknown")
    assert (inner.outside_in, inner.typed["outside"], inner.counted_outside_in) == (None, "unknown", Fraction(5, 4))
    session.commit()
    url, heights = f"/inners/{inner.id}", {f"height_{at}": "2 3/4" for at in (12, 3, 6, 9)}
    assert client.post(f"{url}/loose", heights).status_code == 422  # its pitch would follow from the outside
    for typed in ("7/8", "1 5/8", "x"):  # narrower than its hole, wider than its sleeve
        refused = client.post(f"{url}/completion", {"version": "1", "outside": typed})
        assert (refused.status_code, 'id="known-outside-error"' in refused.text) == (422, True)
    assert client.post(f"{url}/completion", {"version": "1", "outside": "1 1/8"}).status_code == 303
    assert client.post(f"{url}/loose", heights).status_code == 303
    session.expire_all()
    assert (inner.outside_in, inner.typed["outside"]) == (Fraction(9, 8), "1 1/8")
    assert 'class="unknown"' not in client.get(url).text
