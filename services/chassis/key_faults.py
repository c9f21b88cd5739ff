"""What can be wrong with a change of keys.

Explained
├── KeyUnknown       there is no key of that id
├── KeyHasEnded      it was revoked or has expired
├── KeyOfTheSuite    a key that processes of the suite show each other
├── LastAdminKey     without it nobody could make keys any more
├── StrongerKey      it would be able to do more than the key that asks for it
└── ExpiryCannotBe   it would end in the past, or after the key that asks for it
"""

from __future__ import annotations

from datetime import datetime

from shared_schemas.problem import Explained, ProblemDetail


class KeyUnknown(Explained):
    """There is no key of that id."""

    def __init__(self, key_id: str) -> None:
        super().__init__(f"There is no key {key_id[:40]}.")


class KeyHasEnded(Explained):
    """A key that was revoked or has expired gets no other in its place."""

    def __init__(self, key_id: str) -> None:
        super().__init__(f"The key {key_id} was revoked or has expired; make a new one.")


class KeyOfTheSuite(Explained):
    """Keys that processes of the suite show each other are made and exchanged by the operator."""

    def __init__(self, key_id: str) -> None:
        super().__init__(f"The key {key_id} is one that parts of the suite show each other; the operator exchanges it.")


class LastAdminKey(Explained):
    """The key of an administrator that no other one outlasts."""

    def __init__(self, key_id: str) -> None:
        super().__init__(
            f"No other administrator's key lasts as long as {key_id}; make one first, or nobody could make keys any more."
        )


class StrongerKey(Explained):
    """No key makes one that may do more than itself."""

    def __init__(self, may: str) -> None:
        super().__init__(f"A key makes no key that may do more than itself: {may}.")


class ExpiryCannotBe(Explained):
    """The moment at which a key is to end cannot be."""

    def __init__(self, expires_at: datetime, limit: str) -> None:
        detail = ProblemDetail(
            pointer="/expires_at", reason="a key cannot end then", figure=expires_at.isoformat(), limit=limit, remedy="name another moment, or none"
        )  # fmt: skip
        super().__init__(f"A key cannot end at {expires_at:%Y-%m-%d %H:%M}; it must be {limit}.", detail)
