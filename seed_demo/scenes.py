"""The demo's scenes of more than one record: visitors, mistakes taken back, one person twice, a sold ball."""

from app.schemas.inners import TrialDepthForm, TrialFitForm
from app.schemas.taken_back import BowlerMergerForm, OwnerForm, TakingBackForm
from app.services import balls, bowlers, mergers, owner_changes, taken_back, trial_fits, visitor_sets
from seed_demo.bench_hands import COUNTER, DRILLER, Hands
from seed_demo.past import Story

BIT = "1 1/2 no. 2"


def list_scenes(hands: Hands) -> list[Story]:
    scenes = (small_world, visitor, unknown_visitor, merged, sold, mistakes, failing, stopped, offset, junior, today)
    return [scene(hands) for scene in scenes]


def small_world(hands: Hands) -> Story:
    """What became of the small world's open work."""
    yield 178
    chiara = bowlers.get_bowler(hands.session, 6)
    hands.fit(
        chiara,
        "floor",
        reason="first fit",
        middle_insert=hands.system_id("lifted"),
        ring_insert=hands.system_id("lifted"),
    )
    hands.ball(chiara, "Pink pearl", "CM-1", "13")
    piets = hands.drill(hands.plan_of(3))
    hands.measure(piets)
    hands.close(piets)
    hands.fit(bowlers.get_bowler(hands.session, 7), "hand")


def visitor(hands: Hands) -> Story:
    """A bowler of two shops, whose inner made here sits proud in the ball drilled there."""
    yield 139
    bo = hands.register("Bo Holloweth", "555 0177 1286", home="north", league="Monday trios")
    fit = hands.fit(bo, "floor", reason="first fit here")
    made = hands.drill(hands.plan(hands.ball(bo, "Green solid", "BH-20", "15"), fit))
    hands.note_bit(made, BIT, "2.753")
    hands.measure(made)
    hands.close(made)
    yield 52
    theirs = hands.visit(
        bo, "north", "Silver hybrid", ball_serial="NG-2048", depth="2 11/16", datum="collar", obtained="read_off_ball"
    )
    hands.trouble(made, "proud", "his inner from here stands proud in the silver one")
    for depth, proud in (("2 11/16", "1/64 sunk"), ("2 43/64", "flush"), ("2 21/32", "1/64 proud")):
        form = {"who": DRILLER, "trial_depth": depth, "proud": proud}
        trial_fits.add_trial_fit(hands.session, theirs.id, TrialFitForm.read(form))
    trial_fits.save_trial_depth(hands.session, theirs.id, TrialDepthForm.read({"who": DRILLER, "notes": "scrap ball"}))
    yield 51
    form = {"who": DRILLER, "trial_depth": "2 43/64", "proud": "flush"}
    trial_fits.add_trial_fit(hands.session, theirs.id, TrialFitForm.read(form))


def unknown_visitor(hands: Hands) -> Story:
    """A visitor of whose inner little is known yet, and a row of a set that could not be saved."""
    yield 0.09
    ilse = hands.register("Ilse Zellbury", "555 0177 3344", home="harbour")
    hands.visit(
        ilse, "harbour", "Gold pearl", ball_serial="HS-88", notch="unknown", outside="unknown", bore_pitch="unknown"
    )
    typed = {
        "bowler_name": "Jens Pellowe",
        "hand": "right",
        "ball_label": "Purple",
        "shop_id": str(hands.shops["harbour"].id),
    }
    visitor_sets.keep_row(hands.session, int(COUNTER), typed | {"thumb_hole": "1", "outside": "1 1/4"}, None)


def merged(hands: Hands) -> Story:
    """One person with two records, found out and merged."""
    yield 146
    one = hands.register("Robert Wystanley", "555 0166 7070", league="Tuesday mixed")
    fit = hands.fit(one, "floor", reason="first fit", spans="4 1/8 x 4 3/16")
    done = hands.drill(hands.plan(hands.ball(one, "Orange pearl", "RW-1", "15"), fit))
    hands.note_bit(done, BIT, "2.755")
    hands.measure(done)
    hands.close(done)
    yield 66
    other = hands.register("Bob Wystanley", "555 0166 7170")
    hands.ball(other, "Lime solid", "RW-2", "15")
    yield 64
    form = {"who": DRILLER, "version": str(one.version), "other_id": str(other.id), "other_version": str(other.version)}
    form |= {"stays": str(one.id), "why": "he bowls under both names"}
    answers = {q.field: q.choices[0][0] for q in mergers.list_questions(hands.session, one, other)}
    mergers.merge(hands.session, one.id, BowlerMergerForm.read(form | answers))


def sold(hands: Hands) -> Story:
    """A ball that went from one bowler to another."""
    yield 118
    liv = hands.register("Liv Tunstead", "555 0155 4141")
    done = hands.drill(
        hands.plan(hands.ball(liv, "White pearl", "LT-7", "14"), hands.fit(liv, "floor", reason="first fit"))
    )
    hands.note_bit(done, BIT, "2.751")
    hands.measure(done)
    hands.close(done)
    yield 58
    nina = hands.register("Nina Tunstead", "555 0155 4142")
    hands.fit(nina, "floor", reason="first fit", spans="3 15/16 x 4")
    yield 57.5
    moved = balls.get_ball(hands.session, done.ball_id)
    form = {"who": DRILLER, "version": str(moved.version), "to_id": str(nina.id), "why": "sold to her sister"}
    owner_changes.move_ball(hands.session, moved.id, OwnerForm.read(form))


def mistakes(hands: Hands) -> Story:
    """A ball and a bowler taken in by mistake and removed, and a draft that was discarded."""
    yield 90
    erik = hands.register("Erik Mandreth", "555 0144 9090")
    twice = hands.ball(erik, "Red pearl", "EM-1")
    hands.ball(erik, "Red pearl", "EM-1")
    taken_back.remove_ball(hands.session, twice.id, _why(twice.version, "typed twice"))
    draft = hands.draft(erik, "floor", reason="measured without the tape")
    hands.session.flush()
    taken_back.discard_fit(hands.session, draft.id, _why(draft.version, "measured in a hurry"))
    nobody = hands.register("Erik Mandret", "")
    hands.session.flush()
    taken_back.remove_bowler(hands.session, nobody.id, _why(nobody.version, "the same person, misspelled"))


def _why(version: int, why: str) -> TakingBackForm:
    return TakingBackForm.read({"who": COUNTER, "version": str(version), "why": why})


def failing(hands: Hands) -> Story:
    """A plan that fails a check, kept with its reason."""
    yield 6
    omar = hands.register("Omar Stallbridge", "555 0199 6262", league="Friday early birds")
    fit = hands.fit(omar, "floor", reason="first fit", bridge="5/32", middle_pitch="3/8 reverse, 1/8 right")
    hands.plan(
        hands.ball(omar, "Crimson hybrid", "OS-4", "15"),
        fit,
        reason="he asks for the narrow bridge; we talk on Saturday",
    )


def stopped(hands: Hands) -> Story:
    """A bore that came out too deep: the bench has stopped, and nobody has decided yet."""
    yield 0.2
    greta = hands.register("Greta Aldmarsh", "555 0122 8383")
    fit = hands.fit(greta, "floor", reason="first fit", spans="3 7/8 x 3 15/16")
    bored = hands.plan(hands.ball(greta, "Turquoise solid", "GA-1", "14"), fit)
    hands.bench(bored, "bore", "1 1/2 no. 3", "2 25/32 collar")


def offset(hands: Hands) -> Story:
    """A thumb that stands off the centre line, and a bore that was shimmed."""
    yield 104
    tove = hands.register("Tove Ravenshaw", "555 0122 5151", "left", league="Tuesday mixed")
    fit = hands.fit(tove, "floor", reason="first fit", thumb_offset="1/8 right", bridge="1/4")
    done = hands.plan(hands.ball(tove, "Bronze solid", "TR-1", "15"), fit)
    hands.bench(done, "bore", "1 1/2 no. 3", "2 25/32 collar")
    hands.decide(done, "shim", shim="1/32")
    hands.finish_on_paper(done)
    hands.measure(done)
    hands.close(done)
    yield 80
    hands.trouble(done, "loose", "the sleeve clicks; glued again")
    yield 61
    hands.trouble(done, "tabs", "wide tab worn round")


def junior(hands: Hands) -> Story:
    """A junior with a guardian, whose hand grows: two fits in half a year."""
    yield 166
    young = {
        "is_minor": "true",
        "guardian": "Maren Birchett 555 0188 1000",
        "league": "Sunday juniors",
        "consent": "signed form",
    }
    pim = hands.register("Pim Birchett", "555 0188 1001", **young)
    small = {"spans": "3 1/4 x 3 5/16", "thumb_hole": "13/16", "middle_hole": "9/16", "ring_hole": "17/32"}
    fit = hands.fit(pim, "hand", reason="first fit", **small)
    made = hands.drill(hands.plan(hands.ball(pim, "Yellow light", "PB-1", "10"), fit))
    hands.measure(made)
    hands.close(made)
    yield 99
    hands.put_in_force(hands.revise(fit, "the hand has grown", spans="3 3/8 x 3 7/16"))


def today(hands: Hands) -> Story:
    """Saturday morning: somebody is measured, and somebody waits for a check of the spans."""
    yield 0.11
    sune = hands.register("Sune Applegarth", "555 0133 7171", league="Monday trios")
    hands.draft(sune, "floor", reason="first fit, thumb still to be tried")
    yield 0.04
    mei = bowlers.get_bowler(hands.session, 8)
    hands.fit(mei, "floor", reason="first fit")
    hands.ball(mei, "Jade pearl", "MT-1", "12")
