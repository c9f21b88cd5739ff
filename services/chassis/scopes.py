"""Scopes: what a key may do less than its role. A closed list; a key without any may do all that its role may."""

from __future__ import annotations

from collections.abc import Iterable

from shared_schemas.problem import Explained, ProblemDetail
from shared_schemas.rates import TABLES

READ_ONLY = "read_only"
OF_TABLE = "table:"
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods that change nothing (RFC 9110, section 9.2.1)."""


class ScopesCannotBe(Explained):
    """Scopes that are not on the list, not for that role, or not together."""

    def __init__(self, at: int, reason: str, limit: str) -> None:
        detail = ProblemDetail(pointer=f"/scopes/{at}", reason=reason, limit=limit, remedy="name others, or none")
        super().__init__(f"The scopes cannot be: {reason}.", detail)


def checked(role: str, scopes: Iterable[str]) -> tuple[str, ...]:
    """Scopes in their order, each once; raises `ScopesCannotBe` where a key of that role cannot have them."""
    known = tuple(dict.fromkeys(scopes))
    for at, scope in enumerate(known):
        if scope == READ_ONLY:
            if len(known) > 1:
                raise ScopesCannotBe(at, "a key that only reads changes no table", READ_ONLY + " alone")
        elif not scope.startswith(OF_TABLE):
            raise ScopesCannotBe(at, f"there is no scope {scope}", f"{READ_ONLY}, or {OF_TABLE} with the name of a rate table")
        elif role != "engineer":
            raise ScopesCannotBe(at, f"a key of the role {role} changes no rate table", "the role engineer")
        elif scope.removeprefix(OF_TABLE) not in TABLES:
            raise ScopesCannotBe(at, f"there is no rate table {scope.removeprefix(OF_TABLE)}", ", ".join(TABLES))
    return tuple(sorted(known))
