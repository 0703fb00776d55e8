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
