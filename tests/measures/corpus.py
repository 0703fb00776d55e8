"""Written measures and what they mean, written out by hand or built from spelling patterns of the trade.

Forms seen in public text and common practice of the trade (no source). Each row: kind, text, expected, where
expected is the exact value(s), or ASK when it can be read in two ways, or ERROR when it says what cannot be.
"""

from fractions import Fraction as F

ASK, ERROR, ABSENT, UNKNOWN = "ask", "error", "absent", "unknown"

_VALUES = ((4, 3, 8), (3, 47, 64), (4, 27, 64), (5, 1, 2), (4, 13, 32), (2, 15, 16))
_PATTERNS = (
    "{w} {n}/{d}", "{w}-{n}/{d}", "{w} - {n}/{d}", "{w}_{n}/{d}", "{w}+{n}/{d}", '{w} {n}/{d}"', "{w} {n}/{d} in",
    "{w} {n}/{d}''", '{w}" {n}/{d}', "{w} {n}/{d}″", "{w} {n}/{d}”", "{w} {n}/{d} inches", "  {w}  {n}/{d}  ",
    "{w} {n} / {d}", "{w} {n}⁄{d}", "{w} {n}∕{d}", "{w}\u00a0{n}/{d}", "{w}\u2009{n}/{d}", "{w}–{n}/{d}", "{w} {n}/{d} IN",
)  # fmt: skip
_FULL_WIDTH = str.maketrans("0123456789/ ", "０１２３４５６７８９／　")

SPELLED = [("span", pattern.format(w=w, n=n, d=d), F(w) + F(n, d)) for w, n, d in _VALUES for pattern in _PATTERNS] + [
    ("span", f"{w} {n}/{d}".translate(_FULL_WIDTH), F(w) + F(n, d)) for w, n, d in _VALUES
]

LENGTHS = [
    ("span", "4⅜", F(35, 8)), ("span", "4 ⅜", F(35, 8)), ("span", "4½", F(9, 2)), ("span", "5¼", F(21, 4)),
    ("span", "4⅞\"", F(39, 8)), ("hole", "⅞", F(7, 8)), ("span", "４．５", F(9, 2)), ("span", "4.375", F(35, 8)),
    ("span", "4.5", F(9, 2)), ("span", "4.", F(4)), ("span", "4", F(4)), ("span", "04", F(4)), ("span", "4.0", F(4)),
    ("hole", ".875", F(7, 8)), ("hole", "0.875", F(7, 8)), ("hole", "7/8", F(7, 8)), ("hole", "14/16", F(7, 8)),
    ("hole", "31/32", F(31, 32)), ("hole", "63/64", F(63, 64)), ("hole", '1"', F(1)), ("hole", "1 1/64", F(65, 64)),
    ("hole", "64/64", F(1)), ("hole", "9/8", F(9, 8)), ("hole", "24/64", F(3, 8)), ("hole", "28 64ths", F(7, 16)),
    ("span", "3.734", F(3734, 1000)), ("span", "4.3", F(43, 10)), ("span", "4,5", F(9, 2)), ("span", "4,37", F(437, 100)),
    ("span", "111 mm", F(1110, 254)), ("span", "111.1mm", F(1111, 254)), ("span", "11.1 cm", F(1110, 254)),
    ("span", "94.9 mm", F(949, 254)), ("sleeve_to_cut", "94.9 MM", F(949, 254)), ("sleeve_to_cut", "94,9 mm", F(949, 254)),
    ("sleeve_to_cut", "3 47/64", F(239, 64)), ("sleeve_to_cut", "3-47/64", F(239, 64)), ("sleeve_to_cut", "3.734", F(1867, 500)),
    ("hole", "24 mm", F(240, 254)), ("circumference", "27", F(27)), ("circumference", "27.000", F(27)), ("circumference", "26.704", F(26704, 1000)),
    ("circumference", "685.8 mm", F(27)), ("circumference", "68.58 cm", F(27)),
    ("span", "4 3/8+", F(281, 64)), ("span", "4 3/8-", F(279, 64)), ("span", "4 3/8 -", F(279, 64)), ("span", "4 3/8 full", ASK),
    ("span", "4 3/8 strong", F(281, 64)), ("span", "4 3/8 heavy", F(281, 64)), ("span", "4 3/8 plus", F(281, 64)),
    ("span", "4 3/8 shy", F(279, 64)), ("span", "4 3/8 light", F(279, 64)), ("span", '4 3/8" shy', F(279, 64)), ("span", "4 3/8- shy", ASK),
    ("span", "4 3/8 + 0.003", F(35, 8) + F(3, 1000)), ("span", "4 3/8 − 0.003", F(35, 8) - F(3, 1000)),
    ("span", "four and three eighths", F(35, 8)), ("span", "Four and Three-Eighths", F(35, 8)), ("span", "four and a half", F(9, 2)),
    ("span", "five", F(5)), ("span", "four and one quarter", F(17, 4)), ("hole", "fifteen sixteenths", F(15, 16)),
    ("hole", "thirty-one thirty-seconds", F(31, 32)), ("hole", "seven eighths", F(7, 8)), ("hole", "one inch", F(1)),
    ("hole", "fifteen thirty-seconds", F(15, 32)), ("hole", "one half", F(1, 2)), ("span", "4 1/3", F(13, 3)), ("span", "4 2/5", F(22, 5)),
    ("span", "4 in 3/8", F(35, 8)), ("hole", "875 thou", F(7, 8)), ("bridge", "1/4", F(1, 4)), ("bridge", "250 thou", F(1, 4)),
    ("tolerance", "1/64", F(1, 64)), ("tolerance", "0", F(0)), ("tolerance", "zero", F(0)), ("tolerance", "15.6 thou", F(156, 10000)),
    ("span", "", ABSENT), ("span", "   ", ABSENT), ("span", "none", ABSENT), ("span", "n/a", ABSENT), ("span", "-", ABSENT), ("span", "—", ABSENT),
    ("span", "unknown", UNKNOWN), ("span", "?", UNKNOWN), ("span", "Not known", UNKNOWN),
    ("span", "43/8", ASK), ("span", "11/2", ASK), ("hole", "17/16", ASK), ("hole", "33/32", ASK), ("span", "3-8", ASK), ("span", "4-3", ASK),
    ("span", "8-Mar", ASK), ("span", "Mar-8", ASK), ("span", "2026-03-08", ASK), ("span", "4 3 8", ASK), ("span", "4 15 16", ASK),
    ("span", "4,375", ASK), ("span", "94.9", ASK), ("span", "106", ASK), ("span", "111.1", ASK), ("hole", "24", ASK), ("hole", "875", ASK),
    ("span", "4'", ASK), ("span", "4' 3/8", ASK), ("span", "4 9/8", ASK), ("span", "4 8/8", ASK), ("span", "+4", ASK), ("circumference", "685.8", ASK),
    ("span", "3 47/0", ERROR), ("span", "4 1/3/2", ERROR), ("span", "40 in", ERROR), ("span", "-4", ERROR), ("span", "4 3/", ERROR),
    ("span", "/8", ERROR), ("span", "abc", ERROR), ("span", "4 3/8 4", ERROR), ("span", "0", ERROR), ("span", "1/4", ERROR), ("span", "4..5", ERROR),
    ("span", "4 miles", ERROR), ("span", "x" * 10_000, ERROR), ("span", "4 3/8" * 2_000, ERROR), ("span", "4e3", ERROR), ("span", "nan", ERROR),
    ("span", "inf", ERROR), ("span", "4 1/2\x00", ERROR), ("circumference", "28", ERROR), ("circumference", "28 in", ERROR), ("hole", "0/8", ERROR),
    ("bridge", "-1/4", ERROR), ("bridge", "3", ASK), ("depth", "-2", ERROR), ("depth", "70", ASK), ("span", "½½", ERROR),
]  # fmt: skip

PITCHES = [  # as read for a right hand's thumb: (forward, right)
    ("3/8R 1/8L", (F(-3, 8), F(-1, 8))), ("R3/8 L1/8", (F(-3, 8), F(-1, 8))), ("3/8 rev x 1/8 left", (F(-3, 8), F(-1, 8))),
    ("3/8 R / 1/8 L", (F(-3, 8), F(-1, 8))), ("3/8 reverse, 1/8 under", (F(-3, 8), F(1, 8))), ("rev 3/8 lat 1/8 L", (F(-3, 8), F(-1, 8))),
    ("0/0", (F(0), F(0))), ("zero-zero", (F(0), F(0))), ("zero zero", (F(0), F(0))), ("0", (F(0), F(0))), ("00", (F(0), F(0))), ("straight", (F(0), F(0))),
    ("0 x 1/8 R", (F(0), F(1, 8))), ("0 x 1/8 L", (F(0), F(-1, 8))), ("0, 1/8 right", (F(0), F(1, 8))), ("1/8 left, 0", (F(0), F(-1, 8))),
    ("1/4 R 1/8 R", (F(-1, 4), F(1, 8))), ("1/4R x 1/8R", (F(-1, 4), F(1, 8))), ("1/8 right 1/4 rev", (F(-1, 4), F(1, 8))),
    ("1/4 fwd 1/8 away", (F(1, 4), F(-1, 8))), ("1/4 F 1/8 R", (F(1, 4), F(1, 8))), ("1/4F 1/8L", (F(1, 4), F(-1, 8))), ("1/4 forward, 1/8 in", ASK),
    ("1/4 forward 1/8 out", (F(1, 4), F(-1, 8))), ("1/4 rev, 1/8 →", (F(-1, 4), F(1, 8))), ("1/4 rev, ← 1/8", (F(-1, 4), F(-1, 8))),
    (".250 R .125 L", (F(-1, 4), F(-1, 8))), ("0.25 reverse 0.125 left", (F(-1, 4), F(-1, 8))), ("250 thou reverse", (F(-1, 4), F(0))),
    ("1/4 reverse", (F(-1, 4), F(0))), ("3/8F", (F(3, 8), F(0))), ("1/4 rev 0", (F(-1, 4), F(0))), ("1/4 reverse, straight", (F(-1, 4), F(0))),
    ("6 mm rev 3mm left", (F(-60, 254), F(-30, 254))), ('1/4" reverse x 1/8" left', (F(-1, 4), F(-1, 8))), ("¼R ⅛L", (F(-1, 4), F(-1, 8))),
    ("1/4 back 1/8 left", (F(-1, 4), F(-1, 8))), ("1/4 reverse and 1/8 left", (F(-1, 4), F(-1, 8))), ("REV 1/4 RIGHT 1/8", (F(-1, 4), F(1, 8))),
    ("1/4 reverse, 1/8 palm", (F(-1, 4), F(1, 8))), ("1 1/8 reverse, 0", (F(-9, 8), F(0))),
    ("1/4R", ASK), ("1/8 L", ASK), ("1/8 left", ASK), ("1/8 under", ASK), ("3/8 1/8", ASK), ("1/4", ASK), ("3/8 x 1/8", ASK), ('1/4" Reverse x 1/8" Lateral', ASK),
    ("1/8L 3/8R", ASK), ("R 1/4", ASK), ("0 1/8R", ASK), ("+1/4", ASK), ("-1/4", ASK), ("250", ASK), ("1/4 rev 1/8", ASK), ("1/4 rev 1/8 fwd", ASK),
    ("1/4 left 1/8 right", ASK), ("lateral 1/8", ASK), ("lateral out 1/4", ASK), ("3", ASK), ("1/4 reverse left", ASK),
    ("3 in reverse", ERROR), ("reverse", ERROR), ("1/4 sideways", ERROR), ("1/0 R", ERROR), ("1/4 rev 1/8 left 1/8 right", ERROR), ("→", ERROR), ("1/4 $", ERROR),
]  # fmt: skip

SPAN_PAIRS = [  # in a field that says the middle comes first: (middle, ring)
    ("4 1/2 x 4 7/16", (F(9, 2), F(71, 16))), ("4 1/2 - 4 7/16", (F(9, 2), F(71, 16))), ("4-1/2 x 4-7/16", (F(9, 2), F(71, 16))), ("4 1/2 X 4 7/16", (F(9, 2), F(71, 16))),
    ("4 1/2 × 4 7/16", (F(9, 2), F(71, 16))), ('4 3/4" x 4 3/4"', (F(19, 4), F(19, 4))), ("4 1/2, 4 7/16", (F(9, 2), F(71, 16))), ("4 1/2 by 4 7/16", (F(9, 2), F(71, 16))),
    ("4 1/2 / 4 7/16", (F(9, 2), F(71, 16))), ("4.5 x 4.4375", (F(9, 2), F(71, 16))), ("4.5x4.4375", (F(9, 2), F(71, 16))), ("M 4 1/2 R 4 7/16", (F(9, 2), F(71, 16))),
    ("m4 1/2 r4 7/16", (F(9, 2), F(71, 16))), ("ring 4 1/2, mid 4 7/16", (F(71, 16), F(9, 2))), ("middle 4 1/2 ring 4 7/16", (F(9, 2), F(71, 16))),
    ("4 1/2 middle 4 7/16 ring", (F(9, 2), F(71, 16))), ("both 4 1/2", (F(9, 2), F(9, 2))), ("4 1/2 both", (F(9, 2), F(9, 2))), ("4 1/2 even", (F(9, 2), F(9, 2))),
    ("4 1/2 +1/16 ring", (F(9, 2), F(73, 16))), ("4 1/2 + 1/16 ring", (F(9, 2), F(73, 16))), ("4 1/2 - 1/16 ring", (F(9, 2), F(71, 16))), ("4 1/2 x 4 7/16 cut", (F(9, 2), F(71, 16))),
    ("111 mm x 112 mm", (F(1110, 254), F(1120, 254))), ("4½ x 4⅜", (F(9, 2), F(35, 8))), ("4 1/2 and 4 3/8", (F(9, 2), F(35, 8))), ("4 x 4 1/8", (F(4), F(33, 8))),
    ("4 1/2", ASK), ("4 1/2 x 4 7/16 centre", ASK), ("4 1/2 ring", ASK), ("111 x 112", ASK), ("43/8 x 4 1/2", ASK),
    ("4 1/2 x 4 7/16 x 4", ERROR), ("4 1/2 x", ERROR), ("x", ERROR), ("4 1/2 x 40 in", ERROR), ("4 1/2 x -4", ERROR),
]  # fmt: skip

OVALS = [  # (hole, oval, degrees)
    ("31/32", (F(31, 32), F(0), F(0))), ('1"', (F(1), F(0), F(0))), ("1 x 1 1/32 @ 45", (F(1), F(1, 32), F(45))), ("1 1/32 x 1 @45L", (F(1), F(1, 32), F(315))),
    ("1 + 1/32 @ 10:30", (F(1), F(1, 32), F(315))), ("1 by 1/32 sweep @ 45", (F(1), F(1, 32), F(45))), ("15/16 + 1/16 @ 45 left", (F(15, 16), F(1, 16), F(315))),
    ("15/16+1/16 @ 45", (F(15, 16), F(1, 16), F(45))), ("15/16 x 1 @ 2 o'clock", (F(15, 16), F(1, 16), F(60))), ("1 x 1 1/16 45 left", (F(1), F(1, 16), F(315))),
    ("1 x 1 1/16 at 10:30", (F(1), F(1, 16), F(315))), ("1 + 1/16 @ 45°", (F(1), F(1, 16), F(45))), ("1 x 1/32 @ 90", (F(1), F(1, 32), F(90))), ("7/8 + 1/8 @ -30", (F(7, 8), F(1, 8), F(330))),
    ("1 x 1 1/32", ASK), ("1 by 1/32 sweep", ASK), ("oval 1/16 45 deg left", ASK), ("1 @ 45", ASK), ("1 + 1/16 @ 3", ASK), ("1 + -1/16 @ 45", ERROR), ("1 + 1 @ 45", ERROR), ("1 x @ 45", ASK),
]  # fmt: skip

CLOCKS = [
    ("6:00", F(180)), ("6 o'clock", F(180)), ("6 o’clock", F(180)), ("12:00", F(0)), ("10:30", F(315)), ("1:30", F(45)), ("180", F(180)), ("45", F(45)), ("45°", F(45)), ("45 deg", F(45)),
    ("45 left", F(315)), ("45L", F(315)), ("45 R", F(45)), ("45 cw", F(45)), ("45 ccw", F(315)), ("45 counterclockwise", F(315)), ("-45", F(315)), ("+45", F(45)), ("360", F(0)), ("0", F(0)), ("22.5", F(45, 2)),
    ("6", ASK), ("12", ASK), ("13:00", ERROR), ("6:75", ERROR), ("400", ERROR), ("dot at ring side", ERROR),
]  # fmt: skip

AXIS_POINTS = [
    ("4 1/4 over 1/4 up", (F(17, 4), F(1, 4))), ('4 1/4" over, 1/4" up', (F(17, 4), F(1, 4))), ("4 1/4 x 1/4 U", (F(17, 4), F(1, 4))), ("5 over 1/2 down", (F(5), F(-1, 2))),
    ("5 > 1/2 v", (F(5), F(-1, 2))), ("5 over 0 up", (F(5), F(0))), ("4-1/2 over 1-1/4 up", (F(9, 2), F(5, 4))), ("5", ASK), ("5 over", ASK), ("4 1/2 x 1/4", ASK), ("over", ERROR),
]  # fmt: skip

DEPTHS = [  # (depth, datum)
    ("2 1/2 deep", (F(5, 2), "")), ("2.500 to shoulder", (F(5, 2), "collar")), ("2 9/16 from crown", (F(41, 16), "crown")), ("2 3/4", (F(11, 4), "")), ("2 3/4 collar", (F(11, 4), "collar")),
    ("2 3/4 from the high edge", (F(11, 4), "rim_high")), ("2 11/16 from low rim", (F(43, 16), "rim_low")), ("70 mm", (F(700, 254), "")), ("2 1/2 from flat", ASK), ("70", ASK), ("-2", ERROR), ("12 in", ERROR),
]  # fmt: skip

HEIGHTS = [
    ("1/32 proud", F(1, 32)), ("1/64 sunk", F(-1, 64)), ("flush", F(0)), ("0", F(0)), ("-1/32", F(-1, 32)), ("+1/64", F(1, 64)), ("1/32 high", F(1, 32)), ("1/32 in sunk", F(-1, 32)),
    ("0.5 mm sunk", F(-5, 254)), ("1/64 below", F(-1, 64)), ("8 thou proud", F(8, 1000)), ("1/32", ASK), ("-1/32 proud", ASK), ("2 in proud", ERROR), ("proud", ERROR),
]  # fmt: skip

# Families: spellings of the trade times values. What each means is stated by the table, never by the reader. ---

_MIXED = (("4", 1, 2), ("4", 3, 8), ("3", 47, 64), ("5", 5, 16), ("2", 31, 32), ("4", 13, 16))
_ORDINALS = {2: "nds", 4: "ths", 8: "ths", 16: "ths", 32: "nds", 64: "ths"}
_MIXED_SPELLINGS = (
    "{w} and {n}/{d}", "{w} & {n}/{d}", "{w} {n}/{d}.", "{w}.{n}/{d}", "{w}. {n}/{d}", "{w} {n}/{d}{o}", "{w} {n} {d}{o}", "{w} {n}/{d} inch.",
    "{w} {n}/{d}in.", '{w}" and {n}/{d}"', "{w} inches and {n}/{d}", "{w} in. {n}/{d}", "{w} {n}/{d}in", "{w} + {n}/{d}", '{w}" + {n}/{d}"', "{w}.{n}/{d} inches",
)  # fmt: skip
_SHADED = (
    (" + 1/64", F(1, 64)), ("+1/64", F(1, 64)), (" - 1/64", F(-1, 64)), ("-1/64", F(-1, 64)), (" + 1/32", F(1, 32)), ('" + 1/64"', F(1, 64)), (" + 0.003", F(3, 1000)),
    (" − 0.003", F(-3, 1000)), (" + 0,003", F(3, 1000)), (" + 2 thou", F(2, 1000)), (" - 2 thou", F(-2, 1000)), (" + 0.5 mm", F(5, 254)), ("+", F(1, 64)), ("-", F(-1, 64)),
    (" heavy", F(1, 64)), (" strong", F(1, 64)), (" plus", F(1, 64)), (" shy", F(-1, 64)), (" light", F(-1, 64)), (" in. shy", F(-1, 64)), (" full", ASK), (" FULL", ASK), ("++", ASK),
    ("--", ASK), ("+-", ASK), (" + shy", ASK), (" heavy light", ASK), (" + 1/2", ASK), (" - 1/2", ASK), ("-.375", ASK), (" + .5", ASK), ("/64", ERROR), ("..", ERROR), (" +/ 1/64", ERROR),
)  # fmt: skip
_IN_WORDS = (
    ("four and a half", F(9, 2)), ("4 and a half", F(9, 2)), ("4 and one half", F(9, 2)), ("four inches and a half", F(9, 2)), ("4 and 3 eighths", F(35, 8)), ("four and 3 eighths", F(35, 8)),
    ("four and three-eighths inches", F(35, 8)), ("three and forty-seven sixty-fourths", F(239, 64)), ("four point five", F(9, 2)), ("four point three seven five", F(35, 8)),
    ("two and fifteen sixteenths", F(47, 16)), ("two and thirty-one thirty-seconds", F(95, 32)), ("five and a quarter", F(21, 4)), ("5 and three quarters", F(23, 4)), ("four", F(4)),
    ("an inch and a half", F(3, 2)), ("inch and a quarter", F(5, 4)), ("4 3 8ths", F(35, 8)), ("4 3/8 ths", F(35, 8)), ("4³⁄₈", F(35, 8)), ("4 ³⁄₈", F(35, 8)), ("2¹⁵⁄₁₆", F(47, 16)),
    ("four and three", ERROR), ("four half", ERROR), ("four a half", F(9, 2)), ("four eighths and", ERROR), ("four and nine eighths", ASK), ("three-eight", ASK), ("four five", ERROR),
    ("4 + 30 mm", ERROR), ("4 3/8 + 30 mm", ERROR),     ("4-.375", ASK), ("4 - .375", ASK), ("4+.375", F(35, 8)), ('4" - 3/8', ASK), ("4-", ASK), ("4+", ASK), ("4,3/8", ASK), ("4 and 9/8", ASK), ("4--3/8", ERROR), ("4++3/8", ERROR), ("4//3", ERROR),
    ("4,,5", ERROR), ("4,5,", ERROR), (",", ERROR), ("4.5,5", ERROR), ("4.5/4", ERROR), ("4 3/8 4 1/2", ERROR), ("106 mil", ASK), ("4,5 in", F(9, 2)), ("4,25", F(17, 4)), ("5,0", F(5)),
)  # fmt: skip
_HOLE_SIZES = ((7, 8), (15, 16), (31, 32), (29, 32), (63, 64), (47, 64))
_HOLE_SPELLINGS = ("{n}/{d}{o}", "{n}/{d} {o}", "{n} {d}{o}", "{n}/{d}.", "{n}/{d} inch", "{n}/{d} of an inch", ".{x}", "0.{x}", "0,{x}", "0.{x} in", "{n}/{d}\"", "{n}⁄{d}")  # fmt: skip
_MILLIMETRES = (" millimeter", " millimeters", " millimetre", " millimetres", "mm", " mm.", " Mm", "millimeter")

LENGTHS += [
    ("span", s.format(w=w, n=n, d=d, o=_ORDINALS[d]), F(w) + F(n, d)) for w, n, d in _MIXED for s in _MIXED_SPELLINGS
]
LENGTHS += [
    ("span", f"{w} {n}/{d}{shade}", F(w) + F(n, d) + more if isinstance(more, F) else more)
    for w, n, d in _MIXED[:4] for shade, more in _SHADED
]  # fmt: skip
LENGTHS += [("span", text, meant) for text, meant in _IN_WORDS]
LENGTHS += [
    ("hole", s.format(n=n, d=d, o=_ORDINALS[d], x=f"{n / d:.6f}"[2:]), F(n, d)) for n, d in _HOLE_SIZES for s in _HOLE_SPELLINGS
]  # fmt: skip
LENGTHS += [("span", f"{size}{unit}", F(size.replace(",", ".")) * 10 / 254) for size in ("106", "111.1", "94,9", "120,65") for unit in _MILLIMETRES]  # fmt: skip
LENGTHS += [("depth", f"6.35 {unit}", F(5, 2)) for unit in ("cm", "centimeter", "centimetres", "cm.")]
LENGTHS += [
    ("tolerance", "1/64-", ASK), ("tolerance", "1/64 shy", ASK), ("tolerance", "1/32 light", ASK), ("tolerance", "1/64 + 0.003", F(1, 64) + F(3, 1000)), ("bridge", "1/4 shy", F(15, 64)),
    ("bridge", "1/4 full", F(17, 64)), ("bridge", "1/4-3/8", ASK), ("bridge", "1/4 + 1/64", F(17, 64)), ("bridge", "0,25", F(1, 4)), ("bridge", "0,250", F(1, 4)), ("bridge", "quarter inch", F(1, 4)),
    ("bridge", "a quarter of an inch", F(1, 4)), ("bridge", "half an inch", F(1, 2)), ("bridge", "6 mil", ASK), ("hole", "1,125", ASK), ("hole", "0,875", F(7, 8)), ("hole", "one and one sixteenth", F(17, 16)),
    ("hole", "seven eighth", F(7, 8)), ("hole", "twenty-nine thirty-seconds", F(29, 32)), ("hole", "sixty-three sixty fourths", F(63, 64)), ("hole", "15 sixteenths", F(15, 16)),
    ("hole", "three quarters of an inch", F(3, 4)), ("hole", "three-quarter inch", F(3, 4)), ("hole", "eighths", ERROR), ("hole", "thousand", ERROR),
]  # fmt: skip

_V = {"F": 1, "fwd": 1, "fwd.": 1, "forward": 1, "R": -1, "rev": -1, "rev.": -1, "reverse": -1, "back": -1}
_H = {"L": -1, "Lt": -1, "lt.": -1, "left": -1, "R": 1, "Rt": 1, "rt.": 1, "right": 1}
_PITCH_SPELLINGS = ("{a}{v} {b}{s}", "{a} {v}, {b} {s}", "{a}{v}-{b}{s}", "{a} {v} x {b} {s}", "{a} {v}/{b} {s}", "{v} {a} {s} {b}")  # fmt: skip
_PITCH_SIZES = (
    ("1/4", "1/8", F(1, 4), F(1, 8)), ("0,25", "0,125", F(1, 4), F(1, 8)), (".25", ".125", F(1, 4), F(1, 8)), ("3/8", "0", F(3, 8), F(0)), ("½", "3/16", F(1, 2), F(3, 16)),
    ("0.375", "0,0625", F(3, 8), F(1, 16)), ('1/4"', '1/8"', F(1, 4), F(1, 8)), ("6 mm", "3 mm", F(60, 254), F(30, 254)), ("one quarter", "an eighth", F(1, 4), F(1, 8)),
)  # fmt: skip
PITCHES += [
    (s.format(a="1/4", b="1/8", v=v, s=h), (F(1, 4) * up, F(1, 8) * right))
    for v, up in _V.items() for h, right in _H.items() for s in _PITCH_SPELLINGS
]  # fmt: skip
PITCHES += [
    (f"{a} {v}{between}{b} {h}", (up * _V[v], right * _H[h]))
    for a, b, up, right in _PITCH_SIZES for v, h in (("rev", "left"), ("forward", "rt."), ("R", "R")) for between in (" ", ", ", " x ", " / ", " & ", "; ")
]  # fmt: skip
PITCHES += [
    ("0 1/8L", (F(0), F(-1, 8))), ("0 / 1/8 L", (F(0), F(-1, 8))), ("0/1/8L", (F(0), F(-1, 8))), ("0-1/8L", (F(0), F(-1, 8))), ("0,1/8L", (F(0), F(-1, 8))), ("0 and 1/8 left", (F(0), F(-1, 8))),
    ("0 1/8 rev", (F(-1, 8), F(0))), ("0 .125 L", (F(0), F(-1, 8))), ("0/1/8 R", (F(0), F(1, 8))), ("0-1/8R", ASK), ("0-0", (F(0), F(0))), ("0 - 0", (F(0), F(0))), ("0 0", (F(0), F(0))), ("0,0", (F(0), F(0))),
    ("no lateral", (F(0), F(0))), ("0 lat", (F(0), F(0))), ("0 lat.", (F(0), F(0))), ("3/8 rev, no lateral", (F(-3, 8), F(0))), ("3/8R 0 lat", (F(-3, 8), F(0))), ("no lat., 3/8 rev.", (F(-3, 8), F(0))),
    ("3/8 rev lateral zero", (F(-3, 8), F(0))), ("3/8 rev, none", (F(-3, 8), F(0))), ("3/8 rev lat 1/8 left", (F(-3, 8), F(-1, 8))), ("one quarter reverse", (F(-1, 4), F(0))), ("quarter reverse", (F(-1, 4), F(0))),
    ("a quarter reverse, an eighth left", (F(-1, 4), F(-1, 8))), ("1/4 rev, left 1/8", (F(-1, 4), F(-1, 8))), ("rev.1/4 lat.1/8L", (F(-1, 4), F(-1, 8))), ("r.250 l.125", (F(-1, 4), F(-1, 8))),
    ("0,5 rev", (F(-1, 2), F(0))), ("0,1 rev", ASK), ("0,1 L", ASK), ("1,1/8 rev", ASK), ("1/4,1/8", ASK), ("1/4-1/8", ASK), ("3/8F -1/8L", ASK), ("1/4 rev,, 1/8 left", ERROR), ("0,,1 rev", ERROR),
    ("3/8F--1/8L", ERROR), ("1/4 rev 1/8 left and 1/8", ERROR), ("3° 30' rev", ERROR), ("25° rev", ERROR), ("1/4 rev 3 mil left", ASK), ("43/8 rev", ASK), ("1/4R 43/8L", ASK),
]  # fmt: skip

DEGREES = [  # as read for a right hand's thumb: degrees (forward, right)
    ("3 1/2° reverse", (-3.5, 0)), ("3½° rev", (-3.5, 0)), ("1/2° rev", (-0.5, 0)), ("½° F", (0.5, 0)), ("3-1/2 deg rev", (-3.5, 0)), ("3.5° rev", (-3.5, 0)), ("3,5° rev", (-3.5, 0)), ("5 deg. rev.", (-5, 0)),
    ("2 1/4 degrees forward, 1 1/2 degrees left", (2.25, -1.5)), ("2¼° fwd 1½° Rt", (2.25, 1.5)), ("three and a half degrees reverse", (-3.5, 0)), ("2,5° rev 1,5° L", (-2.5, -1.5)), ("0° 1/2° L", (0, -0.5)),
    ("3 3/4°R 1/4°R", (-3.75, 0.25)), ("10° rev", (-10, 0)), ("1/3° rev", (-1 / 3, 0)),
]  # fmt: skip

_SPANS = (
    (("4 1/2", "4-1/2", "4½", "4.5", "4,5", '4 1/2"', "4.1/2"), ("4 7/16", "4-7/16", "4 7/16", "4.4375", "4,4375", '4 7/16"', "4.7/16"), F(9, 2), F(71, 16)),
    (("3 47/64", "3-47/64", "3 47/64", "3.75", "3,75", "95 mm", '3 47/64"'), ("4 1/8", "4-1/8", "4⅛", "4.125", "4,125", "105 mm", '4 1/8"'), None, None),
)  # fmt: skip
_BETWEEN = (" x ", "x", " × ", " by ", " & ", "; ", ", ", " / ", "/", " - ", "-", " ", "  ")
_MEANT = {"3 47/64": F(239, 64), "3-47/64": F(239, 64), "3.75": F(15, 4), "3,75": F(15, 4), "95 mm": F(950, 254), '3 47/64"': F(239, 64), "105 mm": F(1050, 254)}  # fmt: skip
SPAN_PAIRS += [
    (f"{one}{between}{two}", (a or _MEANT[one], b or _MEANT.get(two, F(33, 8))))
    for ones, twos, a, b in _SPANS for one, two in zip(ones, twos, strict=True) for between in _BETWEEN
]  # fmt: skip
_LABELLED = (
    "M {a} R {b}", "M={a}, R={b}", "M: {a} R: {b}", "m{a} r{b}", "R={b}, M={a}", "MF {a} RF {b}", "middle finger {a}, ring finger {b}", "{a} M {b} R", "{a} (middle) {b} (ring)", "ring {b} x middle {a}",
    "mid {a} / ring {b}", "M {a} & R {b}",
)  # fmt: skip
SPAN_PAIRS += [
    (s.format(a=a, b=b), (F(9, 2), F(35, 8))) for s in _LABELLED for a, b in (("4 1/2", "4 3/8"), ("4.5", "4.375"), ("4,5", "4,375"), ("4½", "4⅜"))
]  # fmt: skip
SPAN_PAIRS += [
    ("4½x4⅜", (F(9, 2), F(35, 8))), ("114 x 111 mm", (F(1140, 254), F(1110, 254))), ("114/111 mm", (F(1140, 254), F(1110, 254))), ("114-111 mm", (F(1140, 254), F(1110, 254))), ("114 mm x 111", (F(1140, 254), F(1110, 254))),
    ("11,4 x 11,1 cm", (F(1140, 254), F(1110, 254))), ("M 114 R 111 mm", (F(1140, 254), F(1110, 254))), ("4,5 4,4", (F(9, 2), F(22, 5))), ("4,5,4,4", (F(9, 2), F(22, 5))), ("4 4 1/8", (F(4), F(33, 8))), ("5 1/2 5", (F(11, 2), F(5))),
    ("four and a half by four and three eighths", (F(9, 2), F(35, 8))), ("4 1/2+ 4 7/16", (F(289, 64), F(71, 16))), ("4 1/2 shy x 4 7/16", (F(287, 64), F(71, 16))), ("4 1/2, 4 7/16 and", ERROR),
    ("4,5", ASK), ("4,4", ASK), ("5,5", ASK), ("4, 5", ASK), ("4 5", ASK), ("4-5", ASK), ("4/4", ASK), ("4,54,4", ASK), ("4,5/4", ASK), ("114-111", ASK), ("4 1/2- 4 7/16", ASK), ("M 4 1/2 - R 4 7/16", ASK), ("4 1/2 M: 4 3/8 R", ASK), ("4 1/2 M 4 3/8 R:", ASK), ("M 4 1/2 R", ASK), ("M R 4 1/2", ASK), ("4 1/2 M R", ASK),
    ("4 7/16 full", ASK), ("4 1/2 x 4 7/16 full", ASK), ("4 1/2F x 4 7/16F", ASK), ("full span 4 1/2 x 4 7/16", ASK), ("43/8 4 1/2", ASK), ("R 43/8 M 4 1/2", ASK), ("M 4 1/2 M 4 3/8", ASK), ("4 1/2 - 1/16", ASK), ("4 1/2--4 7/16", ERROR), ("4 1/2 xx 4 7/16", ERROR), ("4 12 x 4 7/16", ERROR),
]  # fmt: skip

_TURNS: dict[str, F | int] = {"10:30": 315, "1:30": 45, "6:00": 180, "12:00": 0, "7:15": F(435, 2)}
OVALS += [
    (f"{size} @ {clock}", (F(15, 16), F(1, 16), F(turn)))
    for size in ("15/16 x 1", "15/16x1", "15/16 + 1/16", "0,9375 x 1", "15/16 by 1/16", "15/16 x 1 oval", "15/16 x 1/16 sweep")
    for clock, turn in _TURNS.items()
]  # fmt: skip
OVALS += [
    (f"15/16 x 1{turn}", (F(15, 16), F(1, 16), F(315)))
    for turn in (" left 45", " L45", " @ L45", ", 45 left", " 45 ccw", " 45 counter-clockwise", " 10½ o'clock", " at 10:30", " toward 10:30", " @ 10h30", " 45° Lt", " @ 45,0 left")
]  # fmt: skip
OVALS += [
    ("1 x 1.03 x 1.06 @ 45", ERROR), ("15/16 x 7/16 @ 45", (F(15, 16), F(7, 16), F(45))), ("1 x 1 1/32 @ 10.30", ASK), ("1 x 1 1/32 @ 7.5", ASK), ("1 x 1 1/32 @ 1,30", ASK), ("1 x 1 1/32 towards the palm", ASK), ("1 x 1 1/32 @ away from the palm", ASK), ("17/16 x 1 1/8 @ 45", ASK), ("1 ++ 1/32 @ 45", ASK),
    ("15/16-1/16", ASK), ("31/32 - 1/32", ASK), ("1-1/16", (F(17, 16), F(0), F(0))), ("5/8 + 11/16 @ 45", ASK), ("1/2 x 5/8 oval @ 45", (F(1, 2), F(1, 8), F(45))), ("1 x 1,03125 @ 45", (F(1), F(1, 32), F(45))), ("one by one thirty-second @ 45", (F(1), F(1, 32), F(45))), ("1 1/32 full", (F(67, 64) - F(0), F(0), F(0))),
]  # fmt: skip

CLOCKS += [(f"{h}:{m:02d}{tail}", F(h * 30 % 360) + F(m, 2)) for h in (1, 5, 10, 12) for m in (0, 15, 30, 45) for tail in ("", " o'clock", " oclock")]  # fmt: skip
CLOCKS += [(s.format(h=h), F(h * 30 % 360 + 15)) for h in (1, 7, 10, 12) for s in ("{h}½ o'clock", "{h} 1/2 o'clock", "{h}.5 o'clock", "{h},5 o'clock", "half past {h}", "{h}.30 o'clock", "{h}h30", "at {h}:30")]  # fmt: skip
CLOCKS += [
    (text.format(h=h), ASK)
    for h in (1, 7, 10, 12)
    for text in ("{h}.30", "{h}.5", "{h},30", "{h},5", "{h}.15", "{h}½", "{h} 1/2", "{h}.0")
]
CLOCKS += [
    (s.format(d=d), F(turn) if way == "on" else F(360 - turn) % 360)
    for d, turn in (("45", 45), ("22.5", F(45, 2)), ("22,5", F(45, 2)), ("22 1/2", F(45, 2)), ("90", 90))
    for way, spellings in (
        ("on", ("right {d}", "R{d}", "{d} Rt", "{d} clockwise", "{d}° right", "+{d}", "{d} deg. to the right")),
        ("back", ("left {d}", "L{d}", "{d} Lt", "{d} counter-clockwise", "{d} counter clockwise", "{d} anti-clockwise", "{d}° left", "-{d}", "{d} deg. to the left", "ccw {d}")),
    )
    for s in spellings
]  # fmt: skip
CLOCKS += [
    ("away from the palm", ASK), ("towards the palm", ASK), ("palm", ASK), ("under", ASK), ("-45 right", ASK), ("-45 left", ASK), ("+45 left", ASK), ("left 45 right", ASK), ("10.25 o'clock", ASK), ("10.60 o'clock", F(318)), ("left", F(270)), ("right", F(90)),
    ("up", F(0)), ("down", F(180)), ("away from the fingers", F(180)), ("ten thirty o'clock", F(315)), ("quarter to 11", F(645, 2)), ("--45", ERROR), ("400 left", ERROR), ("10::30", ERROR), ("13 o'clock", ERROR), ("7.5°", F(15, 2)),
]  # fmt: skip

AXIS_POINTS += [
    (f"{a}{over}{b}{way}", (F(17, 4), F(1, 2) * sign))
    for a, b in (("4 1/4", "1/2"), ("4.25", ".5"), ("4,25", "0,5"), ("4¼", "½"), ('4 1/4"', '1/2"'), ("four and a quarter", "one half"))
    for over in (" over ", " over, ", " over and ", " x ", " > ", ", ")
    for way, sign in ((" up", 1), (" U", 1), (" down", -1), (" d", -1))
]  # fmt: skip
AXIS_POINTS += [
    ("5,1 up", ASK), ("5,1", ASK), ("5 1/2 up", ASK), ("4 1/4 1/4 up", ASK), ("5 over -1/2", ASK), ("5 over -1/2 up", ASK), ("5 over up 1/2", (F(5), F(1, 2))), ("over 5 up 1/2", (F(5), F(1, 2))), ("over 5, down 1/2", (F(5), F(-1, 2))),
    ("5x1/2 up", (F(5), F(1, 2))), ("5, 1 up", (F(5), F(1))), ("5,1 over 1 up", (F(51, 10), F(1))), ("5 over 1/2 up down", ERROR),
]  # fmt: skip

DEPTHS += [
    (s.format(d=d), (F(11, 4), datum))
    for d in ("2 3/4", "2.75", "2,75", "2¾", "69.85 mm")
    for datum, spellings in (
        ("collar", ("collar {d}", "{d} collar setting", "collar: {d}", "{d} from the collar", "stop {d}", "collar setting {d}", "{d} deep, collar", "{d} (collar)")),
        ("crown", ("crown {d}", "{d} from the crown", "from crown {d}", "{d} below the crown")),
        ("rim_high", ("high edge {d}", "{d} off the high rim")), ("rim_low", ("low side {d}", "{d} low edge")),
        ("", ("depth {d}", "{d} depth", "deep {d}")),
    )
    for s in spellings
]  # fmt: skip
DEPTHS += [("23/4 collar", ASK), ("collar 70", ASK), ("2 3/4 collar, 2 9/16 crown", ERROR), ("collar", ERROR)]

HEIGHTS += [
    (s.format(d=d, w=w), size * sign)
    for d, size in (("1/32", F(1, 32)), ("1/64", F(1, 64)), ("0.5 mm", F(5, 254)), ("0,5 mm", F(5, 254)), ("0.03125", F(1, 32)), ("8 thou", F(8, 1000)), ("one thirty-second", F(1, 32)))
    for w, sign in (("proud", 1), ("high", 1), ("above", 1), ("sunk", -1), ("low", -1), ("below", -1), ("recessed", -1))
    for s in ("{w} {d}", "{d} {w}", "{w} by {d}")
]  # fmt: skip
HEIGHTS += [
    (f"1/64{shade}", ASK)
    for shade in (" shy", " light", "-", "+", " -", " heavy", " full", " strong", "- proud", " shy sunk")
]
HEIGHTS += [
    ("--1/32", ERROR), ("+-1/32", ERROR), ("proud 1/32 sunk", ASK), ("proud -1/32", ASK), ("3 mil proud", ASK), ("-3/8 + 0.003", F(-372, 1000)), ("1/32 - 1/64 proud", ASK),
]  # fmt: skip

WEIGHTS: list[tuple[str, F | str]] = [(s, F(243, 16)) for s in ("15-3", "15 - 3", "15 lb 3 oz", "15lb3oz", "15 lbs. 3 oz.", "15 lb 3", "15# 3", "15 lb, 3 oz", "15 pounds and 3 ounces", "fifteen pounds three ounces")]  # fmt: skip
WEIGHTS += [(s, F(31, 2)) for s in ("15 1/2", "15-1/2", "15½", "15.5", "15,5", "15.5 lb", "15 1/2 lb", "15,5 lbs", "15 and a half", "15 lb 8 oz", "15-8")]  # fmt: skip
WEIGHTS += [(s, ASK) for s in ("15 3", "15-16", "14 lb 20 oz", "15.10", "15.12", "6.8 kg")] + [(s, ERROR) for s in ("20", "153", "153 oz", "15--3", "15:3", "-15", "3 lb")]  # fmt: skip

# Ounces: 1 oz is 28.349523125 g exactly, international yard and pound agreement of 1959; 3 oz = 85 g as rule texts round
TOP_WEIGHTS: list[tuple[str, F | str]] = [(s, F(13, 4)) for s in ("3 1/4 oz", "3.25", "3,25 oz", "3 1/4", "3-1/4", "3¼ ounces", "three and a quarter ounces")]  # fmt: skip
TOP_WEIGHTS += [("85 g", F(85) / F("28.349523125")), ("92 grams", F(92) / F("28.349523125")), ("92", ASK), ("-3", ERROR), ("9 oz", ERROR), ("3 lb", ERROR), ("heavy", ERROR), ("", ABSENT), ("unknown", UNKNOWN), ("?", UNKNOWN)]  # fmt: skip
SCALE_SHOWN: list[tuple[str, F | str]] = [("-2 1/4", F(-9, 4)), ("−2.25 oz", F(-9, 4)), ("2 1/4", F(9, 4)), ("+2 1/4", F(9, 4)), ("0", F(0)), ("-50 g", F(-50) / F("28.349523125")), ("-50", ASK), ("13 oz", ERROR), ("", ABSENT), ("unknown", UNKNOWN)]  # fmt: skip
MASS_DOUBTS: list[tuple[str, F | str]] = [("0.02", F(1, 50)), ("1/32 oz", F(1, 32)), ("1 g", F(1) / F("28.349523125")), ("-0.1", ERROR), ("5 oz", ERROR), ("unknown", UNKNOWN)]  # fmt: skip
BALL_OUNCES: list[tuple[str, F | str]] = [(s, F(243)) for s in ("15 lb 3 oz", "15-3", "243 oz", "243 ounces")]  # fmt: skip
BALL_OUNCES += [("15", F(240)), ("15.5", F(248)), ("15 lb 2 1/4 oz", F(969, 4)), ("243.5 oz", F(487, 2)), ("6.8 kg", ASK), ("15 3", ASK), ("95 oz", ERROR), ("257 oz", ERROR), ("153", ERROR), ("", ABSENT), ("unknown", UNKNOWN)]  # fmt: skip
HEAVY_RIGHT: list[tuple[str, F | str]] = [(s, F(1, 4)) for s in ("1/4 right", "right 1/4", "1/4 oz right", "0.25 right side", "0,25 right heavy")]  # fmt: skip
HEAVY_RIGHT += [("1/8 left", F(-1, 8)), ("left 1/8", F(-1, 8)), ("0", F(0)), ("even", F(0)), ("0 right", F(0)), ("1/4", ASK), ("-1/4", ASK), ("-1/4 right", ASK), ("left 1/4 right", ASK), ("1/4 top", ERROR), ("13 right", ASK), ("400 right", ERROR), ("", ABSENT), ("unknown", UNKNOWN)]  # fmt: skip
HEAVY_FINGER: list[tuple[str, F | str]] = [("1/4 finger", F(1, 4)), ("1/2 thumb", F(-1, 2)), ("thumb side 1/2", F(-1, 2)), ("1/4 fingers", F(1, 4)), ("1/4 right", ERROR)]  # fmt: skip
HEAVY_TOP: list[tuple[str, F | str]] = [("2 1/2 top", F(5, 2)), ("1/2 oz bottom", F(-1, 2)), ("1 1/2", ASK)]
LAYOUT_ANGLES: list[tuple[str, F | str]] = [(s, F(71, 2)) for s in ("35.5", "35 1/2°", "35,5 deg", "35-1/2 degrees")]  # fmt: skip
LAYOUT_ANGLES += [("35°", F(35)), ("35", F(35)), ("0", F(0)), ("180", F(180)), ("-180", F(-180)), ("−5", F(-5)), ("-5 1/2°", F(-11, 2)), ("200", ASK), ("361", ERROR), ("-181", ERROR), ("35 in", ERROR), ("", ABSENT), ("unknown", UNKNOWN)]  # fmt: skip
SIDED_POINTS: list[tuple[str, tuple[F, F, str] | str]] = [(s, (F(9, 2), F(1, 2), "right")) for s in ("4 1/2 right over 1/2 up", "4 1/2 over right, 1/2 up", "right 4 1/2 over 1/2 up", "4 1/2 over to the right 1/2 up")]  # fmt: skip
SIDED_POINTS += [("4 1/2 over 1/2 up", (F(9, 2), F(1, 2), "")), ("4 1/2 left over 1/4 down", (F(9, 2), F(-1, 4), "left")), ("4 1/2 left", ASK), ("4 1/2 left over 1/2", ASK), ("4 1/2 right over 1/2 left", ERROR), ("right", ERROR)]  # fmt: skip
