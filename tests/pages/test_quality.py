"""What the pages of quality say, and what they keep to themselves."""

import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.models import Drilling, Staff, now
from tests.conftest import Client
from tests.pages.test_pages import text_of
from tests.services.test_quality import drilled

pytestmark = pytest.mark.both


def test_a_figure_shows_from_twenty_cases_on(client: Client, session: Session) -> None:
    """18 of 20 within: 68.3 % to 98.8 % (scipy's binomtest, exact, as the service's tests hold it)."""
    session.execute(update(Drilling).values(closed_at=None, verdict=""))
    for number in range(19):
        drilled(session, now(), "long" if number < 2 else "within", "no. 2")
    session.commit()
    assert "every closed drilling n = 19: too few to say" in text_of(client.get("/quality").text)
    drilled(session, now())
    session.commit()
    told = text_of(client.get("/quality").text)
    assert "every closed drilling 20 90.0 % 68.3 % to 98.8 %" in told
    assert "bit no. 2 n = 19: too few to say" in told


def test_nobody_is_named_by_quality(client: Client, session: Session) -> None:
    people = session.execute(select(Staff.name)).scalars().all()
    session.rollback()
    page = text_of(client.get("/quality").text.partition("<main")[2])
    assert len(people) == 4
    assert not [name for name in people if name in page]


def test_one_click_from_a_drilling_leads_to_the_balls_like_it(client: Client, session: Session) -> None:
    of, other = drilled(session, now(), bit="no. 2"), drilled(session, now(), bit="no. 2")
    session.commit()
    assert f'href="/drillings/{of.id}/alike"' in client.get(f"/drillings/{of.id}").text
    page = client.get(f"/drillings/{of.id}/alike").text
    assert f'href="/drillings/{other.id}"' in page
    assert "2 balls bored with no. 2." in text_of(page)
    assert "No part was counted for this ball" in text_of(client.get(f"/drillings/{of.id}/alike?by=lot").text)
    assert client.get(f"/drillings/{of.id}/alike?by=driller").status_code == 404
