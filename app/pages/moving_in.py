"""Moving in: a spreadsheet is taken in by steps, each on a page of its own, and every step can be gone back to."""

from fastapi import Response

from app.db import READ_ONLY
from app.errors import ConflictError, InvalidError, ShopError
from app.models import SheetImport
from app.pages import pictures
from app.pages.admission import PageDep, PageRouter, Posted, PostedFile, RecordId
from app.pages.render import Page, Shown
from app.schemas.forms import SignedForm
from app.schemas.sheets import ColumnsForm, ConventionsForm, UploadForm
from app.schemas.taken_back import TakingBackForm
from app.services import changes, sheet_forms, sheet_imports, sheet_passes, sheet_rows, sheet_undoing
from app.sheets.cells import name_column
from app.sheets.delimited import ENCODINGS, SEPARATORS, list_doubtful
from app.sheets.fields import FIELDS
from app.sheets.files import read_file

router = PageRouter(prefix="/moving-in")
LARGEST_SHEET = 7_000_000  # bytes; the command takes larger ones
_SHOWN_FIRST, _DRAWN_FIRST = 3, 3


def _load_list(page: Page) -> Shown:
    return {
        "imports": sheet_imports.list_imports(page.session),
        "habits": [(habit.name, habit.name) for habit in sheet_imports.list_habits(page.session)],
        "encodings": list(ENCODINGS.items()),
        "separators": [(word, word) for word in SEPARATORS],
        "largest_mb": LARGEST_SHEET // 1_000_000,
    }


@router.get("")
def list_imports(page: PageDep) -> Response:
    """Every sheet that was taken in, and the form of the next."""
    return page.show("moving_in/index.html", **_load_list(page))


@router.post("")
def take_in(page: PageDep, file: PostedFile, posted: Posted) -> Response:
    """Reads a file while nobody waits for the writers' lock, and stores it."""
    name, data = file
    try:
        form = page.read(UploadForm, posted)
        if not data:
            raise InvalidError.at("file", "Choose the file.")
        if len(data) > LARGEST_SHEET:
            raise InvalidError.at("file", "Too large for a browser: “spanbook import-sheet FILE” takes it in.")
        doubtful = {} if form.encoding else list_doubtful(data)
        if doubtful:
            shown = "; ".join(f"{ENCODINGS[encoding]}: {line}" for encoding, line in doubtful.items())
            raise InvalidError.at("encoding", f"Which is right? {shown}. Choose it here, and the file again.")
        named = (name, sheet_imports.name_file(data, form.sheet))
        sheet_imports.require_new(page.session, named[1])
        page.session.commit()
        read = read_file(data, form.sheet, SEPARATORS.get(form.separator, ""), form.encoding)
        made = sheet_imports.take_in(page.session, form.who, named, read, form.habit)
    except ShopError as error:
        return page.show_refused(error, "moving_in/index.html", posted, lambda: _load_list(page), "upload")
    return page.redirect(f"/moving-in/{made.id}/columns")


def _load(page: Page, import_id: int) -> Shown:
    of = sheet_imports.get_import(page.session, import_id)
    is_active = of.state in sheet_passes.ENDS
    return {
        "sheet": of,
        "counts": sheet_imports.count_outcomes(page.session, of),
        "is_active": is_active,
        "failure": page.request.app.state.sheet_runs.find_failure(of.id) if is_active else "",
        "is_still": is_active and not page.request.app.state.sheet_runs.is_running(of.id),
        "done": sheet_passes.count_done(page.session, of) if is_active else of.rows,
        "kept": sheet_undoing.list_kept(page.session, of.id) if of.state == "taken back" else [],
        "history": changes.list_record_lines(page.session, of),
        "version": of.version,
    }


@router.get("/{import_id}")
def show_import(page: PageDep, import_id: RecordId) -> Response:
    """How far an import is, what came of its rows, and the next step."""
    return page.show("moving_in/show.html", **_load(page, import_id))


# Columns and conventions ----------------------------------------------------------------------------------------------


def _load_columns(page: Page, import_id: int) -> Shown:
    of = sheet_imports.get_import(page.session, import_id)
    columns = sheet_imports.read_columns(of)
    first = [sheet_rows.make_cells(row) for row in sheet_rows.list_rows(page.session, of, 0, 4)]
    return {
        "sheet": of,
        "columns": columns.columns,
        "letters": {c.index: name_column(c.index) for c in columns.columns},
        "doubted": [example for _, example in columns.contradicted],
        "examples": {c.index: [r[c.index].text for r in first if c.index < len(r)] for c in columns.columns},
        "fields": [(name, of_field.words) for name, of_field in FIELDS.items()],
        "values": {f"column_{c.index}": c.field for c in columns.columns},
        "version": of.version,
    }


@router.get("/{import_id}/columns")
def show_columns(page: PageDep, import_id: RecordId) -> Response:
    return page.show("moving_in/columns.html", **_load_columns(page, import_id))


@router.post("/{import_id}/columns")
def set_columns(page: PageDep, import_id: RecordId, posted: Posted) -> Response:
    """Stores what the columns are; what that asks of the file is found while nobody waits for the writers' lock."""
    of = sheet_imports.get_import(page.session, import_id)
    try:
        form = page.read(ColumnsForm, posted)
        changes.require_version(page.session, of, form.version)
        columns = sheet_imports.choose_columns(of, form.chosen)
        page.session.commit()
        with page.request.app.state.sessions() as reading:
            reading.connection(execution_options=READ_ONLY)
            read = sheet_rows.load_sheet(reading, import_id)
        of = sheet_imports.get_import(page.session, import_id)
        changes.require_version(page.session, of, form.version)
        sheet_imports.set_columns(page.session, form.who, of, columns, read)
    except ShopError as error:
        return page.show_refused(error, "moving_in/columns.html", posted, lambda: _load_columns(page, import_id))
    return page.redirect(f"/moving-in/{import_id}/conventions")


def _load_conventions(page: Page, import_id: int) -> Shown:
    of = sheet_imports.get_import(page.session, import_id)
    read = sheet_rows.list_read(page.session, of, 0)
    grips = sheet_forms.list_first_grips(page.session, of, read, _DRAWN_FIRST)
    return {
        "sheet": of,
        "values": {f"said_{name}": value for name, value in of.conventions.items()},
        "read": read[:_SHOWN_FIRST],
        "grips": [(first, pictures.draw_grip(first.solved)) for first in grips],
        "version": of.version,
    }


@router.get("/{import_id}/conventions")
def show_conventions(page: PageDep, import_id: RecordId) -> Response:
    """What the file's numbers mean, asked once, and under it how its first rows read."""
    return page.show("moving_in/conventions.html", **_load_conventions(page, import_id))


@router.post("/{import_id}/conventions")
def set_conventions(page: PageDep, import_id: RecordId, posted: Posted) -> Response:
    of = sheet_imports.get_import(page.session, import_id)
    try:
        form = page.read(ConventionsForm, posted)
        changes.require_version(page.session, of, form.version)
        sheet_imports.set_conventions(page.session, form.who, of, form.said)
        if form.habit:
            sheet_imports.save_habit(page.session, form.who, of, form.habit)
    except ShopError as error:
        load = _load_conventions
        return page.show_refused(error, "moving_in/conventions.html", posted, lambda: load(page, import_id))
    return page.redirect(f"/moving-in/{import_id}/conventions")


# Passes ---------------------------------------------------------------------------------------------------------------


def _begin(page: Page, of: SheetImport) -> Response:
    """Runs the pass that this request begins, once it is committed."""
    page.request.app.state.sheet_runs.start(of.id)
    return page.redirect(f"/moving-in/{of.id}")


def _refuse(page: Page, error: ShopError, import_id: int, posted: Posted, refused: str = "") -> Response:
    return page.show_refused(error, "moving_in/show.html", posted, lambda: _load(page, import_id), refused)


@router.post("/{import_id}/dry-run")
def begin_dry_run(page: PageDep, import_id: RecordId, posted: Posted) -> Response:
    of = sheet_imports.get_import(page.session, import_id)
    try:
        sheet_passes.start_dry_run(page.session, page.read(SignedForm, posted).who, of)
    except ShopError as error:
        return _refuse(page, error, import_id, posted)
    return _begin(page, of)


@router.post("/{import_id}/import")
def begin_import(page: PageDep, import_id: RecordId, posted: Posted) -> Response:
    of = sheet_imports.get_import(page.session, import_id)
    try:
        sheet_passes.start_import(page.session, page.read(SignedForm, posted).who, of)
    except ShopError as error:
        return _refuse(page, error, import_id, posted)
    return _begin(page, of)


@router.post("/{import_id}/going-on")
def go_on(page: PageDep, import_id: RecordId, posted: Posted) -> Response:
    """Goes on with a pass that stands still, as after a fault."""
    of = sheet_imports.get_import(page.session, import_id)
    if of.state not in sheet_passes.ENDS:
        return _refuse(page, ConflictError(f"This import is {of.state}: nothing stands still."), import_id, posted)
    return _begin(page, of)


@router.post("/{import_id}/taking-back")
def take_back(page: PageDep, import_id: RecordId, posted: Posted) -> Response:
    of = sheet_imports.get_import(page.session, import_id)
    try:
        sheet_passes.start_taking_back(page.session, of, page.read(TakingBackForm, posted))
    except ShopError as error:
        return _refuse(page, error, import_id, posted, "back")
    return _begin(page, of)
