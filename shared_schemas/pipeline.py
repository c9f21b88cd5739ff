"""The way of a traveller: stations in order, with the task, the queue and the section of each. The one place for these names."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple


class Station(NamedTuple):
    """One hop: the service that does it, its task, its queue, the section it stamps, and the status a quote has meanwhile."""

    service: str
    task: str
    queue: str
    section: str
    status: str


STATIONS: tuple[Station, ...] = (
    Station("prescription", "prescription.check", "prescription", "check", "checking"),
    Station("glass", "glass.plan_blanks", "glass", "blanks", "planning_blanks"),
    Station("process", "process.plan_operations", "process", "operations", "planning_operations"),
    Station("quoting", "quoting.assemble", "quoting", "quote", "assembling"),
)

LAST = STATIONS[-1]

SWEEP_TASK = "quoting.sweep"
SWEEP_QUEUE = "sweeps"

PACK_TASK = "quoting.pack_tightly"
FORGET_TASK = "quoting.forget"
EXPIRE_TASK = "quoting.expire"
TAKE_IN_TASK = "quoting.take_in"
FORGET_LOAD_TASK = "orders.forget"
"""What is done to what is stored as time goes by; quoting takes in what happened to orders when it is rung for, too."""

TAKE_OVER_TASK = "orders.take_over"
ORDERS_QUEUE = "orders"
"""Where orders hears that something was accepted; it asks for what it has not heard of by itself too."""

DELIVER_TASK = "quoting.deliver"
WEBHOOKS_QUEUE = "webhooks"
"""Where endpoints outside are told of what happened, by a worker of its own: how long they take is not ours to say."""

LARGE_QUEUE = "large"
"""Where quotes of much work go through all their stations, taken by workers of their own, so that no small one stands behind them."""

SERVICES: tuple[str, ...] = ("prescription", "glass", "process", "quoting", "orders", "rates", "desk")
"""Every service of the suite."""

WITH_WORKERS: tuple[str, ...] = (*(station.service for station in STATIONS), "orders")
"""Services that work in the background, each with a worker of its own in a fleet."""

HEARTBEAT_TASK = "chassis.heartbeat"
"""What a worker sends itself through a queue of its own, so that one which no longer consumes is found out."""

TASKS: dict[str, str] = {station.task: station.queue for station in STATIONS} | {
    SWEEP_TASK: SWEEP_QUEUE,
    PACK_TASK: SWEEP_QUEUE,
    FORGET_TASK: SWEEP_QUEUE,
    EXPIRE_TASK: SWEEP_QUEUE,
    DELIVER_TASK: WEBHOOKS_QUEUE,
    TAKE_IN_TASK: SWEEP_QUEUE,
    FORGET_LOAD_TASK: ORDERS_QUEUE,
    TAKE_OVER_TASK: ORDERS_QUEUE,
    HEARTBEAT_TASK: SWEEP_QUEUE,
}
"""Every task with the queue it travels on (the heartbeat: on a queue of each worker's own)."""

QUEUES: tuple[str, ...] = (*(station.queue for station in STATIONS), LARGE_QUEUE, ORDERS_QUEUE, WEBHOOKS_QUEUE, SWEEP_QUEUE)
"""Every queue."""


def queue_of(station: Station, *, large: bool) -> str:
    """The queue in which a traveller waits for a station."""
    return LARGE_QUEUE if large else station.queue


def after(section: str) -> Station:
    """The station that follows the one which stamps `section`; raises `LookupError` past the last."""
    for here, following in pairwise(STATIONS):
        if here.section == section:
            return following
    raise LookupError(f"no station follows the one that stamps {section}")
