"""Where travellers lie while they are under way: one Redis hash each, one field a section, gone after a day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Protocol, cast

import redis


class Travellers(Protocol):
    """A place for travellers; sections are bytes (JSON documents), the store does not look into them."""

    def start(self, number: str, attempt: int, job: bytes) -> None: ...

    def read(self, number: str, attempt: int, sections: Iterable[str]) -> dict[str, bytes]: ...

    def stamp(self, number: str, attempt: int, sections: Mapping[str, bytes]) -> None: ...

    def stamped(self, number: str, attempt: int) -> frozenset[str]: ...

    def discard(self, number: str, attempt: int) -> None: ...


class RedisTravellers:
    """Travellers in Redis. `lives_s`: seconds until one that nobody touches is forgotten."""

    def __init__(self, client: redis.Redis, *, deployment: str, lives_s: int) -> None:
        self._redis = client
        self._deployment = deployment
        self._lives_s = lives_s

    def _key(self, number: str, attempt: int) -> str:
        return f"{self._deployment}:traveller:{number}:{attempt}"

    def start(self, number: str, attempt: int, job: bytes) -> None:
        """Put down the head of a traveller."""
        self.stamp(number, attempt, {"job": job})

    def read(self, number: str, attempt: int, sections: Iterable[str]) -> dict[str, bytes]:
        """Those of the sections that are stamped."""
        wanted = list(sections)
        values = cast("list[bytes | None]", self._redis.hmget(self._key(number, attempt), wanted))
        return {name: value for name, value in zip(wanted, values, strict=True) if value is not None}

    def stamp(self, number: str, attempt: int, sections: Mapping[str, bytes]) -> None:
        """Write sections; a section written before is written over by the same bytes, as stages are deterministic."""
        key = self._key(number, attempt)
        with self._redis.pipeline(transaction=True) as pipe:
            pipe.hset(key, mapping=cast(Any, dict(sections)))
            pipe.expire(key, self._lives_s)
            pipe.execute()

    def stamped(self, number: str, attempt: int) -> frozenset[str]:
        """Names of the sections stamped so far."""
        return frozenset(name.decode() for name in cast("list[bytes]", self._redis.hkeys(self._key(number, attempt))))

    def discard(self, number: str, attempt: int) -> None:
        """Forget the travellers of a quote up to that attempt, so that messages which still name one of them do nothing."""
        self._redis.delete(*(self._key(number, earlier) for earlier in range(1, attempt + 1)))
