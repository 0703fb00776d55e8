from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import DepthObservation
from tests.conftest import Client, not_none
from tests.pages.test_pages import text_of


def test_visitor_intake_offers_what_is_known_of_the_shop(client: Client, session: Session) -> None:
    fragment = client.get("/visitors/known-depth?shop_id=2&system_id=1", headers={"HX-Request": "true"}).text
    observed = not_none(session.scalar(select(DepthObservation.observed_on).where(DepthObservation.shop_id == 2)))
    assert "This shop is known" in fragment
    assert f"{(date.today() - observed).days} days ago" in text_of(fragment)
