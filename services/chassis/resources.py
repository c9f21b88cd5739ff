"""The one place where the real things are built: database, Redis, queue, rates, load. Everything that uses them takes fakes too."""

from __future__ import annotations

import os
import secrets
from dataclasses import dataclass, replace
from functools import cached_property

import redis
from celery import Celery
from redis.backoff import NoBackoff
from redis.retry import Retry

from services.chassis import tracing
from services.chassis.database import Database
from services.chassis.epoch import Epoch, current_epoch
from services.chassis.load_source import HttpLoadSource, LoadSource
from services.chassis.queue import limits_in, queue_app
from services.chassis.rate_source import HttpRateSource, RateSource
from services.chassis.settings import Settings, settings
from services.chassis.tally import Tally
from services.chassis.travellers import RedisTravellers, Travellers
from shared_schemas.pipeline import TASKS


@dataclass(frozen=True)
class Resources:
    """What a process works with."""

    settings: Settings
    database: Database
    travellers: Travellers
    rates: RateSource
    load: LoadSource
    queue: Celery
    redis: redis.Redis

    def send(self, task: str, queue: str, number: str, attempt: int, trace: str) -> None:
        """Ring the doorbell of `queue`: the message carries three short words and nothing else, but for the span it came from."""
        span = tracing.current()
        self.queue.send_task(
            task,
            args=[number, attempt, trace],
            queue=queue,
            task_id=secrets.token_hex(8),
            argsrepr="",
            kwargsrepr="",
            headers={"traceparent": span} if span else None,
            **limits_in(queue),
        )

    @cached_property
    def epoch(self) -> Epoch:
        """The epoch of the database, read once: whoever restores a backup stops every process first."""
        with self.database.transaction() as connection:
            return current_epoch(connection)

    @cached_property
    def tally(self) -> Tally:
        """Where this process counts what it did."""
        return Tally(self.redis, deployment=self.settings.deployment)

    def waiting(self, queue: str) -> int:
        """Messages that lie in `queue` and that no worker has taken yet."""
        return self.redis.llen(f"{self.settings.deployment}:{queue}")


TAKING_WAIT_S = 2.0
"""How long a process that works for callers, and on no queue, waits for an answer of Redis."""


def build_resources(chosen: Settings, *, queue: Celery | None = None) -> Resources:
    """Real resources from settings. Nothing connects before it is used."""
    client = redis.Redis.from_url(
        chosen.redis_url.get_secret_value(),
        socket_connect_timeout=2,
        socket_timeout=10,
        socket_keepalive=True,
        health_check_interval=15,
    )
    if queue is None:
        # Whoever takes requests waits for Redis no longer than a caller would: what cannot be started now is started by the sweeper.
        client = hurried(client, TAKING_WAIT_S)
    return Resources(
        settings=chosen,
        database=Database(chosen.database_url.get_secret_value()),
        travellers=RedisTravellers(client, deployment=chosen.deployment, lives_s=chosen.traveller_lives_s),
        rates=HttpRateSource(chosen.rates_url, chosen.service_key.get_secret_value()),
        load=HttpLoadSource(chosen.orders_url, chosen.service_key.get_secret_value()),
        queue=queue or queue_app(chosen, TASKS),
        redis=client,
    )


def hurried(client: redis.Redis, wait_s: float) -> redis.Redis:
    """A client of the same server that waits so long for an answer and does not try again."""
    pool = client.connection_pool
    known = pool.connection_kwargs | {"socket_timeout": wait_s, "socket_connect_timeout": wait_s, "retry": Retry(NoBackoff(), 0)}
    return redis.Redis.from_pool(redis.ConnectionPool(connection_class=pool.connection_class, **known))


def apart(resources: Resources, wait_s: float) -> Resources:
    """The same parts through a few connections of their own, which are free when all others are taken, and wait only so long."""
    return replace(resources, database=resources.database.apart(), redis=hurried(resources.redis, wait_s))


_of_process: dict[int, Resources] = {}


def resources(*, queue: Celery | None = None) -> Resources:
    """The resources of this process, made on first use; a forked child makes its own."""
    pid = os.getpid()
    if pid not in _of_process:
        _of_process.clear()
        _of_process[pid] = build_resources(settings(), queue=queue)
    return _of_process[pid]
