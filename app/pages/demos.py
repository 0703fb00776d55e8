"""The demo's panel of things to try, which a browser can put away."""

from fastapi import Response

from app.errors import NotFoundError
from app.pages.admission import PageDep, PageRouter, Posted

router = PageRouter()
COOKIE = "spanbook_tips"


@router.post("/demo/tips")
def put_tips_away(page: PageDep, posted: Posted) -> Response:
    """Puts the tips away in this browser, or back."""
    if page.request.app.state.demo is None:
        raise NotFoundError("There is no such page.")
    answer = page.redirect("/")
    answer.set_cookie(COOKIE, "away" if posted.get("tips") == "away" else "here", httponly=True, samesite="lax")
    return answer
