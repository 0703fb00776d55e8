"""What was said to be unknown stays unknown: in the database, on the pages, in the export, in every verdict."""

import json
from collections.abc import Callable
from fractions import Fraction

import pytest
from alembic import command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text
from sqlalchemy.orm import Session

from app.calculation import bores
from app.calculation.depths import KnownDepth
from app.db import alembic_config, open_engine, upgrade
from app.measures.pitches import Pitch
from app.models import Bore, DepthObservation, Drilling, Inner, InsertSystem, Shop
from app.schemas.inners import TrialDepthForm, TrialFitForm, VisitorForm
from app.schemas.systems import DepthForm
from app.services import depths, inner_grids, inners, shop_limits, transfers, trial_fits, visitors
from app.services.drillings import get_drilling
from app.services.portable import export_lines
from tests.calculation.grips import Json
from tests.conftest import Client, not_none

Take = Callable[..., Inner]

VISITOR = {
    "hand": "right", "shop_name": "Bridge End Drilling",
    "outside": "1 1/4", "thumb_hole": "31/32", "bore_pitch": "1/4 reverse, 0", "tilt": "0", "notch": "6:00",
    "depth": "2 3/4", "datum": "collar", "obtained": "read_off_ball", "ball_label": "Green", "circumference": "27",
}  # fmt: skip
VISITOR_FIELDS = ("thumb_hole", "bore_pitch", "tilt", "notch", "depth", "datum")
INNER = {"label": "spare thumb", "outside": "1 1/4", "thumb_hole": "15/16", "tilt": "0"}
DEPTH = {"obtained": "told", "observed_on": "2026-01-02", "pitch": "0", "resolution": "1/64", "datum": "crown"}
NAMES = ("Fenn", "Quill", "Tarrow", "Zorn", "Mabley", "Ickworth", "Dunn", "Yeo")
GOOD = 'class="verdict good"'


@pytest.fixture
def lock(session: Session) -> InsertSystem:
    return not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))


@pytest.fixture
def taken(session: Session, who: str, lock: InsertSystem) -> Take:
    def made(**typed: str) -> Inner:
        count = len(session.scalars(select(Inner.id)).all())
        form = {"who": who, "system_id": str(lock.id)} | VISITOR
        form |= {"bowler_name": f"Orla {NAMES[count]}", "bowler_phone": "", "ball_serial": f"S-{count}"} | typed
        shop = session.scalar(select(Shop.id).where(Shop.name == VISITOR["shop_name"]))
        form |= {"shop_id": str(shop or "")}
        found = inners.get_inner(session, visitors.take_in(session, VisitorForm.read(form)).id)
        session.flush()
        return found

    return made


def observed(session: Session, shop_id: int) -> DepthObservation:
    query = select(DepthObservation).where(DepthObservation.shop_id == shop_id).order_by(DepthObservation.id.desc())
    return session.scalars(query.limit(1)).one()


def rows_of(session: Session, table: str) -> list[Json]:
    """A table's rows as the export has them."""
    told = (json.loads(line) for line in export_lines(session.connection(), "any"))
    return [line["row"] for line in told if line.get("table") == table]


# In the database, on the page, in the export ------------------------------------------------------------------------

_number = iter(range(10_000))


@pytest.mark.parametrize("path", ["/visitors", "/visitors/set"])
def test_whatever_is_unknown_of_a_visitor_stays_so(
    client: Client, session: Session, lock: InsertSystem, path: str
) -> None:
    shop = session.scalars(select(Shop).where(Shop.name == "Northgate Drilling")).one().id
    lock_id = lock.id

    @given(unknown=st.sets(st.sampled_from(VISITOR_FIELDS), min_size=1))
    @settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def stays(unknown: set[str]) -> None:
        one = f"Quill {chr(97 + next(_number) % 26)}{next(_number)}"
        form = VISITOR | {"system_id": str(lock_id), "shop_id": str(shop), "bowler_name": one, "ball_serial": one}
        form |= {"shop_name": ""} | dict.fromkeys(unknown, "unknown")
        session.rollback()  # lets the client write
        files = {"photo": b""} if path.endswith("set") else None
        answer = client.post(path, {"who": "2"} | form, files=files)
        assert answer.status_code == 303
        inner = session.scalars(select(Inner).order_by(Inner.id.desc()).limit(1)).one()
        bore = not_none(session.get(Bore, inner.trimmed_in_id))
        of = session.scalars(select(Drilling).where(Drilling.bore_id == bore.id)).one()
        held: dict[str, list[object]] = {
            "thumb_hole": [inner.hole_in], "bore_pitch": [bore.forward_in, bore.right_in],
            "tilt": [inner.forward_in, inner.right_in], "notch": [bore.notch_deg], "depth": [bore.depth_in],
            "datum": [None if bore.datum == "unknown" else bore.datum],
        }  # fmt: skip
        for field, values in held.items():
            is_unknown = field in unknown or (field == "datum" and "depth" in unknown)
            assert all(v is None for v in values) == is_unknown, field
        page = client.get(f"/inners/{inner.id}").text
        assert page.count(GOOD) == 0 or not unknown & {"bore_pitch", "notch", "depth", "datum"}
        assert page.count('class="unknown"') >= len(unknown & {"thumb_hole", "bore_pitch", "tilt", "notch"})
        own_ball = client.get(f"/inners/{inner.id}?drilling={of.id}").text
        assert GOOD not in own_ball or not unknown & {"bore_pitch", "notch"}
        told = next(r for r in rows_of(session, "bore") if r["id"] == bore.id)
        assert (told["forward_in"] is None) == ("bore_pitch" in unknown)
        assert (told["notch_deg"] is None) == ("notch" in unknown)
        assert all(told["typed"].get(f) == "unknown" for f in unknown - {"datum"})

    stays()


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
    assert ("cannot say" in page) == ("tilt" in unknown)
    session.rollback()


def test_whatever_is_unknown_of_an_observation_stays_so(
    session: Session, client: Client, who: str, lock: InsertSystem
) -> None:
    form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8"} | DEPTH
    form |= {"pitch": "unknown", "resolution": "unknown", "datum": "unknown"}
    session.rollback()  # lets the client write
    assert client.post("/shops/2/depths", form).status_code == 303
    found = observed(session, 2)
    assert (found.forward_in, found.right_in, found.resolution_in, found.datum) == (None, None, None, "unknown")
    page = " ".join(client.get("/shops/2").text.split())
    assert "pitch unknown" in page
    assert "division unknown" in page
    assert rows_of(session, "depth_observation")[-1]["forward_in"] is None


def test_an_empty_pitch_is_straight_and_says_that_nobody_may_have_been_asked(
    taken: Take, client: Client, session: Session
) -> None:
    inner = taken(bore_pitch="", tilt="")
    assert (inner.trimmed_in.forward_in, inner.forward_in) == (Fraction(0), Fraction(0))
    assert (inner.trimmed_in.is_pitch_unsaid, inner.is_tilt_unsaid) == (True, True)
    said = taken(bore_pitch="0", tilt="straight")
    assert (said.trimmed_in.is_pitch_unsaid, said.is_tilt_unsaid) == (False, False)
    session.commit()
    assert client.get(f"/inners/{inner.id}").text.count("straight, or never asked") == 2


# Verdicts -----------------------------------------------------------------------------------------------------------


def test_an_unknown_notch_is_the_worst_of_every_turn_and_never_flush(session: Session, taken: Take, who: str) -> None:
    inner = taken(bore_pitch="3/8 reverse, 0", notch="unknown")
    prospect = visitors.predict_in_our_bore(session, inner, None, None)
    assert prospect.in_bore is None
    found = not_none(prospect.unsettled)
    assert found.verdict == "measure"
    ours = not_none(prospect.ours).shape
    turned = [bores.flushness(1.25, not_none(prospect.made).shape, ours, turn) for turn in range(0, 360, 3)]
    assert found.range.highest_in == pytest.approx(max(s.highest_in for s in turned), abs=1e-4)
    assert found.range.lowest_in == pytest.approx(min(s.lowest_in for s in turned), abs=1e-4)
    assert found.range.highest_in > 0.1  # what "flush, lock it in" was said over
    assert any("notch" in line for line in found.advice)


def test_straight_bores_with_an_unknown_notch_are_still_not_green(session: Session, taken: Take) -> None:
    inner = taken(bore_pitch="0", notch="unknown", depth="2.7525")
    of = session.scalars(select(Drilling).where(Drilling.bore_id == inner.trimmed_in_id)).one()
    prospect = visitors.predict_in_ball(session, inner, get_drilling(session, of.id))
    assert not_none(prospect.unsettled).range.highest_in == pytest.approx(0, abs=1e-9)
    assert not_none(prospect.unsettled).verdict == "measure"


def test_an_unknown_pitch_cannot_be_bored_at_and_another_gives_a_range(session: Session, taken: Take) -> None:
    inner = taken(bore_pitch="unknown")
    bare = visitors.predict_in_our_bore(session, inner, None, None)
    assert (bare.in_bore, bare.unsettled) == (None, None)
    assert "pitch it was trimmed at is not known" in bare.cannot_say
    pitch = Pitch(Fraction(-1, 4), Fraction(0))
    asked = visitors.predict_in_our_bore(session, inner, pitch, None)
    ours = not_none(asked.ours).shape
    for made in ((0.0, 0.0), (-0.5, 0.0), (0.3, -0.4), (-0.25, 0.0)):
        one = bores.flushness(1.25, bores.Bore(27.0, 1.5, 2.75, *made), ours)
        assert not_none(asked.unsettled).range.lowest_in - 1e-9 <= one.lowest_in
        assert one.highest_in <= not_none(asked.unsettled).range.highest_in + 1e-9
    assert not_none(asked.unsettled).verdict == "measure"


def test_a_rim_that_is_proud_whatever_the_unknown_is_called_proud(session: Session, taken: Take) -> None:
    inner = taken(bore_pitch="1/8 reverse, 0", notch="unknown", depth="3 1/4")
    found = not_none(visitors.predict_in_our_bore(session, inner, None, None).unsettled)
    assert found.verdict == "proud"


def test_the_grid_and_the_comparison_name_what_is_not_known(
    session: Session, taken: Take, who: str, lock: InsertSystem, client: Client
) -> None:
    inner = taken()
    blue = taken(ball_label="Blue", notch="unknown", bowler_id=str(inner.bowler_id))
    grid = inner_grids.build_grid(session, inner.bowler_id)
    cells = {key: how for key, how in grid.cells.items() if not isinstance(how, str)}
    assert {how.verdict for how in cells.values()} == {"measure"}
    assert any("notch of this bore" in line for line in grid.advice[inner.id].undoable)
    pair = [session.scalars(select(Drilling).where(Drilling.bore_id == i.trimmed_in_id)).one() for i in (inner, blue)]
    lines = transfers.compare_drillings(session, *(get_drilling(session, d.id) for d in pair))
    assert any("not known" in line.words for line in lines)
    session.commit()
    for url in (f"/bowlers/{inner.bowler_id}", f"/bowlers/{inner.bowler_id}/sits"):
        page = client.get(url)
        assert page.status_code == 200
        assert GOOD not in page.text


# Depths -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("datum", ["crown", "rim_low", "unknown"])
def test_a_depth_of_unknown_pitch_covers_every_pitch_it_may_have(
    session: Session, who: str, lock: InsertSystem, datum: str
) -> None:
    def known(pitch: str, day: str) -> KnownDepth:
        form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8", "notes": day} | DEPTH
        depths.observe(session, 3, DepthForm.read(form | {"datum": datum, "pitch": pitch}))
        return depths.to_known_depth(observed(session, 3))

    unknown = known("unknown", "u")
    assert observed(session, 3).forward_in is None
    half = 3**0.5 * unknown.standard_uncertainty_in
    for pitch in ("0", "1/4 reverse, 0", "1/2 reverse, 0", "3/8 reverse, 1/4 left"):
        one = known(pitch, pitch)
        assert abs(one.depth_in - unknown.depth_in) <= half
        assert one.standard_uncertainty_in < unknown.standard_uncertainty_in
    own = depths.load_shop_depths(session, [3])[3, lock.id]
    assert own.is_pitch_unknown


def test_a_collar_setting_does_not_hang_on_the_pitch(session: Session, who: str, lock: InsertSystem) -> None:
    form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8", "notes": "u"} | DEPTH | {"datum": "collar"}
    depths.observe(session, 3, DepthForm.read(form | {"pitch": "unknown"}))
    found = depths.to_known_depth(observed(session, 3))
    depths.observe(session, 3, DepthForm.read(form | {"pitch": "1/4 reverse, 0", "notes": "k"}))
    assert depths.to_known_depth(observed(session, 3)) == found
    assert not depths.load_shop_depths(session, [3])[3, lock.id].is_pitch_unknown


def test_an_unknown_division_counts_as_the_coarsest_rule(session: Session, who: str, lock: InsertSystem) -> None:
    form = {"who": who, "system_id": str(lock.id), "depth": "2 5/8"} | DEPTH | {"datum": "collar"}
    depths.observe(session, 3, DepthForm.read(form | {"resolution": "unknown"}))
    told = float(shop_limits.load_limits(session)["told_spread"].value_in)
    u = depths.to_known_depth(observed(session, 3)).standard_uncertainty_in
    assert u == pytest.approx((told**2 + (1 / 16) ** 2 / 12) ** 0.5)


def test_a_trial_fit_at_an_unknown_pitch_carries_what_it_assumed(session: Session, taken: Take, who: str) -> None:
    sure, unsure = taken(), taken(bore_pitch="unknown")
    known = []
    for inner in (sure, unsure):
        form = {"who": who, "trial_depth": "2 3/4", "proud": "flush"}
        trial_fits.add_trial_fit(session, inner.id, TrialFitForm.read(form))
        session.flush()
        known.append(
            depths.to_known_depth(trial_fits.save_trial_depth(session, inner.id, TrialDepthForm.read({"who": who})))
        )
    extra = bores.trial_pitch_doubt_in(bores.Bore(27.0, 1.5, 2.75))
    u, v = (k.standard_uncertainty_in for k in known)
    assert v == pytest.approx((u**2 + extra**2 / 3) ** 0.5)


# Hands --------------------------------------------------------------------------------------------------------------


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


# Rows stored before -------------------------------------------------------------------------------------------------


def test_the_migration_forgets_zeros_of_unknowns_and_mends_sides_that_are_certain(database_url: str) -> None:
    command.downgrade(alembic_config(database_url), "0006")
    engine = open_engine(database_url)
    with engine.begin() as connection:
        run = connection.exec_driver_sql
        foreign = run('SELECT trimmed_in_id FROM "inner" ORDER BY id DESC LIMIT 1').scalar()
        run(
            f"""UPDATE bore SET forward_in = '0', typed = '{{"bore_pitch": "Unknown", "outside": "1"}}' WHERE id = {foreign}"""
        )
        run("""UPDATE "inner" SET typed = '{"tilt": "?"}' WHERE id = 2""")
        run("""UPDATE "inner" SET right_in = '1/8', typed = '{"tilt": "0, 1/8 under"}' WHERE id = 1""")
        run(
            """UPDATE drilling SET plan = replace(CAST(plan AS TEXT), '"hand": "right"', '"hand": "left"')"""
            + ("::json" if engine.dialect.name == "postgresql" else "")
        )
        run("""UPDATE depth_observation SET typed = '{"pitch": "unknown", "resolution": "??"}' WHERE id = 3""")
    engine.dispose()
    upgrade(database_url)
    engine = open_engine(database_url)
    with engine.connect() as connection:

        def rows(sql: str) -> list[tuple[object, ...]]:
            return [tuple(row) for row in connection.execute(text(sql))]

        assert rows(f"SELECT forward_in, right_in, hand FROM bore WHERE id = {foreign}") == [(None, None, "")]
        assert rows('SELECT forward_in, right_in FROM "inner" ORDER BY id') == [("0", "-1/8"), (None, None)]
        assert rows("SELECT DISTINCT hand FROM bore WHERE id <> " + str(foreign)) == [("left",)]
        assert rows("SELECT forward_in, resolution_in FROM depth_observation ORDER BY id") == [
            ("0", "0"),
            ("0", "0"),
            (None, None),
        ]
        assert rows("SELECT old, new FROM change WHERE noun = 'inner' AND field = 'right_in'") == [("1/8", "-1/8")]
    engine.dispose()
