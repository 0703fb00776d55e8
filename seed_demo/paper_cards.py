"""The demo's stack of paper cards: some typed and looked at, one found wrong, one not looked at, two waiting."""

import io

from app.schemas.paper_stacks import CardForm, SecondLookForm, StackForm
from app.services import paper_checks, paper_entries, paper_pictures, paper_stacks
from app.sheets.paper_lines import USUAL_ORDER
from seed_demo.bench_hands import COUNTER, DRILLER, Hands
from seed_demo.past import Story

WAYS = {
    "line_order": USUAL_ORDER, "first_finger": "middle", "span_edges": "cut", "bridge_edges": "cut", "units": "in",
    "style": "fingertip", "plain_vertical": "forward", "plain_lateral": "right", "seen_from": "outside",
}  # fmt: skip
CARDS = (
    ("Aldo Wiesner, r", "4 3/8 1/4r 1/8l 3/4", "4 7/16 1/8r 1/8l 25/32", "1/4r 1/8l 31/32", "b 1/4; on 2014-10-02"),
    ("Mirre Tandy, l", "4 1/8 0 1/8r 11/16", "4 3/16 0 0 21/32", "1/8r 1/8r 7/8", "b 5/16; on 2016-03-11"),
    ("Jonna Pryce, r", "4 1/4 1/8r 0 23/32", "4 5/16 1/8r 0 23/32", "3/8r 0 15/16", "b 1/4"),
    ("Ferre Holm, r", "4 1/2 1/4r 1/8l 13/16", "4 9/16 ? ? 25/32", "1/4r 0 1", "b 1/4; one pitch is smeared"),
    ("Vida Sorley, r", "4 3/16 0 0 11/16", "4 1/4 0 0 11/16", "1/8r 1/8l 29/32", ""),
    ("Emil Astrand, l", "4 3/8 1/8r 1/8r 3/4", "4 3/8 1/8r 0 3/4", "1/4r 1/8r 31/32", ""),
)
VERDICTS = {1: {"verdict": "right"}, 2: {"verdict": "right"}, 3: {"verdict": "wrong", "word": "the thumb is 61/64"}}
_TYPED = 4


def draw_card(lines: tuple[str, ...]) -> bytes:
    """Returns a picture of an invented card: no photo of a real one may be in it."""
    from PIL import Image, ImageDraw  # noqa: PLC0415 - only the demo needs it

    picture = Image.new("RGB", (900, 560), "#f4ecd8")
    pen = ImageDraw.Draw(picture)
    pen.rectangle((20, 20, 880, 540), outline="#7a6a4a", width=3)
    for at, text in enumerate(lines):
        pen.text((60, 50 + 94 * at), text, fill="#1c2a56", font_size=46)
        pen.line((50, 112 + 94 * at, 850, 112 + 94 * at), fill="#b9ab8a", width=2)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=80)
    return out.getvalue()


def type_off(hands: Hands) -> Story:
    """A stack is photographed, four of its cards are typed, and a second person looks at three."""
    session, who = hands.session, int(COUNTER)
    yield 0.035
    stack = paper_stacks.add_stack(session, StackForm.read({"who": COUNTER, "name": "Back room, drawer A"}))
    stack.ways = dict(WAYS)
    made = paper_pictures.make_anew([(f"card {n}", draw_card(lines)) for n, lines in enumerate(CARDS)])
    paper_pictures.add_pictures(session, who, stack, made)
    for lines in CARDS[:_TYPED]:
        card = paper_stacks.take_next(session, who, stack)
        names = zip(("name", "middle", "ring", "thumb", "rest"), lines, strict=True)
        form = CardForm.read({"who": COUNTER} | {f"line_{name}": text for name, text in names})
        entry = paper_entries.save(session, stack, card, form)
        if entry.is_asked:
            raise ValueError(f"card {card.number} of the demo asks {entry.asked}")
        session.flush()
    yield 0.03
    for number, said in VERDICTS.items():
        card = paper_stacks.get_card(session, stack.id, number)
        paper_checks.check(session, card, SecondLookForm.read({"who": DRILLER, "version": card.version} | said))
    paper_stacks.take_next(session, who, stack)
