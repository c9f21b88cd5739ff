"""Whether a worker lives, judged beside its work: a worker that is busy within its time limits is well, one that is deaf ends itself.

The proof of life is a task through the same connection, channel and child as the real work, by a queue of the worker's own. It must
not stand in line behind that work, though: while every child is at work, and within its limit, nothing can be taken and nothing needs
to be. So a thread in the main process looks every few seconds:

- all children at work within their limits: busy, and well;
- a child began a task since the last look: well;
- the broker does not answer this thread either: nothing to consume, and no reason to end;
- otherwise a child is idle while a message waits that nobody takes. After a minute of that the worker is deaf, and ends.

A child that is handed a task and does not begin it is frozen, and so is one past its time limit which nobody ended. In a thread, as the
main process itself may hang; and only what is true at two looks counts, so that a stopped machine is not taken for a deaf worker.
"""

from __future__ import annotations

import logging
import os
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import psutil
import redis
from celery import bootsteps
from celery.worker import state

from services.chassis.heartbeat import beat_once, give_sign, own_queue, sign_of
from services.chassis.pipeline import TRANSPORT_FAULTS
from services.chassis.queue import HARD_LIMIT_S
from services.chassis.resources import hurried
from services.chassis.settings import settings
from services.chassis.version import VERSION
from shared_schemas.pipeline import HEARTBEAT_TASK

log = logging.getLogger(__name__)

LOOK_EVERY_S = 5.0
DEAF_AFTER_S = 60.0
"""Above the time in which kombu drops a connection that does not answer, and Celery finds the broker again."""

FROZEN_AFTER_S = 30.0
OVERDUE_BY_S = 15.0
"""What a task may be past its hard limit before its child counts as one that nobody ends."""

BROKER_WAIT_S = 2.0


@dataclass(frozen=True)
class Look:
    """What the main process sees of its children at one moment.

    `begun` counts the tasks that children have begun since the start. `limits_s` has the hard limit of each task that runs, and
    `unbegun` the tasks that were handed over and that no child has begun.
    """

    children: int
    begun: int
    limits_s: Mapping[str, float]
    unbegun: frozenset[str] = frozenset()
    broker_answers: bool = True
    ending: bool = False

    @property
    def all_at_work(self) -> bool:
        return len(self.limits_s) >= self.children


class Watch:
    """Judges a row of looks."""

    def __init__(self, now: float) -> None:
        self._looked_at = now
        self._begun = 0
        self._silent_s = 0.0
        self._running_s: dict[str, float] = {}
        self._unbegun_s: dict[str, float] = {}

    @property
    def heard(self) -> bool:
        """Whether the last look found the worker well, and not only not yet deaf."""
        return self._silent_s == 0

    def fault(self, look: Look, now: float) -> str | None:
        """Why the worker is to end, `None` while it lives. `now` is by a clock that nobody sets."""
        passed_s = min(now - self._looked_at, 2 * LOOK_EVERY_S)
        self._looked_at = now
        self._running_s = {task: self._running_s.get(task, -passed_s) + passed_s for task in look.limits_s}
        stuck = frozenset() if look.all_at_work or not look.broker_answers else look.unbegun
        self._unbegun_s = {task: self._unbegun_s.get(task, -passed_s) + passed_s for task in stuck}
        well = look.all_at_work or look.begun != self._begun or not look.broker_answers or look.ending
        self._begun = look.begun
        self._silent_s = 0.0 if well else self._silent_s + passed_s
        return None if look.ending else self._words(look)

    def _words(self, look: Look) -> str | None:
        if any(self._running_s[task] > limit_s + OVERDUE_BY_S for task, limit_s in look.limits_s.items()):
            return f"a task is {OVERDUE_BY_S:g} s past its time limit and nobody ended it"
        if max(self._unbegun_s.values(), default=0.0) > FROZEN_AFTER_S:
            return f"a child was handed a task and has not begun it for {FROZEN_AFTER_S:g} s"
        if self._silent_s > DEAF_AFTER_S:
            return f"a child is idle, a message waits, and for {DEAF_AFTER_S:g} s nobody has taken it"
        return None


class Life(bootsteps.StartStopStep):
    """Watches over this worker from a thread, and ends it when it is deaf; whoever keeps it alive starts another.

    Each look that finds it well touches the file that the container's check reads, and leaves a sign of life in Redis
    with the queues that this worker consumes.
    """

    requires = ("celery.worker.components:Pool",)

    def start(self, worker: Any) -> None:
        """Begin to look."""
        self._worker = worker
        self._own = own_queue(worker.hostname)
        self._deployment = settings().deployment
        self._redis: redis.Redis = hurried(redis.Redis.from_url(settings().redis_url.get_secret_value()), BROKER_WAIT_S)
        self._stopped = threading.Event()
        log.info("worker starts", extra={"version": VERSION, "queues": self._queues()})
        threading.Thread(target=self._watch, name="life", daemon=True).start()

    def stop(self, worker: Any) -> None:
        """Stop looking, and take the sign of life away."""
        self._stopped.set()
        try:
            self._redis.delete(sign_of(self._deployment, worker.hostname))
        except redis.RedisError:
            log.info("the sign of life is left to fade")

    terminate = stop

    def _watch(self) -> None:
        watch = Watch(time.monotonic())
        while not self._stopped.wait(LOOK_EVERY_S):
            try:
                self._look(watch)
            except Exception:
                # The file is not touched meanwhile, so that a fault of this thread cannot hide one of the worker.
                log.exception("the worker could not be looked at")

    def _look(self, watch: Watch) -> None:
        answers = self._broker_takes_a_message()
        why = watch.fault(look_at(self._worker, broker_answers=answers), time.monotonic())
        if why is not None:
            self._end(why)
        if watch.heard:
            self._say_so()

    def _broker_takes_a_message(self) -> bool:
        """Whether a message lies in the queue of our own that is to be taken; puts one there if none does."""
        waits = f"{self._deployment}:{self._own}"
        try:
            if not self._redis.llen(waits):
                # A connection for each: it is asked for seldom, and never waited for behind another's fault.
                quick = {"socket_timeout": BROKER_WAIT_S, "max_retries": 1}
                with self._worker.app.connection_for_write(transport_options=quick) as connection:
                    self._worker.app.send_task(HEARTBEAT_TASK, queue=self._own, connection=connection, retry=False)
                # What a worker leaves that never comes back under its name.
                self._redis.expire(waits, int(4 * DEAF_AFTER_S))
        except TRANSPORT_FAULTS as fault:
            log.warning("the broker does not answer", extra={"why": str(fault)})
            return False
        return True

    def _say_so(self) -> None:
        beat_once()
        try:
            give_sign(self._redis, self._deployment, self._worker.hostname, self._queues())
        except redis.RedisError:
            log.info("no sign of life could be left")

    def _queues(self) -> str:
        return ",".join(queue for queue in self._worker.app.amqp.queues.consume_from if queue != self._own)

    def _end(self, why: str) -> None:
        log.critical("this worker ends, to be started again", extra={"why": why})
        for child in psutil.Process().children():
            child.kill()
        os._exit(1)


def look_at(worker: Any, *, broker_answers: bool) -> Look:
    """What there is to see now."""
    running = tuple(state.active_requests)
    handed_over = set(state.reserved_requests) - set(state.scheduled_requests) - set(running)
    return Look(
        children=worker.concurrency,
        begun=state.all_total_count[0],
        limits_s={
            f"{one.id} {one.time_start}": float(one.time_limits[0] or one.task.time_limit or HARD_LIMIT_S) for one in running
        },
        unbegun=frozenset(one.id for one in handed_over),
        broker_answers=broker_answers,
        ending=any(told not in (None, False) for told in (state.should_stop, state.should_terminate)),
    )
