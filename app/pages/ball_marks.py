from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, Shown
from app.schemas.layouts import BallMarksForm
from app.services import ball_marks, balls

router = PageRouter()


def _load(page: Page, ball_id: int) -> Shown:
    rows = ball_marks.list_of_ball(page.session, ball_id)
    newest = rows[0] if rows else None
    ball = balls.get_ball(page.session, ball_id)
    return {
        "ball": ball,
        "rows": rows,
        "values": ball_marks.list_texts(newest) if newest else ball_marks.list_known(ball),
        "version": newest.id if newest else 0,
    }


@router.get("/balls/{ball_id}/marks")
def show_marks(page: PageDep, ball_id: RecordId) -> Response:
    """The marks of a ball: the form with what counts, and what was read before."""
    return page.show("balls/marks.html", **_load(page, ball_id))


@router.post("/balls/{ball_id}/marks")
def save_marks(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    ball = balls.get_ball(page.session, ball_id)
    try:
        ball_marks.add(page.session, ball, page.read(BallMarksForm, posted))
    except ShopError as error:
        return page.show_refused(error, "balls/marks.html", posted, lambda: _load(page, ball_id))
    return page.redirect(f"/balls/{ball.id}/marks")
