"""What uvicorn would write of each request, with its query, is in no log; what goes wrong in it is."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest

from services.chassis.logs import set_up_logs

NAMES = ("", "uvicorn", "uvicorn.error", "uvicorn.access")


@pytest.fixture
def logs() -> Iterator[None]:
    """The loggers as they were, afterwards."""
    kept = {
        name: (logging.getLogger(name).handlers, logging.getLogger(name).propagate, logging.getLogger(name).level) for name in NAMES
    }
    set_up_logs("INFO")
    yield
    logging.captureWarnings(False)
    for name, (handlers, propagates, level) in kept.items():
        logger = logging.getLogger(name)
        logger.handlers, logger.propagate = handlers, propagates
        logger.setLevel(level)


def test_a_request_is_written_down_by_nobody_and_a_fault_of_the_server_is(logs: None) -> None:
    assert not logging.getLogger("uvicorn.access").propagate
    assert logging.getLogger("uvicorn.error").propagate
