"""Help: Markdown files of `templates/help`, readable in the repository and shown in the app without a network."""

from functools import cache

from fastapi import Response
from markupsafe import Markup

from app.errors import NotFoundError
from app.pages.admission import PageDep, PageRouter
from app.settings import ROOT

router = PageRouter(prefix="/help")

FOLDER = ROOT / "templates" / "help"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.md")))


@cache
def read_title(name: str) -> str:
    """The first heading of a help file."""
    return _read_text(name).partition("\n")[0].removeprefix("# ")


@cache
def _read_text(name: str) -> str:
    return (FOLDER / f"{name}.md").read_text(encoding="utf-8")


@cache
def _render_html(name: str) -> Markup:
    """A help file as HTML; the renderer escapes any markup in it, and a wide table scrolls by itself."""
    from markdown_it import MarkdownIt  # noqa: PLC0415 - costs every start, and only these pages need it

    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    head, *tables = markdown.render(_read_text(name)).split("<table>")
    frame = '<div class="scroll" tabindex="0" role="region" aria-label="Table {}"><table>'
    framed = "".join(frame.format(i) + rest.replace("</table>", "</table></div>") for i, rest in enumerate(tables, 1))
    return Markup(head + framed)


@router.get("")
def list_pages(page: PageDep) -> Response:
    return page.show("help/index.html", pages=[(name, read_title(name)) for name in NAMES])


@router.get("/{name}")
def show_page(page: PageDep, name: str) -> Response:
    if name not in NAMES:
        raise NotFoundError("There is no such help page.")
    return page.show("help/page.html", title=read_title(name), text=_render_html(name))
