"""The issuer whose tokens are taken beside keys of the suite, where the settings name one (OpenID Connect).

Its public keys are fetched from where its discovery document says, kept, and fetched anew now and then and when a token names one that is not
known; how often is bounded, and so is how long anybody waits. While the issuer is away its last keys are good for an hour. Keys of the suite
never come here.

Source:
    N. Sakimura, J. Bradley, M. Jones and others, OpenID Connect Discovery 1.0 (2014), sections 3 and 4.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import logging
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import httpx

from services.chassis.callers import IssuerAway, TokenRefused
from services.chassis.keys import Caller
from services.chassis.refusals import Refused
from services.chassis.settings import Settings, is_trustworthy
from services.chassis.tokens import claims_in, header_of, key_for, refuse_claims, roles_in, signed_bytes

log = logging.getLogger(__name__)

FRESH_S = 600.0
"""Keys of the issuer are fetched anew after this long, so that one it withdrew is good for no longer."""
KEPT_S = 3_600.0
"""For so long the last keys are good while the issuer does not answer."""
RETRY_S = 10.0
"""The issuer is asked no more often than this, whatever tokens name."""
ANSWER_WITHIN_S = 3.0
MOST_BYTES = 256 * 1024
MOST_KEYS = 100
DISCOVERY = "/.well-known/openid-configuration"


class Issuer:
    """One issuer, its keys as far as they are known, and which of its words are which role here."""

    def __init__(
        self, chosen: Settings, *, transport: httpx.AsyncBaseTransport | None = None, clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:  # fmt: skip
        self._issuer = chosen.oidc_issuer
        self._audience = chosen.oidc_audience
        self._claim = chosen.oidc_role_claim
        self._roles = chosen.roles_of_issuer
        self._transport = transport
        self._clock = clock
        self._now = now
        self._keys: tuple[dict[str, Any], ...] = ()
        self._fetched_at = self._tried_at = float("-inf")
        self._fetching = asyncio.Lock()
        self._refreshing: asyncio.Task[None] | None = None

    async def caller(self, token: str) -> Caller:
        """Whose token that is.

        Raises `TokenRefused` for one that is not good, `IssuerAway`, and `Refused` for a person who has no role here.
        """
        header = header_of(token)
        claims = claims_in(signed_bytes(token, await self._key(header), header["alg"]))
        refuse_claims(claims, issuer=self._issuer, audience=self._audience, now=self._now())
        words = roles_in(claims, self._claim)
        role = next((role for word, role in self._roles.items() if word in words), None)
        if role is None:
            raise Refused("role-may-not", f"The token names no role of this suite in its claim {self._claim}.")
        return Caller(self._id_of(claims["sub"]), role, f"{_printable(claims['sub'])} ({self._issuer})")

    def _id_of(self, subject: str) -> str:
        """What stands for a person where keys have their id: the same for every token of theirs."""
        return "oidc:" + hashlib.sha256(f"{self._issuer}\n{subject}".encode("utf-8", "replace")).hexdigest()[:16]

    async def _key(self, header: dict[str, Any]) -> dict[str, str]:
        age_s = self._clock() - self._fetched_at
        if age_s >= KEPT_S:
            await self._fetch()
        elif age_s >= FRESH_S and self._may_ask() and (self._refreshing is None or self._refreshing.done()):
            self._refreshing = asyncio.get_running_loop().create_task(self._refresh())
        key = key_for(header, self._keys)
        if key is None and self._may_ask():
            await self._fetch()
            key = key_for(header, self._keys)
        if key is None:
            raise TokenRefused("the issuer has no such key")
        return key

    def _may_ask(self) -> bool:
        return self._clock() - self._tried_at >= RETRY_S

    async def _refresh(self) -> None:
        try:
            await self._fetch()
        except IssuerAway:
            log.warning("the issuer of tokens does not answer; its last keys are good for a while", extra={"issuer": self._issuer})

    async def _fetch(self) -> None:
        """Fetch the issuer's keys, once for all who wait; raises `IssuerAway`, at once where it was so a moment ago."""
        async with self._fetching:
            if not self._may_ask():
                if self._clock() - self._fetched_at < KEPT_S:
                    return
                raise IssuerAway
            self._tried_at = self._clock()
            try:
                async with asyncio.timeout(ANSWER_WITHIN_S):
                    self._keys = await self._published()
            except (httpx.HTTPError, httpx.InvalidURL, TimeoutError, ValueError, RecursionError) as fault:
                log.warning("keys of the issuer cannot be fetched", extra={"issuer": self._issuer, "why": _printable(str(fault))})
                raise IssuerAway from fault
            self._fetched_at = self._clock()

    async def _published(self) -> tuple[dict[str, Any], ...]:
        """The keys that the issuer publishes; raises `ValueError` for answers that cannot be taken."""
        async with httpx.AsyncClient(transport=self._transport, timeout=ANSWER_WITHIN_S, follow_redirects=False) as client:
            described = await _document(client, self._issuer.rstrip("/") + DISCOVERY)
            if described.get("issuer") != self._issuer:
                raise ValueError("its discovery document is of another issuer")
            place = described.get("jwks_uri")
            if not isinstance(place, str) or not is_trustworthy(place):
                raise ValueError("its keys are not at an address of https")
            keys = (await _document(client, place)).get("keys")
        known = [key for key in keys if isinstance(key, dict)] if isinstance(keys, list) else []
        if not known or len(known) > MOST_KEYS:
            raise ValueError(f"it publishes {len(known)} keys")
        return tuple(known)


async def _document(client: httpx.AsyncClient, place: str) -> dict[str, Any]:
    content = b""
    async with client.stream("GET", place, headers={"Accept": "application/json"}) as answer:
        if answer.status_code != httpx.codes.OK:
            raise ValueError(f"it answered with {answer.status_code}")
        async for piece in answer.aiter_bytes():
            content += piece
            if len(content) > MOST_BYTES:
                raise ValueError(f"it answered with more than {MOST_BYTES} bytes")
    document = json.loads(content)
    if not isinstance(document, dict):
        raise ValueError("it answered with something else than an object")
    return document


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)[:255]
