"""Liveness and readiness for a supervisor or a proxy: open to all, without any detail."""

from anyio import move_on_after, to_thread
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse
from sqlalchemy import Engine, text
from sqlalchemy.exc import SQLAlchemyError

from app.db import READ_ONLY, is_up_to_date

router = APIRouter()


@router.get("/healthz")
async def is_alive() -> dict[str, str]:
    return {"status": "ok"}


@router.get("/readyz")
async def is_ready(request: Request) -> JSONResponse:
    """Returns 200 if the database answers within two seconds and has this version's tables, else 503."""
    status = "the database does not answer"
    with move_on_after(2):
        lane = request.app.state.lanes.checking_health
        status = await to_thread.run_sync(
            _check_database, request.app.state.engine, limiter=lane, abandon_on_cancel=True
        )
    return JSONResponse({"status": status}, 200 if status == "ok" else 503)


def _check_database(engine: Engine) -> str:
    try:
        with engine.connect() as connection:
            connection.execution_options(**READ_ONLY)
            connection.execute(text("SELECT 1"))
            return "ok" if is_up_to_date(connection) else "tables are of another version"
    except SQLAlchemyError:
        return "the database does not answer"
