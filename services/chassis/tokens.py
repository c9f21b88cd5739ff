"""Tokens of an identity provider: whether one is good, judged from its text, the issuer's public keys and a clock alone.

Only signatures by a key pair are taken, and only by a key that the issuer publishes: what a token says of keys itself counts for nothing.

Source:
    M. Jones, J. Bradley, N. Sakimura, JSON Web Signature, RFC 7515, and JSON Web Token, RFC 7519 (2015).
    Y. Sheffer, D. Hardt, M. Jones, JSON Web Token best current practices, RFC 8725 (2020).
    V. Bertocci, JSON Web Token profile for OAuth 2.0 access tokens, RFC 9068 (2021).
"""

from __future__ import annotations

import base64
import json
import math
import warnings
from collections.abc import Iterable, Mapping
from datetime import datetime
from functools import cache, lru_cache
from typing import Any

from joserfc.errors import JoseError, SecurityWarning
from joserfc.jwk import Key, import_key
from joserfc.jws import JWSRegistry, deserialize_compact

from services.chassis.callers import TokenRefused

KEY_TYPES = {"RS256": "RSA", "ES256": "EC", "Ed25519": "OKP", "EdDSA": "OKP"}
"""The algorithms that are taken, with the type of key each needs: a closed list. None without a signature, none with a shared secret."""

PUBLIC = {"RSA": ("n", "e"), "EC": ("crv", "x", "y"), "OKP": ("crv", "x")}
CURVES = {"EC": "P-256", "OKP": "Ed25519"}
LEAST_RSA_BITS = 2048
TYPES = frozenset({"", "jwt", "at+jwt", "application/at+jwt"})
"""Kinds of token that stand for who is asking; others, such as one that ends a session, are no keys (RFC 8725, 3.11)."""

LEEWAY_S = 60
"""Clocks of issuer and suite may differ by this much."""
MOST_CHARACTERS = 8_192
LONGEST_SUBJECT = 255
LONGEST_HEAD = 4_096
MOST_IMPORTED = 128


def header_of(token: str) -> dict[str, Any]:
    """The head of a token, of which nothing is known to be true yet; raises `TokenRefused` for one that cannot be taken whoever signed it."""
    if len(token) > MOST_CHARACTERS:
        raise TokenRefused(f"it is longer than {MOST_CHARACTERS} characters")
    try:
        part = token.split(".", maxsplit=1)[0]
        header = json.loads(base64.urlsafe_b64decode(part + "=" * (-len(part) % 4)))
    except (ValueError, RecursionError) as fault:
        raise TokenRefused("it cannot be read") from fault
    if not isinstance(header, dict):
        raise TokenRefused("it cannot be read")
    if not isinstance(header.get("alg"), str) or header["alg"] not in KEY_TYPES:
        raise TokenRefused(f"its algorithm is none of {', '.join(KEY_TYPES)}")
    if str(header.get("typ") or "").lower() not in TYPES:
        raise TokenRefused("it is of a kind that says nothing of who is asking")
    return header


def key_for(header: Mapping[str, Any], published: Iterable[Mapping[str, Any]]) -> dict[str, str] | None:
    """The public key that a token names, of those the issuer publishes; without a name the only one there is for its algorithm."""
    usable = [key for key in published if _can_verify(key, header["alg"])]
    kid = header.get("kid")
    named = usable if kid is None else [key for key in usable if key.get("kid") == kid]
    if not named or (kid is None and len(named) > 1):
        return None
    kty = str(named[0]["kty"])
    return {"kty": kty} | {name: str(named[0][name]) for name in PUBLIC[kty]}


def _can_verify(key: Mapping[str, Any], alg: str) -> bool:
    kty = KEY_TYPES[alg]
    if key.get("kty") != kty or not all(isinstance(key.get(name), str) for name in PUBLIC[kty]):
        return False
    if key.get("use", "sig") != "sig" or (isinstance(key.get("key_ops"), list) and "verify" not in key["key_ops"]):
        return False
    meant = {"EdDSA": "Ed25519"}.get(str(key.get("alg", alg)), str(key.get("alg", alg)))
    if meant != {"EdDSA": "Ed25519"}.get(alg, alg):
        return False
    if kty == "RSA":
        return len(key["n"]) * 6 >= LEAST_RSA_BITS
    return bool(key["crv"] == CURVES[kty])


def signed_bytes(token: str, key: Mapping[str, str], alg: str) -> bytes:
    """What a token says, if the key did sign it; raises `TokenRefused`."""
    try:
        with warnings.catch_warnings():
            # The older name of Ed25519 (RFC 9864) is what issuers still write.
            warnings.simplefilter("ignore", SecurityWarning)
            signed = deserialize_compact(token, _imported(tuple(sorted(key.items()))), registry=_registry(alg))
    except (JoseError, ValueError, TypeError, RecursionError) as fault:
        raise TokenRefused("its signature is not that of the issuer") from fault
    return bytes(signed.payload or b"")


@lru_cache(MOST_IMPORTED)
def _imported(fields: tuple[tuple[str, str], ...]) -> Key:
    """A public key as the library has it: reading one takes ten times as long as using it."""
    return import_key(dict(fields))


@cache
def _registry(alg: str) -> JWSRegistry:
    """One algorithm, and heads as long as issuers write them."""
    registry = JWSRegistry(algorithms=[alg], strict_check_header=False)
    registry.max_header_length = LONGEST_HEAD
    return registry


def claims_in(payload: bytes) -> dict[str, Any]:
    """The claims of a token; raises `TokenRefused` where it has none."""
    try:
        claims = json.loads(payload)
    except (ValueError, RecursionError) as fault:
        raise TokenRefused("it has no claims", is_guess=False) from fault
    if not isinstance(claims, dict):
        raise TokenRefused("it has no claims", is_guess=False)
    return claims


def refuse_claims(claims: Mapping[str, Any], *, issuer: str, audience: str, now: datetime) -> None:
    """Raise `TokenRefused` unless the claims are of that issuer, for that audience, and good at this moment."""
    at = now.timestamp()
    meant_for = claims.get("aud")
    if claims.get("iss") != issuer:
        raise TokenRefused("it is of another issuer", is_guess=False)
    if audience not in (meant_for if isinstance(meant_for, list) else [meant_for]):
        raise TokenRefused("it is meant for another audience", is_guess=False)
    if _moment(claims, "exp", needed=True) + LEEWAY_S <= at:
        raise TokenRefused("it has expired", is_guess=False)
    for name in ("nbf", "iat"):
        if _moment(claims, name) - LEEWAY_S > at:
            raise TokenRefused(f"it is not good yet ({name})", is_guess=False)
    subject = claims.get("sub")
    if not isinstance(subject, str) or not subject.strip() or len(subject) > LONGEST_SUBJECT:
        raise TokenRefused("it does not say whose it is (sub)", is_guess=False)


def _moment(claims: Mapping[str, Any], name: str, *, needed: bool = False) -> float:
    value = claims.get(name)
    if value is None and not needed:
        return -math.inf
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise TokenRefused(f"its {name} is no moment", is_guess=False)
    return float(value)


def roles_in(claims: Mapping[str, Any], claim: str) -> frozenset[str]:
    """What the role claim holds: a list of words, or words with spaces between. `claim` may go down by dots, as `realm_access.roles`."""
    found: Any = claims.get(claim)
    if found is None:
        found = claims
        for step in claim.split("."):
            found = found.get(step) if isinstance(found, dict) else None
    if isinstance(found, str):
        return frozenset({found, *found.split()})
    return frozenset(one for one in found if isinstance(one, str)) if isinstance(found, list) else frozenset()
