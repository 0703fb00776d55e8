"""Help: Markdown files of `templates/help`, readable in the repository and shown in the app without a network."""

from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

from fastapi import Response
from fastapi.responses import JSONResponse
from markupsafe import Markup

from app.cards.plain import write_schema
from app.errors import NotFoundError
from app.pages.admission import PageDep, PageRouter
from app.settings import ROOT

if TYPE_CHECKING:
    from markdown_it.token import Token

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
    """A help file as HTML; the renderer escapes any markup in it. Wide tables scroll, and a phone stacks their rows."""
    from markdown_it import MarkdownIt  # noqa: PLC0415 - costs every start, and only these pages need it

    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = markdown.parse(_read_text(name))
    _name_cells(tokens)
    head, *tables = markdown.renderer.render(tokens, markdown.options, {}).split("<table>")
    frame = '<div class="scroll stacked" tabindex="0" role="region" aria-label="Table {}"><table>'
    framed = "".join(frame.format(i) + rest.replace("</table>", "</table></div>") for i, rest in enumerate(tables, 1))
    return Markup(head + framed)


def _name_cells(tokens: "list[Token]") -> None:
    """Tells each cell of a table, but those of its first column, the heading of its column."""
    heads: list[str] = []
    column = 0
    for token, inline in pairwise(tokens):
        if token.type == "table_open":
            heads = []
        elif token.type == "tr_open":
            column = 0
        elif token.type == "th_open":
            heads.append(inline.content)
        elif token.type == "td_open":
            if column:
                token.attrSet("data-head", f"{heads[column]}:")
            column += 1


@router.get("")
def list_pages(page: PageDep) -> Response:
    return page.show("help/index.html", pages=[(name, read_title(name)) for name in NAMES])


@router.get("/card.schema.json")
def show_card_schema(page: PageDep) -> Response:
    return JSONResponse(write_schema(), media_type="application/schema+json")


@router.get("/{name}")
def show_page(page: PageDep, name: str) -> Response:
    if name not in NAMES:
        raise NotFoundError("There is no such help page.")
    return page.show("help/page.html", title=read_title(name), text=_render_html(name))
