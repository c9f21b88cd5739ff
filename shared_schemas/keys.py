"""Keys of callers: what an administrator asks for and sees. A key itself is in one answer alone, that to whoever made it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from shared_schemas.base import Contract, Moment, Name

Scope = Annotated[str, Field(max_length=60, pattern=r"^(read_only|table:[a-z_]+)$")]
"""What a key may do less than its role: `read_only` only reads; an engineer's `table:polishing` changes that rate table and no other."""

LONGEST_OVERLAP_HOURS = 24 * 30


class KeyRequest(Contract):
    """A key to be made. Without scopes it may do all that its role may; without `expires_at` it is good until it is revoked."""

    role: Literal["sales", "erp", "engineer", "admin"]
    label: Name
    scopes: Annotated[tuple[Scope, ...], Field(max_length=40)] = ()
    expires_at: Moment | None = None


class KeyRotation(Contract):
    """A key to take the place of another, which stays good for so many hours beside it, if it does not end before that."""

    overlap_hours: Annotated[int, Field(strict=True, ge=0, le=LONGEST_OVERLAP_HOURS)] = 24
    expires_at: Moment | None = None


class KeyInfo(Contract):
    """A key as an administrator sees it, without its secret. `last_used_at` is true to a minute or so."""

    id: str
    role: str
    label: str
    scopes: tuple[str, ...]
    created_at: AwareDatetime
    expires_at: AwareDatetime | None = None
    last_used_at: AwareDatetime | None = None
    rotated_from: str | None = None
    revoked_at: AwareDatetime | None = None


class KeyMade(Contract):
    """A key that was made just now. `key` is shown this once and kept nowhere."""

    key: str
    info: KeyInfo


class KeyPage(Contract):
    """A page of keys, newest first; `next` is the cursor of the page after it."""

    items: tuple[KeyInfo, ...]
    next: str | None = None
