"""Closed sets of values, each with its words: the only list for forms, tables, imports and selects.

A set is a `Literal`, so that mypy knows its values; its words are a dictionary in the order in which a select shows
them. `COLUMNS` names the stored columns that hold a closed set: an import refuses any other value there.
"""

from typing import Literal, get_args

Role = Literal["counter", "driller", "owner"]
ROLES: dict[Role, str] = {
    "counter": "counter: looks everything up, keeps bowlers and balls, takes visitors in",
    "driller": "driller: also fits, drillings, hardware, depths and bits",
    "owner": "owner: also people, settings, rules, backups and erasing",
}
Scope = Literal["read", "write"]

Hand = Literal["right", "left"]
HAND_WORDS: dict[Hand, str] = {"right": "right hand", "left": "left hand"}
Digit = Literal["thumb", "middle", "ring"]
DIGITS: tuple[Digit, ...] = get_args(Digit)

GripHoles = Literal["three", "thumbless", "thumb_middle", "thumb_ring"]
GRIP_HOLES_WORDS: dict[str, str] = {
    "three": "thumb and two fingers",
    "thumbless": "two fingers, no thumb",
    "thumb_middle": "thumb and middle finger",
    "thumb_ring": "thumb and ring finger",
}
DIGITS_OF: dict[str, tuple[Digit, ...]] = {
    "three": DIGITS,
    "thumbless": ("middle", "ring"),
    "thumb_middle": ("thumb", "middle"),
    "thumb_ring": ("thumb", "ring"),
}

Style = Literal["conventional", "semi-fingertip", "fingertip"]
SpanEdges = Literal["cut", "finished", "sleeve", "unknown"]
SPAN_EDGES_WORDS: dict[SpanEdges, str] = {
    "cut": "to the cut edges, before inserts",
    "finished": "to the finished edges, inserts in",
    "sleeve": "from the sleeve to the cut edges",
    "unknown": "unknown",
}
BridgeEdges = Literal["cut", "finished", "unknown"]
BRIDGE_EDGES_WORDS: dict[BridgeEdges, str] = {
    "cut": "between the cut edges",
    "finished": "between the finished edges",
    "unknown": "unknown",
}
FitState = Literal["draft", "in force", "superseded", "discarded"]

SystemDigit = Literal["thumb", "finger"]
SYSTEM_DIGIT_WORDS: dict[SystemDigit, str] = {"thumb": "the thumb", "finger": "a finger"}
Locks = Literal["clockwise", "anticlockwise", "unknown"]
HeightSetBy = Literal["bore_floor", "ball_surface", "by_hand", "slug"]
HEIGHT_WORDS: dict[HeightSetBy, str] = {
    "bore_floor": "the floor of the bore: depth matters",
    "ball_surface": "a flange on the ball's surface: depth follows from it",
    "by_hand": "by hand at glue-up, against the slug",
    "slug": "nothing: a plain slug, the thumb is drilled into it",
}

Datum = Literal["collar", "crown", "rim_high", "rim_low", "unknown"]
DATUM_WORDS: dict[str, str] = {
    "collar": "collar setting",
    "crown": "from the crown",
    "rim_high": "from the high edge",
    "rim_low": "from the low edge",
    "unknown": "datum unknown",
}
DATUM_CHOICES: dict[Datum, str] = {
    "collar": "the collar setting",
    "crown": "the crown, before boring",
    "rim_high": "the high edge",
    "rim_low": "the low edge",
    "unknown": "unknown",
}
Obtained = Literal["collar_measured", "told", "trial_fit", "read_off_ball", "loose_inner"]
OBTAINED_WORDS: dict[str, str] = {
    "collar_measured": "measured on the collar",
    "told": "told by the shop",
    "trial_fit": "found by trial fits",
    "read_off_ball": "read off a ball",
    "loose_inner": "read off a loose inner",
}
ObtainedByForm = Literal["collar_measured", "told", "read_off_ball"]  # the others are set by services
ObtainedFromVisitor = Literal["told", "read_off_ball"]

# Written in place of a typed text where a field was left empty and a value was stored all the same.
STRAIGHT_UNASKED = "straight, or never asked"
NOTCH_UNASKED = "as ours, or never asked"

DrillingState = Literal["planned", "drilled", "closed", "plugged", "not drilled"]
DrillingVerdict = Literal["", "within", "long", "short", "mixed"]
OldHoleDigit = Literal["thumb", "finger"]
OLD_HOLE_DIGIT_WORDS: dict[OldHoleDigit, str] = {"thumb": "a thumb hole", "finger": "a finger hole"}
OldHoleState = Literal["filled", "open", "not there"]
OLD_HOLE_STATE_WORDS: dict[OldHoleState, str] = {
    "filled": "filled: a plug",
    "open": "open",
    "not there": "not there: recorded by mistake",
}
AlongWay = Literal["fingers", "palm"]
ALONG_WAY_WORDS: dict[AlongWay, str] = {"fingers": "towards the fingers", "palm": "towards the thumb"}
AcrossWay = Literal["right", "left"]
ACROSS_WAY_WORDS: dict[AcrossWay, str] = {"right": "to the right", "left": "to the left"}
BoreRuns = Literal["like_thumb", "straight"]
BORE_RUNS_WORDS: dict[BoreRuns, str] = {
    "like_thumb": "at the thumb's pitch",
    "straight": "straight, the hole is tilted in the inner",
}
InnerKind = Literal["loaded", "blank", "moulded"]
INNER_KIND_WORDS: dict[InnerKind, str] = {
    "loaded": "loaded: a slug is in it",
    "blank": "blank: solid",
    "moulded": "moulded to the thumb",
}
FittedBy = Literal["feel", "flush"]
FITTED_BY_WORDS: dict[FittedBy, str] = {
    "feel": "felt as the fit says, lips as small as that allows",
    "flush": "flush all round, felt as it comes",
}
Point = Literal["118", "135", "180"]
POINT_WORDS: dict[Point, str] = {"118": "118°", "135": "135°", "180": "flat-bottomed"}
FoundHole = Literal["thumb_hole", "middle_hole", "ring_hole"]
FOUND_HOLE_WORDS: dict[FoundHole, str] = {
    "thumb_hole": "thumb hole",
    "middle_hole": "middle hole",
    "ring_hole": "ring hole",
}
RIM_PLACES = {"rim_12": "front", "rim_3": "right", "rim_6": "back", "rim_9": "left"}
StepReading = Literal["depth", "bit", "rim", "pitch"]
BoredHole = Literal["bore", "thumb", "middle", "ring"]
BORED_HOLE_WORDS: dict[BoredHole, str] = {
    "bore": "bore",
    "thumb": "thumb hole",
    "middle": "middle hole",
    "ring": "ring hole",
}
StopChoice = Literal["take_back", "shim", "plan_rest", "carry_on", "hand_over", "plug"]
StopDecision = Literal["carried_on", "shimmed", "planned", "taken_back", "plugged"]
STOP_DECISION_WORDS: dict[StopDecision, str] = {
    "carried_on": "carried on",
    "shimmed": "shimmed under the sleeve",
    "planned": "planned the rest again",
    "taken_back": "the tick was taken back",
    "plugged": "plugged",
}
Stage = Literal["built", "found"]

BitEventKind = Literal["collar_set", "sharpened", "replaced", "machine_moved"]
BIT_EVENT_WORDS: dict[BitEventKind, str] = {
    "collar_set": "collar set again",
    "sharpened": "sharpened",
    "replaced": "replaced",
    "machine_moved": "machine moved or repaired",
}
TroubleKind = Literal["tabs", "binds_top", "binds_lock", "loose", "proud", "stuck"]
Measures = Literal["sleeve_to_cut", "depth"]
MEASURES_WORDS: dict[Measures, str] = {"sleeve_to_cut": "sleeve to cut", "depth": "depth"}
WordKind = Literal["name", "former", "phone", "league", "ball", "hand", "shop", "made"]
CardOutcome = Literal["read", "taken in", "taken back"]
MediaType = Literal["image/jpeg", "image/png"]
Accent = Literal["petrol", "blue", "moss", "plum", "slate"]
ACCENT_WORDS: dict[Accent, str] = {name: name for name in get_args(Accent)}

TicketKind = Literal["new", "same", "redrill", "thumb", "insert", "sand", "check", "layout", "balance"]
TICKET_KIND_WORDS: dict[TicketKind, str] = {
    "new": "new drilling",
    "same": "same as last",
    "redrill": "plug and redrill",
    "thumb": "thumb only",
    "insert": "change an insert",
    "sand": "sand or polish",
    "check": "check it",
    "layout": "layout",
    "balance": "weigh its balance",
}
DRILLS: frozenset[TicketKind] = frozenset(("new", "same", "redrill"))  # done when the drilling is closed
TicketState = Literal["taken in", "ready", "on the bench", "done", "handed over", "followed up", "called off"]
TicketStage = Literal[
    "taken in", "ready", "planned", "on the bench", "waiting", "done", "handed over", "followed up", "called off"
]
Priority = Literal["usual", "first"]
PRIORITY_WORDS: dict[Priority, str] = {"usual": "in its turn", "first": "before others"}
WaitKind = Literal["glue", "part", "bowler", "question"]
WAIT_KIND_WORDS: dict[WaitKind, str] = {
    "glue": "glue or resin that cures",
    "part": "a part",
    "bowler": "the bowler",
    "question": "an answer",
}
CheckMoment = Literal["take", "rack", "handover", "check"]
Outcome = Literal["fine", "not fine"]
RedoReason = Literal["tight", "loose", "lip", "span", "pitch", "wrong hole", "looks", "other"]
REDO_REASON_WORDS: dict[RedoReason, str] = {
    "tight": "too tight",
    "loose": "too loose",
    "lip": "a lip is felt",
    "span": "a span is off",
    "pitch": "a pitch is off",
    "wrong hole": "a wrong hole",
    "looks": "how it looks",
    "other": "something else",
}
PartKind = Literal["inner", "sleeve", "insert", "slug", "glue", "other"]
PART_KIND_WORDS: dict[PartKind, str] = {
    "inner": "inner",
    "sleeve": "outer sleeve",
    "insert": "finger insert",
    "slug": "slug",
    "glue": "glue or resin",
    "other": "something else",
}
AlikeBy = Literal["bit", "collar", "lot", "week"]
ALIKE_WORDS: dict[AlikeBy, str] = {
    "bit": "same bit", "collar": "same collar setting", "lot": "same lot of parts", "week": "same week",
}  # fmt: skip
MovementCause = Literal["delivery", "use", "count", "undo"]
MOVEMENT_CAUSE_WORDS: dict[MovementCause, str] = {
    "delivery": "delivered", "use": "used", "count": "counted", "undo": "taken back",
}  # fmt: skip

FoundBy = Literal["ring", "tape", "watched", "off_ball", "told", "guessed", "unknown"]
FOUND_BY_WORDS: dict[FoundBy, str] = {
    "ring": "from the first ring of oil, equally far from all of it",
    "tape": "a bit of tape that stood still as the ball rolled",
    "watched": "watched as the ball rolled, and marked after",
    "off_ball": "read off a ball that is drilled",
    "told": "told by the bowler or another shop",
    "guessed": "estimated",
    "unknown": "unknown",
}
MassMark = Literal["yes", "no", "unknown"]
MASS_MARK_WORDS: dict[MassMark, str] = {"yes": "there is one", "no": "there is none", "unknown": "unknown"}
CentreSide = Literal["left", "right", "unknown"]
CENTRE_SIDE_WORDS: dict[CentreSide, str] = {"left": "left of it", "right": "right of it", "unknown": "unknown"}
WeighedStage = Literal["before", "after"]
WEIGHED_STAGE_WORDS: dict[WeighedStage, str] = {"before": "before drilling", "after": "after drilling"}
SHEET_STATES = frozenset(("looked at", "trying", "tried", "running", "done", "taking back", "taken back"))
_LOOKED_AT = {"typed": "waits for a second look", "right": "found right", "wrong": "found wrong"}
CARD_STATE_WORDS = {"waiting": "waiting"} | _LOOKED_AT | {"left out": "left out"}  # of a paper card


def list_values(closed: object, *more: str) -> frozenset[str]:
    """Returns the values of a `Literal`, and `more`."""
    return frozenset((*get_args(closed), *more))


COLUMNS: dict[tuple[str, str], frozenset[str]] = {
    **{(table, "hand"): list_values(Hand) for table in ("bowler", "fit", "issued_card")},
    **{(table, "datum"): list_values(Datum) for table in ("bore", "depth_observation", "stated_depth")},
    ("staff", "role"): list_values(Role),
    ("api_token", "scopes"): list_values(Scope),
    ("bowler_word", "kind"): list_values(WordKind),
    ("fit", "state"): list_values(FitState),
    ("fit", "style"): list_values(Style),
    ("fit", "grip_holes"): list_values(GripHoles),
    ("fit", "span_edges"): list_values(SpanEdges),
    ("fit", "bridge_edges"): list_values(BridgeEdges, ""),
    ("insert_system", "digit"): list_values(SystemDigit),
    ("insert_system", "locks"): list_values(Locks),
    ("insert_system", "height_set_by"): list_values(HeightSetBy),
    ("bore", "hand"): list_values(Hand, ""),
    ("depth_observation", "obtained"): list_values(Obtained),
    ("read_card", "outcome"): list_values(CardOutcome),
    ("drilling", "state"): list_values(DrillingState),
    ("drilling", "verdict"): list_values(DrillingVerdict),
    ("fit_hole", "digit"): list_values(Digit),
    ("drilling_step", "met_datum"): list_values(Datum, ""),
    ("drilling_step", "reads"): list_values(StepReading),
    ("bench_stop", "decision"): list_values(StopDecision, ""),
    ("old_hole", "digit"): list_values(OldHoleDigit),
    ("old_hole", "state"): list_values(OldHoleState),
    ("measurement", "stage"): list_values(Stage),
    ("photo", "media_type"): list_values(MediaType),
    ("shop", "accent"): list_values(Accent),
    ("shop", "picture_type"): list_values(MediaType, ""),
    ("bit_event", "what"): list_values(BitEventKind),
    ("trouble", "what"): list_values(TroubleKind),
    ("study", "measures"): list_values(Measures),
    ("ticket", "what"): list_values(TicketKind),
    ("ticket", "state"): list_values(TicketState),
    ("ticket", "priority"): list_values(Priority),
    ("ticket", "redo_reason"): list_values(RedoReason, ""),
    ("ticket", "outcome"): list_values(Outcome, ""),
    ("ticket_move", "state"): list_values(TicketState),
    ("ticket_wait", "kind"): list_values(WaitKind),
    ("ball_check", "moment"): list_values(CheckMoment),
    ("part", "kind"): list_values(PartKind),
    ("part_movement", "cause"): list_values(MovementCause),
    ("axis_point", "hand"): list_values(Hand),
    ("axis_point", "found_by"): list_values(FoundBy),
    ("layout", "hand"): list_values(Hand),
    ("favourite_layout", "hand"): list_values(Hand),
    ("weighing", "stage"): list_values(WeighedStage),
    ("sheet_import", "state"): SHEET_STATES,
    ("paper_card", "state"): frozenset(CARD_STATE_WORDS),
    ("sheet_row", "outcome"): frozenset(("taken", "asked", "refused", "")),
}
