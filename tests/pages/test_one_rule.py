"""The same inner in the same bore, and the same pair of readings, are judged alike on every page that shows them."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.measures.wording import VERDICT_WORDS
from app.models import Bore, Drilling, Inner, ShopLimit
from app.models.plans import Plan
from app.services import (
    depths,
    drillings,
    felt,
    inner_grids,
    inners,
    inners_in_bores,
    owned_rims,
    shop_limits,
)
from app.services import visitors as predictions
from tests.conftest import Client, not_none
from tests.pages.test_pages import text_of
from tests.services.test_inner_grids import own
from tests.services.test_inners_in_bores import proud
from tests.services.test_owned_inners import plan_of, planned

CASES = 24
PLACES = ("/bowlers/1", "/bowlers/1/sits", "/inners/{inner}?drilling={drilling}")
_NO_DOUBT_IN = 1e-9


def verdict_on(client: Client, page: str, inner: int, drilling: int) -> str:
    """The words beside the mark of an inner in a drilling, on a page that shows them."""
    html = client.get(page.format(inner=inner, drilling=drilling)).text
    after = 'id="sitting"' if "?" in page else f"/inners/{inner}?drilling={drilling}#sit"
    return text_of(html.partition(after)[2].partition('class="verdict')[2].partition("</span> ")[2].partition("<")[0])


def bored(session: Session, pick: np.random.Generator, of: Drilling) -> None:
    """Makes the drilling's bore anew: mostly of the same pitch and nearly the same depth, so that every verdict comes."""
    bore = not_none(session.get(Bore, of.bore_id))
    pitched = pick.random() < 0.4
    bore.depth_in = Fraction(11, 4) + Fraction(round(pick.normal(0, 0.02) * 1000), 1000)
    bore.forward_in = Fraction(-1, 4) + Fraction(int(pick.integers(-2, 3)), 64) * pitched
    bore.right_in = Fraction(int(pick.integers(-2, 3)), 8) * pitched
    bore.notch_deg = Fraction(int(pick.choice([180, 180, 200])))


def as_planned(plan: Plan, of: Inner, fitted: Bore, half_width_in: float, lip_in: float) -> str:
    """The verdict of a plan for an owned inner, were this bore the one that it chose."""
    owned, bore, made = not_none(plan.owned), not_none(plan.bore), of.trimmed_in
    turn = float(not_none(fitted.notch_deg) - not_none(made.notch_deg)) % 360
    shape = drillings.to_bore_shape(fitted, not_none(fitted.depth_in))
    chosen = replace(
        bore, bore_in=shape.bore_in, depth_in=shape.depth_in, forward_in=shape.forward_in, right_in=shape.right_in
    )
    piece = replace(
        owned, outside_in=float(of.counted_outside_in), made_in=drillings.to_bore_shape(made, not_none(made.depth_in)),
        half_width_in=half_width_in, lip_in=lip_in, chosen=replace(owned.chosen, turn_deg=turn),
    )  # fmt: skip
    grip = replace(plan.grip, circumference_in=shape.circumference_in)
    return not_none(owned_rims.predict_rim(replace(plan, grip=grip, bore=chosen, owned=piece))).verdict


def test_an_inner_in_a_bore_reads_alike_on_every_page(session: Session, client: Client, who: str) -> None:
    # outside source: the lips by numpy from the geometry paper's surfaces, and the interval held against the limit
    pick, seen = np.random.default_rng(13), set()
    plan = plan_of(planned(session, who, inner_id="1"))
    session.add(ShopLimit(name="lip", value_in=Fraction(1, 64), typed="1/64", source="this test"))
    for doubt in ("collar_spread", "resolution"):
        session.add(ShopLimit(name=doubt, value_in=Fraction(1, 500), typed="0.002", source="this test"))
    own(session, 2, 1)
    first, second = session.scalars(select(Drilling).order_by(Drilling.id.desc()).limit(2)).all()[::-1]
    of = not_none(session.scalar(select(Inner).where(Inner.label == "inner 0")))
    for _ in range(CASES):
        for drilling in (first, second):
            bored(session, pick, drilling)
        session.commit()
        a, b = (drillings.get_drilling(session, d.id) for d in (first, second))
        bores = [not_none(a.bore), not_none(b.bore)]
        inner, limits = inners.get_inner(session, of.id), shop_limits.load_limits(session)
        known = depths.load_shop_depths(session, [1])
        made, fitted = (
            not_none(inners_in_bores.find_known_bore(b, known.get((1, inner.system_id)), limits)) for b in bores
        )
        half, lip = float(np.hypot(made.half_width_in, fitted.half_width_in)), float(limits["lip"].value_in)
        turn = float(not_none(bores[1].notch_deg) - not_none(bores[0].notch_deg)) % 360
        lips = proud(made.shape, fitted.shape, turn)
        worst = max(lips.max(), -lips.min())
        expected = "flush" if worst + half <= lip else "measure" if worst - half <= lip else "out"
        said = {
            inner_grids.build_grid(session, 1).cells[inner.id, second.id].verdict,  # type: ignore[union-attr]
            not_none(
                predictions.predict_in_ball(session, inner, drillings.get_drilling(session, second.id)).in_bore
            ).verdict,
            as_planned(plan, inner, bores[1], half, lip),
        }
        assert len(said) == 1, said
        verdict = said.pop()
        assert (verdict if verdict in {"flush", "measure"} else "out") == expected
        words = VERDICT_WORDS[verdict]
        assert {line.new for line in felt.compare_drillings(session, a, b) if "doubt" in line.what} == {words}
        session.rollback()
        assert {verdict_on(client, page, inner.id, second.id) for page in PLACES} == {words}
        seen.add(verdict)
    assert seen == {"flush", "measure", "proud", "sunk", "leans"}


def test_its_own_bore_has_no_doubt_of_depth_and_another_of_the_same_shop_keeps_its_own(
    session: Session, client: Client
) -> None:
    own(session, 2, 1, same_pitch=True)
    first, second = session.scalars(select(Drilling).order_by(Drilling.id.desc()).limit(2)).all()[::-1]
    of = not_none(session.scalar(select(Inner).where(Inner.label == "inner 0")))
    for depth, datum in ((Fraction(11, 4), "collar"), (Fraction(11, 4), "unknown"), (None, "unknown")):
        bore = not_none(session.get(Bore, first.bore_id))
        bore.depth_in, bore.datum = depth, datum
        session.commit()
        inner = inners.get_inner(session, of.id)
        home, away = (
            predictions.predict_in_ball(session, inner, drillings.get_drilling(session, d.id)).in_bore
            for d in (first, second)
        )
        assert not_none(home).verdict == "flush"
        assert not_none(home).half_width_in < _NO_DOUBT_IN
        assert away is None or (away.verdict == "measure" and away.half_width_in > 1 / 64)
        session.rollback()
        assert {verdict_on(client, page, of.id, first.id) for page in PLACES} == {"flush"}


def test_a_measured_drilling_reads_alike_on_every_page(session: Session, client: Client) -> None:
    of = not_none(session.get(Drilling, 1))
    of.tolerance_in = Fraction(1, 16)
    for doubt in (Fraction(1, 1000), Fraction(1, 20)):
        of.doubt_in = doubt
        session.commit()
        pages = {url: client.get(url).text for url in ("/drillings/1", f"/balls/{of.ball_id}", "/bowlers/1")}
        own_card = pages["/bowlers/1"].partition(f'<h3><a href="/balls/{of.ball_id}">')[2].partition("<h3>")[0]
        told = [text_of(html) for html in (pages["/drillings/1"], pages[f"/balls/{of.ball_id}"], own_card)]
        assert all("within tolerance" in page for page in told)
        assert {"within tolerance, measure again" in page for page in told} == {doubt > 0.01}
