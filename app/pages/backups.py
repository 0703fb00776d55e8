from typing import Any

from fastapi import Response

from app.pages.admission import PageDep, PageRouter, Posted
from app.pages.render import Page
from app.schemas.forms import Form
from app.services import backups

router = PageRouter(prefix="/backups")


def _load_backups(page: Page) -> dict[str, Any]:
    settings = page.request.app.state.settings
    return {
        "copies": backups.list_backups(settings.backups, settings.url),
        "folder": settings.backups,
        "settings": settings,
        "late": page.describe_late_backup(),
    }


@router.get("")
def show_backups(page: PageDep) -> Response:
    return page.show("people/backups.html", **_load_backups(page))


@router.post("")
def back_up(page: PageDep, posted: Posted) -> Response:
    """Makes a copy now; it is checked by a rehearsal before it counts."""
    page.read(Form, posted)
    answer = page.redirect("/backups")
    page.session.commit()  # the copy is made without holding up other writers
    settings = page.request.app.state.settings
    backups.make_backup(settings.url, settings.backups, settings.backups_kept)
    return answer
