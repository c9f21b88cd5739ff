"""A worker for the floor: the four queues, a document in Redis and a number in the message, as in the suite; stages that do nothing.

Start with `celery -A tests.bench.idle_worker worker -Q prescription,glass,process,quoting`.
"""

from __future__ import annotations

from celery import Celery

from services.chassis.queue import queue_app
from services.chassis.resources import resources
from services.chassis.settings import settings
from shared_schemas.pipeline import LAST, STATIONS, TASKS, Station, after

ARRIVED = "bench:arrived"
"""A list of the numbers that came through."""

NOTHING = b"{}"


def idle_app() -> Celery:
    """An application whose stages read the document, stamp a section with nothing in it, and send the number on."""
    made = queue_app(settings(), TASKS)
    for station in STATIONS:
        _register(made, station)
    return made


def _register(made: Celery, here: Station) -> None:
    @made.task(name=here.task)
    def task(number: str, attempt: int, trace: str) -> None:
        tools = resources(queue=made)
        tools.travellers.read(number, attempt, ("job",))
        if here is LAST:
            tools.travellers.discard(number, attempt)
            tools.redis.rpush(ARRIVED, number)
            return
        tools.travellers.stamp(number, attempt, {here.section: NOTHING})
        following = after(here.section)
        tools.send(following.task, following.queue, number, attempt, trace)


def __getattr__(name: str) -> Celery:
    """The application that `celery -A tests.bench.idle_worker` looks for, built when it is asked for."""
    if name in ("app", "celery"):
        globals()["app"] = globals()["celery"] = idle_app()
        return globals()["app"]
    raise AttributeError(name)
