"""What goes from one installation to another on cards: revisions out of order, the other hand, heights of a rim."""

from collections.abc import Iterator
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.cards.envelope import Opened, open_card
from app.db import open_engine, sessions
from app.models import Fit, Inner
from app.schemas.cards import IssueForm
from app.schemas.identities import SetupForm
from app.services import card_issues, card_previews, card_reading, inner_heights, shops
from seed_demo import PASSWORD, PIN
from tests.conftest import Databases, not_none
from tests.services.cards import take
from tests.services.test_inner_heights import measure

pytestmark = pytest.mark.both
MEASURED = tuple(map(Fraction, ("2.750", "2.719", "2.688", "2.719")))


@pytest.fixture
def there(databases: Databases, empty_url: str) -> Iterator[Session]:
    """A second shop's database, which never saw the first; its owner is person 1."""
    engine = open_engine(empty_url)
    with sessions(engine)() as session:
        owner = {"staff_name": "Tova Brandt", "initials": "TB", "password": PASSWORD, "pin": PIN}
        shops.set_up(session, SetupForm.read(owner | {"shop_name": "Second Lane", "town": "Far Mere"}))
        session.flush()
        yield session
    engine.dispose()


def issue(session: Session, who: str, hand: str = "right") -> Opened:
    issued = card_issues.issue(session, 1, IssueForm.read({"who": who, "hand": hand}))
    session.flush()
    return open_card(issued.data)


def test_measured_heights_of_a_rim_arrive_as_they_were_measured(session: Session, there: Session, who: str) -> None:
    inner = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    measure(session, who, inner.id)
    opened = issue(session, who)
    taken = take(there, "1", opened)
    (arrived,) = taken.made["inner"]
    found = inner_heights.find_heights(there, [arrived])[arrived]
    assert found.heights_in == MEASURED
    assert opened.card.maker in found.note


def test_an_older_revision_after_a_newer_one_is_told_and_takes_nothing_away(
    session: Session, there: Session, who: str
) -> None:
    older = issue(session, who)
    inner = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    inner.label = "renamed since"
    session.flush()
    newer = issue(session, who)
    assert (older.card.series, older.card.revision + 1) == (newer.card.series, newer.card.revision)
    first = take(there, "1", newer)
    (arrived,) = first.made["inner"]
    told = card_reading.tell(there, 1, older)
    there.flush()
    assert (told.newer, told.is_unknown, told.taken) == (newer.card.revision, False, None)
    assert card_reading.find_bowler_id(there, older) == first.bowler_id
    second = take(there, "1", older, bowler_id=not_none(first.bowler_id), takes_fit="")
    assert second.made["inner"] == []
    assert not_none(there.get(Inner, arrived)).label == "renamed since"


def test_the_card_of_the_other_hand_adds_its_own_fit_to_the_same_bowler(
    session: Session, there: Session, who: str
) -> None:
    """One series for both hands; the fit of one hand is never compared with that of the other."""
    right = issue(session, who)
    left_fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == 1, Fit.state == "in force")))
    left_fit.hand = "left"
    session.flush()
    left = issue(session, who, "left")
    assert (left.card.series, left.card.hand, left.card.inners) == (right.card.series, "left", ())
    first = take(there, "1", right)
    bowler_id = not_none(first.bowler_id)
    told = card_reading.tell(there, 1, left)
    there.flush()
    found = card_previews.preview(there, told, bowler_id)
    assert (card_reading.find_bowler_id(there, left), told.newer, found.has_draft) == (bowler_id, 0, False)
    second = take(there, "1", left, bowler_id=bowler_id)
    drafts = there.scalars(select(Fit).where(Fit.bowler_id == bowler_id).order_by(Fit.id)).all()
    assert [(fit.id, fit.hand) for fit in drafts] == [(*first.made["fit"], "right"), (*second.made["fit"], "left")]
    again = card_reading.look_again(there, right)
    assert again.newer == 0, "a card of the other hand is no newer revision of this one"
