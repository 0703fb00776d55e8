"""Grip request bodies for the tests: the contract's example, and a strategy for any grip that can be drilled."""

import copy
from typing import Any

from hypothesis import strategies as st

Json = dict[str, Any]  # an object as programs send and get it: what is read of it is checked by value

EXAMPLE: Json = {
    "circumference_in": 27.0,
    "hand": "right",
    "sleeve_od_in": 1.5,
    "thumb": {"hole_in": 0.9375, "oval_in": 0.0625, "oval_deg": 45, "forward_in": -0.25, "right_in": 0.0, "depth_in": 2.75},
    "middle": {"span_in": 4.0, "cut_in": 0.96875, "hole_in": 0.6875, "forward_in": -0.25, "right_in": 0.0, "depth_in": 1.0},
    "ring": {"span_in": 4.125, "cut_in": 0.96875, "hole_in": 0.65625, "forward_in": -0.25, "right_in": -0.125, "depth_in": 1.0},
    "span_edges": "cut",
    "bridge_in": 0.25,
    "bridge_edges": "cut",
}  # fmt: skip


def example(**changed: Any) -> Json:
    body = copy.deepcopy(EXAMPLE)
    body.update(changed)
    return body


def _number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.integers(round(low * 1000), round(high * 1000)).map(lambda n: n / 1000)


@st.composite
def bodies(draw: st.DrawFn, edges: tuple[str, ...] = ("cut", "finished", "sleeve")) -> Json:
    """Any grip a shop might be asked for, both hands, all edges, pitches to 1/2 in, ovals any way."""
    pitch = _number(-0.5, 0.5)
    span = draw(_number(2.8, 5.2))
    fingers = []
    for offset in (0.0, draw(_number(-0.3, 0.3))):
        cut = draw(_number(0.7, 1.05))
        fingers.append(
            {
                "span_in": span + offset,
                "cut_in": cut,
                "hole_in": cut - draw(_number(0.0, 0.3)),
                "forward_in": draw(pitch),
                "right_in": draw(pitch),
                "depth_in": 1.0,
            }
        )
    return {
        "circumference_in": draw(_number(26.704, 27.002)),
        "hand": draw(st.sampled_from(("right", "left"))),
        "sleeve_od_in": draw(_number(1.35, 1.6)),
        "thumb": {
            "hole_in": draw(_number(0.75, 1.15)),
            "oval_in": draw(_number(0.0, 0.15)),
            "oval_deg": draw(_number(0.0, 360.0)),
            "forward_in": draw(pitch),
            "right_in": draw(pitch),
            "depth_in": 2.75,
        },
        "middle": fingers[0],
        "ring": fingers[1],
        "span_edges": draw(st.sampled_from(edges)),
        "bridge_in": draw(_number(0.32, 0.6)),
        "bridge_edges": draw(st.sampled_from(("cut", "finished"))),
    }
