"""The words in memory against the table, and which words are near a typed one."""

import csv
import subprocess
import sys
from collections.abc import Callable
from importlib.resources import files

from jellyfish import soundex
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.db import READ_ONLY
from app.models import BowlerWord
from app.services import bowler_words, words
from app.services.words import Words
from tests.conftest import Client
from tests.pages.test_pages import new_bowler


def owners_in_table(session: Session) -> dict[str, list[int]]:
    session.connection(execution_options=READ_ONLY)
    owners: dict[str, set[int]] = {}
    for word, bowler_id in session.execute(select(BowlerWord.word, BowlerWord.bowler_id)):
        if not word.startswith(words.NUMBER):
            owners.setdefault(word, set()).add(bowler_id)
    session.rollback()
    return {word: sorted(ids) for word, ids in owners.items()}


def owners_in_memory(session: Session) -> dict[str, list[int]]:
    return {word: list(ids) for word, ids in words.get_words(session).owners.items()}


def test_the_words_in_memory_are_those_of_the_table_after_every_kind_of_write(
    client: Client, session: Session, who: str
) -> None:
    client.get("/?q=warm")
    client.post("/bowlers", new_bowler(who, name="Wilhelmina Featherstone", league="Monday trios"))
    assert "Wilhelmina" in client.get("/?q=fetherstone").text.replace("<mark>", "").replace("</mark>", "")
    client.post("/bowlers/10", new_bowler(who, name="Wilhelmina Feathers", version="1"))
    assert "Feathers" in client.get("/?q=fethers").text.replace("<mark>", "").replace("</mark>", "")
    client.post("/bowlers/2/balls", {"who": who, "label": "Marked", "serial": "ZZ-90125", "circumference": "27"})
    assert "Piet" in client.get("/?q=90125").text
    held, in_table = owners_in_memory(session), owners_in_table(session)
    assert all(set(ids) <= set(held[word]) for word, ids in in_table.items())
    assert set(held) - set(in_table) == {"featherstone", "monday", "trios"}  # of a record since changed
    assert "Wilhelmina" not in client.get("/?q=featherstone").text
    known = words.get_words(session)
    flagged = {word: [i for i, has in enumerate(flags) if has] for word, flags in known.flags.items()}
    assert flagged == {word: held[word] for word in flagged}
    assert 10 in flagged["!1"]
    assert bowler_words.rebuild_index(session) == 10
    session.commit()
    assert owners_in_memory(session) == owners_in_table(session)
    assert words.get_words(session).sorted == sorted(
        w for w in owners_in_table(session) if not w.startswith(words.KEPT_TO)
    )


def test_a_name_saved_by_another_process_is_found_at_once(client: Client, database_url: str) -> None:
    assert "Quillon" not in client.get("/?q=quilon").text
    program = (
        "import sys; from app.db import open_engine, sessions; from app.schemas.bowlers import BowlerForm; from app.services import bowlers\n"
        "with sessions(open_engine(sys.argv[1]))() as s:\n"
        " bowlers.register(s, BowlerForm.read({'who': '1', 'name': 'Orsolya Quillon', 'hand': 'left'})); s.commit()"
    )
    subprocess.run([sys.executable, "-c", program, database_url], check=True)
    assert "Quillon" in client.get("/?q=quilon").text


def test_rows_asked_for_with_other_queries_are_taken_unless_somebody_was_faster(session: Session) -> None:
    """A cache that was refreshed or dropped meanwhile reads what is new itself, or it would miss rows in between."""
    session.connection(execution_options=READ_ONLY)
    bound = session.get_bind()
    engine = bound if isinstance(bound, Engine) else bound.engine
    assert words.ask_newer(engine) == ()
    known = words.get_words(session)
    session.rollback()
    (first,), (late,) = words.ask_newer(engine), words.ask_newer(engine)
    session.add(BowlerWord(bowler_id=1, word="zwanenburg", kind="name"))
    session.commit()
    session.connection(execution_options=READ_ONLY)
    first.fetch(session)
    assert words.get_words(session, first) is known
    assert list(known.owners["zwanenburg"]) == [1]
    read_to = known.read_to
    late.rows = [(read_to + 9, "overtaken", 1)]  # would skip the rows in between
    assert words.get_words(session, late).read_to == read_to
    words.forget(session)
    assert list(words.get_words(session, first).owners["zwanenburg"]) == [1]
    session.rollback()
    assert owners_in_memory(session) == owners_in_table(session)


def test_no_nickname_of_the_open_list_is_crowded_out_by_likelier_words(tell: Callable[[str], None]) -> None:
    """Source: the names.csv that the package `nicknames` carries (Apache-2.0), each canonical name with its nicknames."""
    known = Words()
    pairs = []
    with (files("nicknames") / "names.csv").open() as lines:
        for row in csv.reader(lines):
            if len(row) == 3 and row[1] == "has_nickname" and row[0].isascii() and row[2].isascii():
                pairs.append((row[0].lower(), row[2].lower()))
    assert len(pairs) > 1000
    for word in {name for pair in pairs for name in pair if name.isalpha()}:
        known.add(word, [1])
    pairs = [(a, b) for a, b in pairs if a.isalpha() and b.isalpha()]
    hits = [b in known.near(a) for a, b in pairs]
    tell(f"{sum(hits)} of {len(pairs)} nicknames are near")
    assert sum(hits) / len(hits) >= 0.9


# Spellings of one surname, from an open list (Apache-2.0): github.com/tfmorris/Names, surname_werelate.txt, lines of two to
# five plain names among the first 16,000 characters.
SURNAMES = """
body boddie boddy bodie|neale neal|farrand ference ferrante|tindell tindal tindall tindle tyndall|rinne wren wrenn
pierson pearce pearse pearson pierce|kiessling kiesling|cockrell cockerill cockrill|cottom cotton|fludd flood|keech keach
vian vivian viviano|willer willard|bannister banister|dion dionne|brien brian bryan bryant|alfonso alonso alonzo|kidman kidd
shears shear sheer sher shires|zwart swart|stenson stimpson stimson stinson|endecott endicott|finnigan finegan finn finnegan
wykstra wijkstra|raison reason|wieland weiland|boyes boice boyce|blaustein bluestein|galbreath galbraith|broome broom
teale teal|weinreich weinrich|albin albino aubin|ridge rigg riggs|conlan conlin conlon quinlan|keel keeler
petty petit pettie pettit pettitt|carron charron|painter paynter pinto|callahan callaghan|barrie barry|lipson lipka lipkin
burd bird byrd|fogerty fogarty|landman landsman|bieber beaver bever|killian kilian killeen killen|beach beech beecher
nowlan nolan noland|kean kane keane|murdoch murdock murtha|tulloch tullock|stearns stearn stern sterne|angier anger
murrell merrill|slate slater|bark berk berke birch burk|fowler vogler|wellman weller welling wells|mott lamotte mota motta
duce dolce doucet|toll tolley tolson tooley towle|kellner kellar keller
"""  # fmt: skip


def test_names_that_sound_alike_are_near(tell: Callable[[str], None]) -> None:
    """Which of these spellings sound alike is said by a rule we do not use: Soundex, as the US National Archives publish it."""
    families = [line.split() for part in SURNAMES.split("\n") for line in part.split("|") if line]
    pairs = [(a, b) for family in families for a in family for b in family if a != b and soundex(a) == soundex(b)]
    known = Words()
    for word in {name for family in families for name in family}:
        known.add(word, [1])
    hits = [b in known.near(a) for a, b in pairs]
    tell(f"{sum(hits)} of {len(pairs)} surnames that sound alike are near")
    assert len(pairs) > 200
    assert sum(hits) / len(hits) >= 0.9


def test_a_word_with_a_digit_is_found_as_typed_or_begun_and_never_by_a_slip() -> None:
    known = words.Words()
    known.add("3rd", [7])
    known.add("third", [8])
    assert known.near("3rb") == known.farther("3rb") == {}
    assert known.near("3rd") == {"3rd": 0.0}
    assert known.near("thirt") == {"third": 1.1}
    assert list(known.begun_by("3")) == ["3rd"]
