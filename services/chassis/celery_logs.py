"""Worker and beat speak as every other process does: a JSON object a line, no banner, and no warning that is false here."""

from __future__ import annotations

import logging
import warnings
from functools import partial
from typing import Any

from celery import Celery
from celery.apps.beat import Beat
from celery.exceptions import SecurityWarning
from celery.signals import celeryd_after_setup, setup_logging

from services.chassis.logs import set_up_logs
from services.chassis.settings import settings


def speak_json() -> None:
    """Set this process up for it, before Celery starts anything."""
    set_up_logs(settings().log_level)
    # Celery warns of root, and of a group without a name, for the sake of workers that unpickle. Ours read JSON only.
    warnings.filterwarnings("ignore", category=SecurityWarning)


@setup_logging.connect
def _no_handlers_of_celery(loglevel: int, **_: Any) -> None:
    set_up_logs(settings().log_level)
    logging.getLogger("celery").setLevel(loglevel)


@celeryd_after_setup.connect
def _no_banner(instance: Any, **_: Any) -> None:
    instance.quiet = True


class _QuietBeat(Beat):
    def __init__(self, **named: Any) -> None:
        super().__init__(**named | {"quiet": True})


def hush_beat(app: Celery) -> None:
    """Start `app` as a beat without a banner."""
    app.Beat = partial(_QuietBeat, app=app)
