"""Who owns a word: sorted lists of bowlers' ids, flags of the common words, and how such lists are intersected."""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import chain, compress, islice
from typing import TypeAlias

Ids: TypeAlias = "array[int]"  # of bowlers, sorted
NO_FLAGS = bytearray()
_NEWCOMERS = 10_000  # bowlers added after the start who have flags too
_AT_ONCE = 16  # owners of a common word for each one looked for: enough of them own another common word


def make_flags(ids: Ids) -> bytearray:
    """Returns a byte for each bowler's id, 1 where it is among these, with room for newcomers."""
    flags = bytearray(ids[-1] + _NEWCOMERS)
    for bowler_id in ids:
        flags[bowler_id] = True
    return flags


def contains(bowler_id: int, ids: Ids) -> bool:
    """Whether a bowler is in a sorted list, by binary search."""
    at = bisect_left(ids, bowler_id)
    return at < len(ids) and ids[at] == bowler_id


class Owners:
    """The ids of bowlers that have at least one of some words, in the order of the words; flags of common words."""

    def __init__(self, lists: Sequence[Ids], flags: Sequence[bytearray] = ()) -> None:
        self.lists = lists
        self.flags = flags or [NO_FLAGS] * len(lists)
        self.count = sum(map(len, lists))

    def among(self, ids: Sequence[int]) -> list[int]:
        """Returns which of these ids are owners, in their order.

        By flag, by binary search in a long list, by a scan of a short one; of a list without flags only the part
        between the lowest and the highest id is read, as ids come in runs of a sorted list.
        """
        low, high = min(ids, default=0), max(ids, default=-1)
        if len(self.flags) == 1 and high < len(self.flags[0]):
            return list(compress(ids, map(self.flags[0].__getitem__, ids)))
        found: set[int] = set()
        whole = frozenset(ids)
        for own, flags in zip(self.lists, self.flags, strict=True):
            if high < len(flags):
                found.update(compress(ids, map(flags.__getitem__, ids)))
                continue
            begin, end = bisect_left(own, low), bisect_right(own, high)
            if end - begin > 16 * len(ids):
                found.update(i for i in ids if contains(i, own))
            elif end > begin:
                found |= whole.intersection(own[begin:end])
        return list(filter(found.__contains__, ids))

    def shared_with(self, others: Sequence["Owners"], most: int) -> list[int]:
        """Returns up to `most` of these owners that all others contain too, in the order of these owners."""
        shared: dict[int, None] = {}
        every = chain.from_iterable(self.lists)
        while len(shared) < most and (some := list(islice(every, _AT_ONCE * most))):
            for other in others:
                some = other.among(some)
            shared |= dict.fromkeys(some)
        return list(shared)[:most]


class Narrowed:
    """A few bowlers, some of whom are picked again and again by owning one word or another."""

    def __init__(self, ids: Iterable[int]) -> None:
        self.sorted = sorted(ids)
        self.ids = frozenset(self.sorted)

    def pick(self, owners: Ids, most: int) -> list[int]:
        """Returns up to `most` of them that own a word, by going through the shorter list."""
        if len(owners) <= len(self.sorted):
            return list(islice(filter(self.ids.__contains__, owners), most))
        return list(islice((i for i in self.sorted if contains(i, owners)), most))
