"""Kombu's way to Redis, mended where a fault of one message would stop the worker that took it.

Two things are different. What is in a queue and cannot be read is taken out and logged; kombu lets it end the worker, and
the next one. And a message whose end cannot be told to Redis, because Redis is away just then, gives its place free all
the same; kombu keeps the place taken for ever, and a worker with one place then waits for nothing, alive and idle, after
Redis is back. Such a message comes again after the visibility timeout, and finds its work done.
"""

from __future__ import annotations

import logging
from typing import Any

from kombu.transport import redis, virtual

log = logging.getLogger(__name__)


class QoS(redis.QoS):
    """The places of a worker for messages that it has taken."""

    def ack(self, delivery_tag: str) -> None:
        """The message is done; its place is free whether or not Redis hears of it."""
        self._ended(super().ack, delivery_tag)

    def reject(self, delivery_tag: str, requeue: bool = False) -> None:
        """The message is not wanted; its place is free whether or not Redis hears of it."""
        self._ended(super().reject, delivery_tag, requeue=requeue)

    def _ended(self, tell: Any, delivery_tag: str, **how: bool) -> None:
        try:
            tell(delivery_tag, **how)
        except self.channel.connection_errors:
            virtual.QoS.ack(self, delivery_tag)
            raise


class Channel(redis.Channel):
    """A channel that reads on after a message which nobody can read."""

    QoS = QoS

    def _brpop_read(self, **options: Any) -> Any:
        taken = set(self.qos._delivered)
        try:
            return super()._brpop_read(**options)
        except (ValueError, TypeError, LookupError, AttributeError) as fault:
            for tag in set(self.qos._delivered) - taken:
                self.qos.reject(tag)
            log.exception("a message that cannot be read was taken out of its queue", exc_info=fault)
            return True


class Transport(redis.Transport):
    """Redis with the channel above."""

    Channel = Channel
