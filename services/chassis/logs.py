"""Structured logs: one JSON object a line, with what is bound to the work at hand (request, number, attempt, trace)."""

from __future__ import annotations

import logging
import sys
from typing import Any

import structlog


def set_up_logs(level: str) -> None:
    """Send every logger's lines to standard error as JSON."""
    shared: list[Any] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.stdlib.ExtraAdder(),
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info,
    ]
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, structlog.processors.JSONRenderer()],
        )
    )
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(level)
    # Uvicorn, and Python's own warnings, would speak in lines of another kind.
    # A line for each request is the front's to write, which leaves queries out; here every probe would have one.
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logging.getLogger(name).handlers = []
        logging.getLogger(name).propagate = name != "uvicorn.access"
    logging.captureWarnings(True)
    logging.getLogger("httpx").setLevel(logging.WARNING)
    logging.getLogger("celery.app.trace").setLevel(logging.WARNING)


def bind(**values: Any) -> None:
    """Name the work at hand in every line that follows, in place of what was bound before."""
    structlog.contextvars.clear_contextvars()
    structlog.contextvars.bind_contextvars(**values)
