"""The task queue: Celery on Redis, set so that a task may be late or run twice, but is never lost without a trace."""

from __future__ import annotations

import ssl
from typing import Any
from urllib.parse import parse_qsl, urlsplit, urlunsplit

from celery import Celery
from kombu.entity import Queue

from services.chassis.settings import Settings
from shared_schemas.pipeline import LARGE_QUEUE

HARD_LIMIT_S = 30
SOFT_LIMIT_S = 25
LARGE_HARD_LIMIT_S = 110
LARGE_SOFT_LIMIT_S = 100
"""How long one stage of a quote may take: told to end, and ended. The second pair is for those of much work."""

VISIBILITY_S = 120
"""After this long an unacknowledged message is delivered again; above the hard limits, or a task would run beside itself."""


def queue_app(settings: Settings, tasks: dict[str, str]) -> Celery:
    """A Celery application that knows `tasks` (name to queue) and nothing else. It registers no code: workers do."""
    address, tls = broker_of(settings.redis_url.get_secret_value())
    app = Celery(settings.deployment, broker=address, set_as_current=False)
    app.conf.update(
        broker_use_ssl=tls,
        result_backend=None,
        task_ignore_result=True,
        task_serializer="json",
        accept_content=["json"],
        task_create_missing_queues=False,
        task_queues=[Queue(name) for name in sorted({*tasks.values(), LARGE_QUEUE})],
        task_routes={task: {"queue": queue} for task, queue in tasks.items()},
        task_default_queue=sorted(set(tasks.values()))[0],
        task_acks_late=True,
        worker_prefetch_multiplier=1,
        task_retry_on_worker_lost=True,
        task_reject_on_worker_lost=False,
        task_default_retry_delay=2,
        worker_cancel_long_running_tasks_on_connection_loss=True,
        task_soft_time_limit=SOFT_LIMIT_S,
        task_time_limit=HARD_LIMIT_S,
        broker_transport="services.chassis.redis_transport:Transport",
        broker_transport_options=_transport_options(settings.deployment),
        broker_connection_retry_on_startup=True,
        broker_connection_max_retries=None,
        task_publish_retry_policy={"max_retries": 2, "interval_start": 0, "interval_step": 0.2, "interval_max": 0.5},
        worker_max_tasks_per_child=1000,
        worker_max_memory_per_child=400_000,
        worker_soft_shutdown_timeout=10.0,
        worker_hijack_root_logger=False,
        # Celery would put a logger in the place of the error output, and what our own loggers write there would be swallowed.
        worker_redirect_stdouts=False,
        worker_send_task_events=False,
        worker_enable_remote_control=False,
        task_send_sent_event=False,
        enable_utc=True,
    )
    return app


def limits_in(queue: str) -> dict[str, int]:
    """The options of a message to `queue` that set how long its task may take; none where those of all tasks hold."""
    return {"soft_time_limit": LARGE_SOFT_LIMIT_S, "time_limit": LARGE_HARD_LIMIT_S} if queue == LARGE_QUEUE else {}


def broker_of(redis_url: str) -> tuple[str, dict[str, Any] | None]:
    """The address for Celery, and its TLS options (`None` without TLS), from `redis://` or `rediss://…?ssl_ca_certs=…`.

    Left to themselves, Celery and kombu would not check the certificate of a `rediss://` address.
    """
    parts = urlsplit(redis_url)
    if parts.scheme != "rediss":
        return redis_url, None
    named = {name: value for name, value in parse_qsl(parts.query) if name in ("ssl_ca_certs", "ssl_certfile", "ssl_keyfile")}
    return urlunsplit(parts._replace(query="")), named | {"ssl_cert_reqs": ssl.CERT_REQUIRED, "ssl_check_hostname": True}


def _transport_options(deployment: str) -> dict[str, Any]:
    return {
        "visibility_timeout": VISIBILITY_S,
        "unacked_restore_interval": 5,
        "unacked_restore_throttle": 1,
        "socket_connect_timeout": 2,
        "socket_timeout": 30,
        "socket_keepalive": True,
        "health_check_interval": 15,
        # In turn, as no message has a priority: in a fixed order the queues named last would starve behind a busy first one,
        # and last of all comes the queue of the heartbeat.
        "queue_order_strategy": "round_robin",
        "global_keyprefix": f"{deployment}:",
    }
