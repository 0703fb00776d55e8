"""What happened at the demo's shop, bowler by bowler: each story tells how many days ago the next thing happens."""

from datetime import date, timedelta

from app.schemas.bits import BitEventForm, BitForm
from app.schemas.identities import RuleForm
from app.schemas.shops import MergerForm, ShopForm
from app.schemas.studies import CELLS, StudyForm
from app.schemas.systems import DepthForm, SystemForm
from app.services import bits, depths, rules, shops, studies, systems
from seed_demo import fullest, laid_out, layout_scenes, paper_cards, scenes, shelves, travels
from seed_demo.bench_hands import DRILLER, OWNER, Hands
from seed_demo.neighbours import NEIGHBOURS, Neighbour
from seed_demo.past import Story
from seed_demo.world import TWIST_LOCK

BIT, OTHER_BIT = "1 1/2 no. 2", "1 1/2 no. 3"
HARDWARE = {
    "hand": TWIST_LOCK
    | {
        "label": "Plain lock, set by hand",
        "height_set_by": "by_hand",
        "stock": "1 1/4: 9, 1 3/8: 3",
        "notes": "Set against the slug at glue-up; how deep the bore is does not matter.",
    },
    "slug": {
        "label": "Solid slug, 1 3/8",
        "digit": "thumb",
        "bore": "1 3/8",
        "sleeve_od": "1 3/8",
        "sleeve_length": "2 1/2",
        "locks": "unknown",
        "height_set_by": "slug",
        "notes": "Glued in and flushed, then the thumb is drilled into it.",
    },
    "lifted": {
        "label": "Finger insert, lifted",
        "digit": "finger",
        "bore": "31/32",
        "inner_ods": "11/16, 21/32, 5/8",
        "lift": "1/32 12:00",
        "inside_oval": "1/32 3:00",
        "locks": "unknown",
        "height_set_by": "by_hand",
    },
}
STUDIED = (
    "3.734",
    "3.812",
    "3.656",
    "3.735",
    "3.813",
    "3.655",
    "3.734",
    "3.811",
    "3.657",
    "3.736",
    "3.813",
    "3.658",
    "3.735",
    "3.814",
    "3.657",
    "3.736",
    "3.813",
    "3.659",
    "3.733",
    "3.812",
    "3.656",
    "3.735",
    "3.811",
    "3.656",
    "3.734",
    "3.812",
    "3.658",
)


def list_stories(hands: Hands) -> list[Story]:
    """Returns every story, none of them begun."""
    told = [shelf(hands), collar(hands), fullest.live(hands), *scenes.list_scenes(hands)]
    told += [neighbour(hands, of, number) for number, of in enumerate(NEIGHBOURS)]
    return [
        *told,
        shelves.keep(hands),
        layout_scenes.find_axis_points(hands, "HK-1107"),
        laid_out.lay_out(hands, "HK-1107"),
        travels.carry(hands, "Hanne Kesterby"),
        travels.move_in(hands),
        paper_cards.type_off(hands),
    ]


def shelf(hands: Hands) -> Story:
    """Hardware, shops and bits, before the first bowler."""
    yield 179
    for name, typed in HARDWARE.items():
        hands.hardware[name] = systems.add(hands.session, SystemForm.read({"who": DRILLER} | typed))
    shelves.take_delivery(hands)
    quay = {"who": OWNER, "name": "Harbour St. Drilling", "town": "Low Quay"}
    twice = shops.add_shop(hands.session, ShopForm.read(quay))
    for label, material, limit in ((BIT, "cobalt steel", "60"), (OTHER_BIT, "high-speed steel", "4")):
        form = {"who": DRILLER, "label": label, "material": material, "bores_limit": limit}
        bits.add(hands.session, BitForm.read(form))
    rules.set_rule(hands.session, rules.RETENTION_YEARS, RuleForm.read({"who": OWNER, "value": "6"}))
    yield 176
    event = {"who": DRILLER, "what": "collar_set", "note": "new"}
    bits.note_event(hands.session, 1, BitEventForm.read(event))
    yield 174
    event = {"who": DRILLER, "what": "sharpened", "note": "back from the grinder"}
    bits.note_event(hands.session, 2, BitEventForm.read(event))
    yield 150
    merging = {"who": OWNER, "version": str(twice.version), "into_id": str(hands.shops["harbour"].id)}
    shops.merge(hands.session, twice.id, MergerForm.read(merging))


def collar(hands: Hands) -> Story:
    """How deep the shop bores, measured again and again, and a study of its gauge."""
    for days, depth in ((172, "2.751"), (104, "2 3/4")):
        yield days
        _observe(hands, "ours", depth, days)
    yield 70
    readings = dict(zip(CELLS, STUDIED, strict=True))
    form = {"who": DRILLER, "instrument": "span gauge", "measures": "sleeve_to_cut"} | readings
    studies.add(hands.session, StudyForm.read(form))
    form |= {"instrument": "depth gauge", "measures": "depth"}
    studies.add(hands.session, StudyForm.read(form))
    yield 5
    _observe(hands, "ours", "2.755", 5)


def _observe(hands: Hands, shop: str, depth: str, days: int) -> None:
    day = (date.today() - timedelta(days=days)).isoformat()
    form = {"who": DRILLER, "system_id": hands.system_id("floor"), "depth": depth, "datum": "collar"}
    form |= {"obtained": "collar_measured", "observed_on": day, "instrument": "depth gauge"}
    depths.observe(hands.session, hands.shops[shop].id, DepthForm.read(form))


def neighbour(hands: Hands, of: Neighbour, number: int) -> Story:
    """A bowler with one fit and one ball; a bore to the floor is noted with its bit, for the chart."""
    yield of.days
    bowler = hands.register(of.name, of.phone, of.hand, of.home, league=of.league)
    if of.state == "none":
        return
    thumb = {"reason": "first fit"} | of.fit
    fit = hands.fit(bowler, of.system, **thumb)
    ball = hands.ball(bowler, of.ball, f"S-{2300 + 7 * number}", of.weight)
    if of.state == "fit":
        return
    drilling = hands.plan(ball, fit)
    if of.state == "planned":
        return
    yield of.days - 0.4
    if of.system:
        hands.note_bit(drilling, BIT if of.system == "floor" else OTHER_BIT, of.read or READ[number % len(READ)])
    hands.drill(drilling)
    if of.state == "drilled":
        return
    yield of.days - 0.5
    hands.measure(drilling, (0, 1, 0, -1)[number % 4])
    hands.close(drilling)


READ = ("2.751", "2.754", "2.756", "2.75", "2.753", "2.752", "2.757")
