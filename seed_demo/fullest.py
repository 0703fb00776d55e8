"""Hanne Kesterby: the demo's fullest record, with a ball in every state that a drilling can have."""

from app.models import Bowler, Fit, Inner
from app.schemas.inners import InnerFindingForm
from app.schemas.old_holes import OldHoleForm
from app.schemas.taken_back import TakingBackForm
from app.services import inners, old_holes, photos, taken_back
from seed_demo.bench_hands import COUNTER, DRILLER, Hands
from seed_demo.past import Story
from seed_demo.photo import draw_photo

BIT = "1 1/2 no. 2"
MINE = {"reason": "first fit", "hand_notes": "Thumb swells in league; long middle finger."}
ELSEWHERE = {
    "hole": "finger",
    "hand": "right",
    "label": "ring, before us",
    "along": "3 3/4",
    "along_way": "palm",
    "across": "1 1/2",
    "across_way": "right",
    "size": "31/32",
    "pitch": "1/8 reverse, 0",
    "depth": "1",
    "state": "filled",
    "filling": "two-part resin",
    "filled_by": "Northgate Drilling",
}


def live(hands: Hands) -> Story:
    yield 170
    hanne = hands.register(
        "Hanne Kesterby", "555 0148 2061", league="Tuesday mixed", notes="Likes the thumb a hair tight before league."
    )
    first_fit = hands.fit(hanne, "floor", **MINE)
    league = hands.ball(hanne, "Copper pearl, league", "HK-2201", "15 lb 2 oz", colour="copper and black")
    photos.add_photo(hands.session, league, int(COUNTER), draw_photo())
    first = hands.plan(league, first_fit)
    yield 169.4
    hands.bench(first, "bore", BIT, "2 3/4 collar")
    hands.finish_on_paper(first)
    yield 169.3
    hands.measure(first)
    hands.measure(first, 1)
    hands.close(first)
    own = hands.inner_of(first)
    yield 128
    hands.trouble(first, "binds_top", "stiff on the hot league nights")
    hands.find(first, "thumb_hole", "61/64", "sanded at home")
    finding = {"who": DRILLER, "value": "61/64 + 1/16 @ 45 right", "note": "sanded at home, told by her"}
    inners.add_finding(hands.session, own.id, InnerFindingForm.read(finding))
    yield 126
    second_fit = hands.put_in_force(hands.revise(first_fit, "ring span felt long", spans="4 x 4 3/32"))
    spare = hands.ball(hanne, "Clear spare", "HK-0415", "14", colour="clear, red core")
    second = hands.plan(spare, second_fit, inner_id=str(own.id))
    yield 125.5
    hands.bench(second, "bore", BIT, "2.752 collar")
    hands.finish_on_paper(second)
    hands.measure(second, 3)
    hands.close(second, "she tried it and wants it as it is")
    yield 97
    used = hands.ball(hanne, "Grey solid, second hand", "HK-1107", "15", condition="plugged ring hole, resurfaced")
    old_holes.add(hands.session, used, OldHoleForm.read({"who": DRILLER} | ELSEWHERE))
    third = hands.plan(used, second_fit)
    yield 96.6
    hands.drill(third)
    hands.measure(third, -1)
    hands.close(third)
    yield 60
    hands.plug(third, "new spans", filling="two-part resin", filled_by="Odd Lien")
    third_fit = hands.put_in_force(
        hands.revise(
            second_fit, "more reverse at the middle", spans="4 x 4 3/32", middle_pitch="5/16 reverse, 1/16 left"
        )
    )
    yield 58.5
    again = hands.plan(
        used, third_fit, mark_along="1/2", mark_along_way="fingers", reason="she accepts the thin wall by the plug"
    )
    hands.drill(again)
    hands.measure(again)
    hands.close(again)
    yield from _autumn(hands, hanne, third_fit, own)


def _autumn(hands: Hands, hanne: Bowler, fit: Fit, own: Inner) -> Story:
    """The last weeks: a ball from elsewhere, a plan called off, and three balls on the go."""
    yield 44
    hands.visit(
        hanne,
        "north",
        "Violet hybrid",
        ball_serial="NG-3140",
        depth="2 11/16",
        datum="collar",
        obtained="read_off_ball",
    )
    yield 30
    wrong = hands.plan(hands.ball(hanne, "Yellow plastic", "HK-9"), fit)
    yield 29.8
    form = {"who": DRILLER, "version": str(wrong.version), "why": "she keeps that one as it is"}
    taken_back.call_off(hands.session, wrong.id, TakingBackForm.read(form))
    yield 21
    hands.fit(hanne, "", hand="left", reason="spare shots with the left while the wrist heals")
    yield 16
    hands.retire(hands.ball(hanne, "Brown solid, cracked", "HK-0009", "15"), "cracked at the bridge")
    yield 3
    unread = hands.plan(hands.ball(hanne, "Emerald pearl", "HK-2874", "15"), fit)
    hands.bench(unread, "bore", BIT, "2 49/64 collar")
    hands.finish_on_paper(unread)
    yield 1.2
    waiting = hands.ball(hanne, "Ruby hybrid", "HK-3310", "15")
    hands.plan(waiting, fit, inner_id=str(own.id))
    yield 0.14
    blue = hands.ball(hanne, "Blue asymmetric", "HK-3518", "15 lb 1 oz", colour="blue, silver flakes")
    half = hands.plan(blue, fit)
    hands.bench(half, "bore", BIT, "2 49/64 collar")
    yield 0.06
    hands.revise(fit, "ring 1/32 shorter, after the test shots", spans="4 x 4 1/16")
