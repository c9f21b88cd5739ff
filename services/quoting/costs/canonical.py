"""Documents as bytes: the same document, the same bytes, so that a digest can vouch for it."""

from __future__ import annotations

import hashlib

from pydantic import BaseModel


def canonical_json(document: BaseModel) -> bytes:
    """JSON in the order of the contract's fields, without spaces, money as decimal strings."""
    return document.model_dump_json(by_alias=True).encode()


def digest(document: BaseModel) -> str:
    """SHA-256 of the canonical JSON, in hexadecimal."""
    return hashlib.sha256(canonical_json(document)).hexdigest()
