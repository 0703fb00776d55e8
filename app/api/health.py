"""Whether the process lives, and whether it can serve: for a supervisor or a proxy, open to all, telling nothing."""

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse
from sqlalchemy import text

from app.db import READ_ONLY, is_up_to_date

router = APIRouter()


@router.get("/healthz")
def lives() -> dict[str, str]:
    return {"status": "ok"}


@router.get("/readyz")
def is_ready(request: Request) -> JSONResponse:
    """Ready when the database answers and has this version's tables; 503 otherwise."""
    with request.app.state.engine.connect() as connection:
        connection.execution_options(**READ_ONLY)
        connection.execute(text("SELECT 1"))
        is_current = is_up_to_date(connection)
    return JSONResponse({"status": "ok" if is_current else "tables are of another version"}, 200 if is_current else 503)
