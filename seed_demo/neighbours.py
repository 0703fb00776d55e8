"""The demo's bowlers with simple records: one fit, one ball, and what came of it. All of them are invented."""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Neighbour:
    """A bowler with one fit and one ball; `state` is how far the ball has come, `days` when they were first here."""

    name: str
    phone: str
    days: float
    ball: str
    state: str = "closed"  # or fit, planned, drilled, none
    hand: str = "right"
    system: str = "floor"
    home: str = "ours"
    league: str = ""
    weight: str = "15"
    read: str = ""  # how deep the bore came out
    fit: dict[str, str] = field(default_factory=dict)


NO_THUMB = {"thumb_hole": "", "thumb_pitch": ""}
THUMBLESS = {"grip_holes": "thumbless", "spans": "2 x 2 1/8", "bridge": "1/4", **NO_THUMB}
NO_RING = {"ring_hole": "", "ring_cut": "", "ring_pitch": "", "bridge": "", "bridge_edges": ""}
NO_MIDDLE = {"middle_hole": "", "middle_cut": "", "middle_pitch": "", "bridge": "", "bridge_edges": ""}
ONE_FINGER = {"grip_holes": "thumb_middle", "spans": "4", **NO_RING}
RING_ALONE = {"grip_holes": "thumb_ring", "spans": "4 1/16", **NO_MIDDLE}
CONVENTIONAL = {
    "style": "conventional",
    "spans": "3 1/8 x 3 3/16",
    "middle_hole": "7/8",
    "middle_cut": "",
    "middle_pitch": "1/8 forward, 0",
    "middle_depth": "1 1/8",
    "ring_hole": "27/32",
    "ring_cut": "",
    "ring_pitch": "1/8 forward, 0",
    "ring_depth": "1 1/8",
    "bridge": "3/8",
}
SEMI = {"style": "semi-fingertip", "spans": "3 9/16 x 3 5/8", "middle_pitch": "0, 0", "ring_pitch": "0, 0"}
SMALL = {"spans": "3 11/16 x 3 3/4", "thumb_hole": "7/8", "middle_hole": "5/8", "ring_hole": "19/32"}
LARGE = {
    "spans": "4 1/2 x 4 9/16",
    "thumb_hole": "1 1/32 + 1/16 @ 40 right",
    "middle_hole": "3/4",
    "ring_hole": "23/32",
}

NEIGHBOURS = (
    Neighbour("Aino Pellgrave", "555 0101 1840", 171, "Teal pearl", "fit", league="Monday trios", fit=SMALL),
    Neighbour(
        "Bram Ashdune", "555 0101 2277", 168, "Red solid, spare", "fit", system="", weight="14", fit=CONVENTIONAL
    ),
    Neighbour("Cato Vosslund", "555 0101 3391", 161, "Graphite hybrid", league="Tuesday mixed", weight="16"),
    Neighbour("Dora Marrowell", "555 0101 4502", 156, "Rose pearl", system="flange", fit=SMALL),
    Neighbour("Edvin Tarnwick", "555 0101 5618", 149, "Navy solid", "fit", hand="left", league="Monday trios"),
    Neighbour(
        "Freya Hexbury", "555 0101 6720", 143, "Two-finger black", system="", league="Friday early birds", fit=THUMBLESS
    ),
    Neighbour("Gustav Ilvane", "555 0101 7834", 137, "White spare", system="slug", weight="14", fit=SEMI),
    Neighbour("Hilde Corriveth", "555 0101 8946", 133, "Amber hybrid", "fit", system="hand", home="north"),
    Neighbour("Idris Fennimoor", "555 0102 1053", 127, "Bottle green", fit=LARGE | {"bridge": "3/8"}, weight="16"),
    Neighbour(
        "Jonna Sallowby",
        "555 0102 2164",
        122,
        "Lilac pearl",
        "fit",
        system="",
        league="Friday early birds",
        fit=ONE_FINGER,
    ),
    Neighbour("Kasper Rookvale", "555 0102 3275", 116, "Slate asymmetric", hand="left", league="Tuesday mixed"),
    Neighbour("Lotta Wexmoor", "555 0102 4386", 109, "Coral solid", "fit", system="", fit=RING_ALONE),
    Neighbour("Ole Thornquay", "555 0102 7619", 87, "Brick solid", "drilled", league="Monday trios"),
    Neighbour("Pia Quorndale", "555 0102 8721", 79, "Ice pearl", "none", system="flange", hand="left"),
    Neighbour(
        "Rosa Jorrick", "555 0103 2943", 63, "Plum hybrid", "none", system="hand", fit=SMALL, league="Sunday juniors"
    ),
    Neighbour(
        "Sten Kettlebrae", "555 0103 3054", 54, "Copper solid", "fit", weight="16", fit=LARGE | {"bridge": "3/8"}
    ),
    Neighbour("Tilda Nethercroy", "555 0103 4165", 45, "Sky pearl", "fit", fit=SMALL),
    Neighbour("Vilma Osterlow", "555 0103 6387", 8, "Mint pearl", "planned", league="Tuesday mixed"),
    Neighbour("Wille Yarrowick", "555 0103 7498", 2.5, "Rust hybrid", "drilled", hand="left", read="2 49/64"),
    Neighbour("Ylva Brandreth-Oyle", "555 0103 8509", 0.05, "Cream pearl", "none", home="harbour", system=""),
)
