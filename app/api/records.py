"""Records as JSON, for programs that carry a shop's token."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Path, Query, Response
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer

from app.access import Actor
from app.api.turns import LARGEST_BODY
from app.db import DbSession
from app.errors import NotAllowedError, SignedOutError
from app.schemas.bowlers import BowlerForm
from app.schemas.forms import LARGEST_ID
from app.schemas.records import BowlerIn, BowlerOut, DepthOut, FindIn, refusals
from app.services import bowlers, depths, personal, rules, sent_forms, shops, systems, tokens
from app.services.sent_forms import FormKey

router = APIRouter(
    prefix="/api/v1",
    tags=["records"],
    responses=refusals(400, 401, 403, 404, 413, 422, 503),
    max_body_size=LARGEST_BODY,
)
bearer = HTTPBearer(auto_error=False, description="A token made under People; its scopes are read and write.")
RecordId = Annotated[int, Path(ge=1, le=LARGEST_ID)]


def require_token(scope: str) -> Any:
    """Returns a dependency that authenticates the bearer of a token and checks that it covers `scope`."""

    def authenticate(
        session: DbSession, sent: Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]
    ) -> Actor:
        token = tokens.find_token(session, sent.credentials) if sent else None
        if token is None:
            raise SignedOutError()
        if scope not in token.scopes:
            raise NotAllowedError(f"This token does not cover “{scope}”.")
        own_only = scope == "write" and bool(rules.get_rule(session, rules.OWN_SHOP_ONLY))
        actor = Actor(token.staff_id, token.shop_id, "driller", own_only)
        session.info.update(actor=actor, shop_id=token.shop_id, caller=f"token {token.id}")
        return actor

    return Depends(authenticate)


Reader = Annotated[Actor, require_token("read")]
Writer = Annotated[Actor, require_token("write")]


@router.get("/bowlers")
def find_bowlers(_: Reader, session: DbSession, asked: Annotated[FindIn, Query()]) -> list[BowlerOut]:
    """Bowlers by any part of the name, the end of a phone number, or a name spelled wrong; best first."""
    return [_to_out(row.bowler) for row in bowlers.search(session, asked.q)]


@router.get("/bowlers/{bowler_id}")
def read_bowler(_: Reader, session: DbSession, bowler_id: RecordId) -> dict[str, Any]:
    """All data stored on one bowler."""
    return personal.export_bowler(session, bowler_id)


@router.post("/bowlers", status_code=201, responses=refusals(409))
def register_bowler(
    writer: Writer,
    session: DbSession,
    body: BowlerIn,
    answer: Response,
    idempotency_key: Annotated[str, Header(max_length=80)] = "",
) -> BowlerOut:
    """Registers a bowler; a repeated `Idempotency-Key` returns the bowler registered the first time."""
    key = FormKey(session.info["caller"], "/api/v1/bowlers", idempotency_key)
    location = sent_forms.find_location(session, key)
    if location:
        return _to_out(bowlers.get_bowler(session, int(location.rsplit("/", 1)[-1])))
    added = bowlers.register(session, BowlerForm.read(body.model_dump() | {"who": writer.staff_id}))
    session.flush()
    answer.headers["Location"] = f"/api/v1/bowlers/{added.id}"
    sent_forms.remember(session, key, f"/bowlers/{added.id}")
    return _to_out(added)


def _to_out(of: Any) -> BowlerOut:
    return BowlerOut.model_validate(of, from_attributes=True)


@router.get("/shops/{shop_id}/depths")
def read_depths(_: Reader, session: DbSession, shop_id: RecordId) -> list[DepthOut]:
    """A shop's bore depth for each system, from all observations."""
    known = depths.load_shop_depths(session, [shops.get_shop(session, shop_id).id])
    labels = {system.id: system.label for system in systems.list_systems(session)}
    return [
        DepthOut(
            system_id=system_id,
            system=labels[system_id],
            depth_in=depth.estimate.depth_in,
            low_in=depth.estimate.interval_in[0],
            high_in=depth.estimate.interval_in[1],
            scatter_in=depth.knowledge.scatter_in,
            next_low_in=depth.knowledge.next_ball_in[0],
            next_high_in=depth.knowledge.next_ball_in[1],
            readings=depth.estimate.readings,
            unknown=list(depth.doubts),
        )
        for (_, system_id), depth in known.items()
    ]
