"""How many requests of each kind run at once."""

from anyio import CapacityLimiter
from fastapi import Request

from app.access import OPEN
from app.pages.render import SAFE_METHODS

# Names of the routes to which pictures are posted:
READS_CODES = "reads codes"  # one, to look for a code in it
KEEPS_PHOTO = "keeps a photo"  # one, that is made anew before the transaction begins
KEEPS_PICTURES = "keeps pictures"  # several at once


class Lanes:
    """How many requests of each kind run at once, first come, first served.

    Reading pages mostly compute, and Python computes in one thread at a time: more of them at once would only wait for
    each other. A write may wait long for the write lock, a password is slow to check and a PDF slow to make, so each of
    these has a limit of its own. Health checks and static files use none of these threads.
    """

    def __init__(self) -> None:
        self.reading, self.writing, self.signing_in, self.printing = map(CapacityLimiter, (4, 24, 4, 2))
        self.checking_health = CapacityLimiter(2)
        self.noting = CapacityLimiter(1)
        self.large_bodies = CapacityLimiter(3)
        self.escaped_forms = CapacityLimiter(1)
        self.pictures = CapacityLimiter(1)  # a picture of any kind is over 100 MB while it is decoded

    def of(self, request: Request) -> CapacityLimiter:
        if request.method in SAFE_METHODS:
            return self.printing if request.scope["path"].endswith(".pdf") else self.reading
        route = request.scope["route"]
        if route.name == KEEPS_PICTURES or (route.name == READS_CODES and getattr(request.state, "photo", b"")):
            return self.pictures
        return self.signing_in if route.path in OPEN else self.writing
