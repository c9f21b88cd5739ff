"""Who is asking, known from the head of a request alone: the key ring in memory, and addresses that guess keys."""

from __future__ import annotations

import asyncio
import logging
import re
import time
from asyncio import Lock
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from typing import Protocol

from anyio import CapacityLimiter, to_thread
from cachetools import LRUCache, TTLCache
from sqlalchemy.exc import SQLAlchemyError
from starlette.types import Scope

from services.chassis.keys import KEPT_S, MOST_KEPT, Caller, Keys, hash_of
from services.chassis.refusals import header_of

log = logging.getLogger(__name__)

Network = IPv4Network | IPv6Network
Clock = Callable[[], float]

LOOKUPS_PER_S = 20.0
"""So many keys that are not on the ring are looked up in a second, whatever comes; one that was made just now is found by it."""
FORGOTTEN_S = 900.0
LONGEST_WAIT_S = 300
MOST_ADDRESSES = 10_000

NOTED_EVERY_S = 60.0
TOLD_EVERY_S = 5.0
"""The last use of a key is true to these seconds while anybody asks."""

_lookups = CapacityLimiter(2)
"""Threads of their own: a flood of unknown keys takes none of those that routes run in."""


class KeyRing:
    """The good keys of the deployment in memory, read anew every few seconds: whether a key is good takes no question to the database.

    A key that is not on the ring is looked up by its id, but only so often.
    """

    def __init__(self, keys: Keys, clock: Clock = time.monotonic, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._keys = keys
        self._clock = clock
        self._now = now
        self._used: dict[str, datetime] = {}
        self._noted_at: TTLCache[str, None] = TTLCache(MOST_KEPT, ttl=NOTED_EVERY_S, timer=clock)
        self._told_at = float("-inf")
        self.telling: asyncio.Task[None] | None = None
        self._ring: dict[bytes, Caller] = {}
        self._read_at = float("-inf")
        self._reading = Lock()
        self._nobodys: TTLCache[bytes, None] = TTLCache(MOST_KEPT, ttl=KEPT_S, timer=clock)
        self._lookups_left = LOOKUPS_PER_S
        self._counted_at = clock()

    async def known(self, key: str) -> Caller | None:
        """The caller whose key is on the ring; raises what the database raises when the ring is old and cannot be read anew."""
        if self._clock() - self._read_at >= KEPT_S:
            async with self._reading:
                if self._clock() - self._read_at >= KEPT_S:
                    began = self._clock()
                    self._ring = await to_thread.run_sync(self._keys.ring, limiter=_lookups)
                    self._read_at = began
        caller = self._ring.get(hash_of(key))
        if caller is None or caller.is_over(self._now()):
            return None
        self._note(caller)
        return caller

    def _note(self, caller: Caller) -> None:
        """Keep that a key was used, and now and then write it down beside the requests: once a minute a key at most."""
        if caller.key_id not in self._noted_at:
            self._used[caller.key_id] = self._now()
        if self._used and self._clock() - self._told_at >= TOLD_EVERY_S and (self.telling is None or self.telling.done()):
            self._told_at = self._clock()
            self.telling = asyncio.get_running_loop().create_task(self._tell())

    async def _tell(self) -> None:
        uses, self._used = self._used, {}
        self._noted_at.update(dict.fromkeys(uses))
        try:
            # In a thread of the loop itself, which waits for it when it ends: no connection is left behind.
            await asyncio.get_running_loop().run_in_executor(None, self._keys.note_uses, uses)
        except SQLAlchemyError as fault:
            log.warning("the last use of keys is not noted", extra={"why": type(fault).__name__})

    def is_nobodys(self, key: str) -> bool:
        """Whether that very key was found to be nobody's a moment ago."""
        return hash_of(key) in self._nobodys

    async def looked_up(self, key: str) -> Caller | None:
        """The caller of a key that is not on the ring, `None` for one that is not good or that came in a flood of others."""
        hashed = hash_of(key)
        if hashed in self._nobodys or not self._may_look_up():
            return None
        caller = await to_thread.run_sync(self._keys.caller, key, limiter=_lookups)
        if caller is None:
            self._nobodys[hashed] = None
        return caller

    def _may_look_up(self) -> bool:
        now = self._clock()
        self._lookups_left = min(LOOKUPS_PER_S, self._lookups_left + (now - self._counted_at) * LOOKUPS_PER_S)
        self._counted_at = now
        if self._lookups_left < 1:
            return False
        self._lookups_left -= 1
        return True


class TokenRefused(Exception):
    """A token of an identity provider is not good; `is_guess` unless the issuer did sign it."""

    def __init__(self, why: str, *, is_guess: bool = True) -> None:
        self.is_guess = is_guess
        super().__init__(why)


class IssuerAway(Exception):
    """The keys of an issuer of tokens are not known and cannot be had just now."""


class Tokens(Protocol):
    """Whoever knows whose a token is."""

    async def caller(self, token: str) -> Caller:
        """The caller; raises `TokenRefused`, `IssuerAway`, and `Refused` for a person who has no role here."""


def is_token(shown: str) -> bool:
    """Whether what a caller shows has the form of a token, and not that of a key of the suite."""
    return shown.count(".") == 2 and not shown.startswith("bw_")


@dataclass
class _Guesser:
    failures: int
    last_at: float
    waits_until: float


class Failures:
    """Keys that were nobody's, by the address they came from: so many are free, then each costs a wait twice as long."""

    def __init__(self, free: int, clock: Clock = time.monotonic) -> None:
        self._free = free
        self._clock = clock
        self._guessers: LRUCache[str, _Guesser] = LRUCache(MOST_ADDRESSES)

    def wait_s(self, address: str) -> int:
        """Seconds until another unknown key of that address is looked at, 0 for at once."""
        guesser = self._guessers.get(address)
        left = guesser.waits_until - self._clock() if guesser else 0.0
        return max(0, int(left) + 1) if left > 0 else 0

    def count(self, address: str) -> None:
        """One more key of that address was nobody's."""
        now = self._clock()
        guesser = self._guessers.get(address)
        if guesser is None or now - guesser.last_at > FORGOTTEN_S:
            guesser = self._guessers[address] = _Guesser(0, now, now)
        guesser.failures += 1
        guesser.last_at = now
        over = guesser.failures - self._free
        if over > 0:
            guesser.waits_until = now + min(2 ** (min(over, 16) - 1), LONGEST_WAIT_S)


def networks(written: Sequence[str]) -> tuple[Network, ...]:
    """Networks as 10.0.0.0/8; raises `ValueError` for what is none."""
    return tuple(ip_network(one) for one in written)


def address_of(scope: Scope, trusted: Sequence[Network]) -> str:
    """Where a request comes from: its peer or, behind a front that is trusted, the last address before the fronts in X-Forwarded-For.

    An IPv6 caller has a whole network to draw addresses from, so the network stands for it.
    """
    client = scope.get("client")
    peer = str(client[0]) if client else "unknown"
    hops = [peer]
    if trusted and _is_in(peer, trusted):
        forwarded = header_of(scope, b"x-forwarded-for") or ""
        hops = [hop.strip() for hop in forwarded.split(",") if hop.strip()] + hops
    while len(hops) > 1 and _is_in(hops[-1], trusted):
        hops.pop()
    return _without_host_part(hops[-1], otherwise=peer)


def _is_in(address: str, trusted: Sequence[Network]) -> bool:
    try:
        parsed = ip_address(address)
    except ValueError:
        return False
    return any(parsed in network for network in trusted)


@lru_cache(1000)
def _without_host_part(address: str, *, otherwise: str) -> str:
    try:
        parsed = ip_address(address)
    except ValueError:
        return otherwise[:60]
    return str(ip_network(f"{parsed}/64", strict=False)) if parsed.version == 6 else str(parsed)


_BEARER = re.compile(r"bearer +(\S+) *", re.IGNORECASE)


def shown_key(scope: Scope) -> str | None:
    """The key of the header Authorization, after any number of spaces; `None` when there is none."""
    found = _BEARER.fullmatch(header_of(scope, b"authorization") or "")
    return found[1] if found else None
