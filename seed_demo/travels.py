"""The demo's card for a journey, a card that a visitor brought, and a sheet of old cards with two rows to answer."""

from dataclasses import asdict, replace
from datetime import date, timedelta

from sqlalchemy import select

from app.cards.envelope import open_card, seal_card
from app.models import Bowler
from app.schemas.cards import IssueForm, TakingForm
from app.services import card_contents, card_issues, card_reading, card_takings, sheet_imports, sheet_passes
from app.sheets.conventions import Conventions
from app.sheets.files import read_file
from seed_demo.bench_hands import COUNTER, OWNER, Hands
from seed_demo.past import Story

MAKER, VISITOR = "Cobble Row Lanes", "Tamsin Overly"
_KEY = bytes(range(7, 39))  # of an invented shop, for the demo alone
_SERIES = bytes(range(6))
OLD_CARDS = """Name,Phone,Hand,Span M,Span R,Thumb hole,Thumb F/R,Thumb L/R,Mid hole,Mid F/R,Mid L/R,Ring hole,Ring F/R,Ring L/R,Bridge,Fitted,Remarks
Osk Brennand,555 0163 1,R,4 3/8,4 1/2,31/32,1/4 R,1/8 L,3/4,0,1/8 R,25/32,0,1/8 L,1/4,2019-03-08,
Petra Quillon,555 0163 2,R,4 1/8,4 3/16,7/8,3/8 R,0,11/16,1/4 R,0,21/32,1/4 R,1/8 R,1/4,2020-10-02,
Ivo Sandmark,555 0163 3,L,4 1/4,08.03.2024,15/16,1/4 R,0,11/16,0,0,11/16,0,0,1/4,2021-01-15,
Petra Quillon,,R,4 1/8,4 3/16,15/16,1/4 R,0,11/16,1/4 R,0,21/32,1/4 R,0,1/4,2018-05-20,
"""  # noqa: E501 - the third has a span that a spreadsheet made a date, the last has a name twice
SAID = Conventions(
    style="fingertip", span_edges="cut", bridge_edges="cut", first_finger="middle", plain_vertical="forward",
    plain_lateral="right", seen_from="outside", units="in", pitch_units="in", date_order="day", name_order="last_first",
)  # fmt: skip


def carry(hands: Hands, name: str) -> Story:
    """A bowler goes on a journey with a card; a visitor's is read, who takes up the ways of our shop with it."""
    yield 0.06
    bowler = hands.session.scalars(select(Bowler).where(Bowler.name == name)).one()
    left_out = {f"leave_out-{i}": "true" for i in _list_beyond(hands, bowler, 2)}
    card_issues.issue(hands.session, bowler.id, IssueForm.read({"who": COUNTER, "hand": "right"} | left_out))
    yield 0.05
    made_on = date.today() - timedelta(days=40)
    built = card_contents.build_card(hands.session, bowler, "right", _SERIES, made_on, _list_beyond(hands, bowler, 1))
    theirs = replace(built, shops=(MAKER, *built.shops[1:]), bowler=VISITOR)
    told = card_reading.tell(hands.session, int(COUNTER), open_card(seal_card(theirs, _KEY)))
    everything = {"takes_fit": "true", "takes_inners": "true", "takes_depths": "true"}
    card_takings.take_in(hands.session, TakingForm.read({"who": COUNTER, "bowler_id": "0"} | everything), told)


def _list_beyond(hands: Hands, bowler: Bowler, held: int) -> list[int]:
    """The inners beyond what one code holds."""
    return [inner.id for inner in card_contents.list_inners(hands.session, bowler.id, "right")[held:]]


def move_in(hands: Hands) -> Story:
    """Old cards that somebody had typed into a spreadsheet come in; what it leaves open waits in the inbox."""
    yield 0.04
    data, who = OLD_CARDS.encode(), int(OWNER)
    named = ("old cards.csv", sheet_imports.name_file(data, ""))
    made = sheet_imports.take_in(hands.session, who, named, read_file(data))
    sheet_imports.set_conventions(hands.session, who, made, asdict(SAID))
    sheet_imports.save_habit(hands.session, who, made, "Cards typed in the back room")
    for start in (sheet_passes.start_dry_run, sheet_passes.start_import):
        start(hands.session, who, made)
        while sheet_passes.advance(hands.session, made.id):
            hands.session.flush()
