"""Two browsers at one inbox have other rows open; one that is left is free again."""

from app.services.inbox_desks import KEPT_S, InboxDesks


def test_a_row_is_held_from_others_until_its_browser_goes_on_or_leaves() -> None:
    now = [0.0]
    desks = InboxDesks(lambda: now[0])
    desks.open_row(1, "one", 17)
    assert desks.list_of_others(1, "other") == {17}
    assert desks.list_of_others(1, "one") == frozenset()
    assert desks.list_of_others(2, "other") == frozenset()
    desks.open_row(1, "one", 19)
    assert desks.list_of_others(1, "other") == {19}
    now[0] = KEPT_S + 1
    assert desks.list_of_others(1, "other") == frozenset()
