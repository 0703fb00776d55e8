"""The example of a regulation that ships: an outline of published rules, to be checked against the rules in force.

Its facts were seen in restatements by federations and retailers, not in the controlling text; how far each can be
relied on is said in its notes.
"""

EXAMPLE = {
    "edition": "Example, check against the rules in force",
    "in_force_from": "2020-08-01",
    "source": (
        "Restated from notices of a national federation (24 February 2019, 30 May 2020) and the world"
        " federation's rules 11.12 and 11.13, and from retailers' summaries; the controlling text was not"
        " seen."
    ),
    "is_example": True,
    "body": {
        "classes": [
            {"over_oz": "160", "top_bottom_oz": "3", "side_oz": "3", "finger_thumb_oz": "3"},
            {"over_oz": "128", "up_to_oz": "160", "top_bottom_oz": "2", "side_oz": "3/4", "finger_thumb_oz": "3/4"},
            {"up_to_oz": "128", "top_bottom_oz": "3/4", "side_oz": "3/4", "finger_thumb_oz": "3/4"},
        ],
        "without_thumb": [{"over_oz": "160", "top_bottom_oz": "3", "side_oz": "3", "finger_thumb_oz": "3"}],
        "without_holes": [{"over_oz": "160", "top_bottom_oz": "1", "side_oz": "1", "finger_thumb_oz": "1"}],
        "most_holes": 5,
        "counted_holes": (
            "Gripping holes count: at most one for each finger and one for the thumb, all for the same hand. Each"
            " must be used at every delivery; a hole that is not used is a balance hole, and none is allowed. A"
            " hole only 4 mm deep counts."
        ),
        "vent_largest_in": "1/4",
        "mill_hole_largest_in": "5/8",
        "mill_hole_deepest_in": "1/8",
        "needs_plus_without_thumb": True,
        "device_words": (
            "From memory only: a device that can be exchanged must be locked during delivery, not be of metal,"
            " only change span, pitch or size of gripping holes, not adjust the static balance, and leave no void"
            " beneath it."
        ),
        "notes": (
            "Over 10 lb, 3 oz each way (high confidence; 1 oz to the sides before 1 August 2018). 8 to 10 lb, 2"
            " oz and 3/4 oz (medium: older statement, and one federation's summary of 2018 says 3 oz over 8 lb)."
            " Under 8 lb, 3/4 oz each way (medium to low, from memory); a ball of exactly 8 lb counts with the"
            " lighter ones here, which is the strict reading. Without a thumb hole, 3 oz top to bottom (medium);"
            " to the sides as any ball of its weight. Without holes, 1 oz (medium, text of before 2018). Five"
            " gripping holes, vents to 1/4 in and one mill hole to 5/8 in and 1/8 in deep (high). A ball drilled"
            " without a thumb hole is marked with a plus at the palm's centre (high). Limits count as within"
            " (common practice, no source). The official's scale and the rules in force decide."
        ),
    },
}
