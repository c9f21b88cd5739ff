"""Routes of keys, for administrators: made, listed, exchanged, revoked. Whichever process takes them up needs the rights to write keys."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.key_faults import StrongerKey
from services.chassis.keys import Caller, KeyRecord, Keys
from services.chassis.web import Tools, answers, needs_role
from shared_schemas.keys import KeyInfo, KeyMade, KeyPage, KeyRequest, KeyRotation

router = APIRouter(route_class=CheckedRoute)

Admin = Annotated[Caller, Depends(needs_role())]
KeyId = Annotated[
    str, Path(max_length=40, pattern=r"^[0-9A-Za-z]+$", description="The id of a key: what stands between bw_ and the next _.")
]
PLACE = "/v1/keys"


def the_time() -> datetime:
    """The moment of a request; a test puts another in its place."""
    return datetime.now(UTC)


Now = Annotated[datetime, Depends(the_time)]


@router.post(
    PLACE,
    status_code=201,
    summary="Make a key. It is shown in this answer and never again",
    response_model=KeyMade,
    responses=answers("not-json", "invalid", "body-too-large", "unsupported-media-type"),
)
def make_key(asked: KeyRequest, caller: Admin, tools: Tools, now: Now, answer: Response) -> KeyMade:
    """Keys that parts of the suite show each other cannot be made here; the operator of the database makes them."""
    _refuse_stronger(caller, asked.expires_at)
    keys = Keys(tools.database)
    key = keys.add(role=asked.role, label=asked.label, now=now, only=asked.scopes, expires_at=asked.expires_at)
    return _made(keys, key, answer)


@router.get(
    PLACE, summary="Every key without its secret, newest first", response_model=KeyPage, responses=answers("invalid", "not-found")
)
def list_keys(
    caller: Admin,
    tools: Tools,
    cursor: Annotated[
        str | None, Query(max_length=40, pattern=r"^[0-9A-Za-z]+$", description="The `next` of the page before.")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=200, description="Entries on a page.")] = 50,
) -> KeyPage:
    found = Keys(tools.database).page(before=cursor, most=limit + 1)
    return KeyPage(items=tuple(map(info_of, found[:limit])), next=found[limit - 1].key_id if len(found) > limit else None)


@router.get(
    PLACE + "/{key_id}", summary="One key without its secret", response_model=KeyInfo, responses=answers("not-found", "invalid")
)
def get_key(key_id: KeyId, caller: Admin, tools: Tools) -> KeyInfo:
    return info_of(Keys(tools.database).record(key_id))


@router.post(
    PLACE + "/{key_id}/rotate",
    status_code=201,
    summary="Make a key that takes the place of another, which stays good for some hours",
    response_model=KeyMade,
    responses=answers("not-json", "not-found", "conflict", "invalid", "body-too-large", "unsupported-media-type"),
)
def rotate_key(key_id: KeyId, caller: Admin, tools: Tools, now: Now, answer: Response, asked: KeyRotation | None = None) -> KeyMade:
    """The new key has the role, label and scopes of the old one, and ends when that would have unless `expires_at` says otherwise."""
    wanted = asked or KeyRotation()
    keys = Keys(tools.database)
    _refuse_stronger(caller, wanted.expires_at or keys.record(key_id).expires_at)
    key = keys.rotate(key_id, overlap_h=wanted.overlap_hours, now=now, expires_at=wanted.expires_at)
    return _made(keys, key, answer)


@router.delete(
    PLACE + "/{key_id}",
    summary="Revoke a key; it is good nowhere any more within five seconds",
    response_model=KeyInfo,
    responses=answers("not-found", "conflict", "invalid"),
)
def revoke_key(key_id: KeyId, caller: Admin, tools: Tools, now: Now) -> KeyInfo:
    """Revoking it again changes nothing. The administrator's key that no other outlasts stays."""
    keys = Keys(tools.database)
    keys.revoke(key_id, now=now, of_suite=False)
    return info_of(keys.record(key_id))


def _refuse_stronger(caller: Caller, expires_at: datetime | None) -> None:
    """Raise `StrongerKey` for a key that could do more than the one that asks, or for longer. No role can do more than an administrator."""
    if caller.scopes:
        raise StrongerKey(f"its scopes are {', '.join(caller.scopes)}")
    if caller.expires_at is not None and (expires_at is None or expires_at > caller.expires_at):
        raise StrongerKey(f"it is good until {caller.expires_at:%Y-%m-%d %H:%M} UTC")


def _made(keys: Keys, key: str, answer: Response) -> KeyMade:
    info = info_of(keys.record(key.split("_")[1]))
    answer.headers["Location"] = f"{PLACE}/{info.id}"
    return KeyMade(key=key, info=info)


def info_of(record: KeyRecord) -> KeyInfo:
    """A key as the contract has it."""
    known = vars(record)
    return KeyInfo(id=record.key_id, **{name: value for name, value in known.items() if name != "key_id"})
