"""The one answer of a plan: never green where a hole comes too near to a mark of its layout."""

from app.pages.plan_views import Answer, judge_with_layout

READY = Answer("good", "Ready to drill", "10 checks hold", ())


def test_a_hole_over_a_mark_of_the_layout_takes_the_green_away() -> None:
    told = judge_with_layout(READY, ["middle hole over the pin"])
    assert told == Answer(
        "bad", "Holes and layout do not go together", "layout: middle hole over the pin. 10 checks hold", ()
    )
    failing = Answer("bad", "One check fails", "bridge as cut", ())
    assert judge_with_layout(failing, ["a", "b"]) == Answer("bad", "One check fails", "bridge as cut; layout: a; b", ())
    assert judge_with_layout(READY, []) is READY
    assert judge_with_layout(None, ["a"]) is None
