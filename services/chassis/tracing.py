"""Traces (OpenTelemetry) over the API and the stages: off, unless `OTEL_EXPORTER_OTLP_ENDPOINT` says where they go.

A quote has a trace id from the moment it is asked for, whether traces are kept or not: its logs carry it and so do its
messages. When traces are kept, a message also carries the span that sent it, so that the stages hang below the request.
A start by the sweeper has no such span; it begins anew, in the trace of its quote. Needs the extra `telemetry`.
"""

from __future__ import annotations

import logging
import os
import re
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import httpx
    from opentelemetry.sdk.trace import TracerProvider
    from opentelemetry.sdk.trace.id_generator import IdGenerator

log = logging.getLogger(__name__)

_WHERE = ("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", "OTEL_EXPORTER_OTLP_ENDPOINT")

_provider_of: dict[int, TracerProvider] = {}
_making = threading.Lock()
_trace_to_begin: ContextVar[str | None] = ContextVar("trace_to_begin", default=None)


def are_kept() -> bool:
    """Whether this process keeps traces."""
    return any(os.environ.get(name) for name in _WHERE) and _can_be_kept()


@cache
def _can_be_kept() -> bool:
    # The variable may be set for a whole cluster by somebody who has never heard of us; that is no reason not to start.
    is_installed = find_spec("opentelemetry") is not None and all(
        find_spec(name) for name in ("opentelemetry.sdk", "opentelemetry.exporter")
    )
    if not is_installed:
        log.warning("no traces are kept: the extra is not installed; pip install 'blankwright[telemetry]'")
    return is_installed


def provider() -> TracerProvider:
    """What keeps the spans of this process, made on first use; a forked child makes its own. Only where traces are kept."""
    pid = os.getpid()
    with _making:
        if pid not in _provider_of:
            _provider_of.clear()
            _provider_of[pid] = _new_provider()
        return _provider_of[pid]


def _new_provider() -> TracerProvider:
    # A third of a second of imports, which only those pay who keep traces.
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter  # noqa: PLC0415
    from opentelemetry.sdk.resources import Resource  # noqa: PLC0415
    from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415
    from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415

    named = Resource.create({"service.name": os.environ.get("OTEL_SERVICE_NAME", "blankwright")})
    made = TracerProvider(resource=named, id_generator=ids_of_quotes())
    made.add_span_processor(BatchSpanProcessor(OTLPSpanExporter(), schedule_delay_millis=1000))
    return made


def ids_of_quotes() -> IdGenerator:
    """Gives ids at random, but to a trace that a quote has begun already the id it has."""
    from opentelemetry.sdk.trace.id_generator import RandomIdGenerator  # noqa: PLC0415

    class IdsOfQuotes(RandomIdGenerator):
        def generate_trace_id(self) -> int:
            begun = _trace_to_begin.get()
            return int(begun, 16) if begun else super().generate_trace_id()

    return IdsOfQuotes()


def flush() -> None:
    """Send off the spans that wait; for a process that ends without its last rites."""
    if os.getpid() in _provider_of:
        _provider_of[os.getpid()].force_flush(5000)


def trace_of(traceparent: str | None) -> str:
    """The id of the trace under way: the current span's where traces are kept, that of a W3C traceparent header, or a new one."""
    parent = re.fullmatch(r"[0-9a-f]{2}-([0-9a-f]{32})-[0-9a-f]{16}-[0-9a-f]{2}", current() or traceparent or "")
    return parent.group(1) if parent and parent.group(1) != "0" * 32 else secrets.token_hex(16)


def current() -> str | None:
    """The current span as a W3C traceparent, for whoever is called; `None` where no traces are kept or no span is open."""
    if not are_kept():
        return None
    from opentelemetry import trace  # noqa: PLC0415

    here = trace.get_current_span().get_span_context()
    return f"00-{here.trace_id:032x}-{here.span_id:016x}-{here.trace_flags:02x}" if here.is_valid else None


def in_our_trace(request: httpx.Request) -> None:
    """Tell the part that is asked which span asks it."""
    here = current()
    if here:
        request.headers["traceparent"] = here


@contextmanager
def span(name: str, *, trace_id: str, below: str | None = None, **attributes: str | int) -> Iterator[None]:
    """A piece of work in the trace `trace_id`, below the span `below` (a traceparent) if that is in the same trace."""
    if not are_kept():
        yield
        return
    from opentelemetry import context  # noqa: PLC0415
    from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator  # noqa: PLC0415

    carried: dict[str, Any] = {"traceparent": below} if below and f"-{trace_id}-" in below else {}
    parent = TraceContextTextMapPropagator().extract(carried, context.Context())
    begun = _trace_to_begin.set(trace_id if re.fullmatch("[0-9a-f]{32}", trace_id) and trace_id != "0" * 32 else None)
    try:
        opened = provider().get_tracer("blankwright").start_span(name, context=parent, attributes=attributes)
    finally:
        _trace_to_begin.reset(begun)
    from opentelemetry.trace import use_span  # noqa: PLC0415

    with use_span(opened, end_on_exit=True):
        yield
