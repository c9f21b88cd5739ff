"""Trace ids, which every quote has, and traces, which are kept on asking only."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter

from services.chassis import tracing

ROOT = Path(__file__).resolve().parents[3]
TRACE = "ab" * 16
SPAN = "00f067aa0ba902b7"


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> InMemorySpanExporter:
    """Where the spans of this process go while it keeps traces."""
    exporter = InMemorySpanExporter()
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://127.0.0.1:1")
    made = TracerProvider(id_generator=tracing.ids_of_quotes())
    made.add_span_processor(SimpleSpanProcessor(exporter))
    monkeypatch.setattr(tracing, "_provider_of", {os.getpid(): made})
    return exporter


@pytest.mark.parametrize(
    "given", [None, "", "not one", f"00-{TRACE}-{SPAN}", f"00-{'0' * 32}-{SPAN}-01", f"00-{TRACE.upper()}-{SPAN}-01"]
)
def test_what_is_no_traceparent_gives_a_new_trace(given: str | None) -> None:
    found = {tracing.trace_of(given) for _ in range(3)}
    assert len(found) == 3
    assert all(len(one) == 32 for one in found)


def test_a_trace_goes_on_as_the_caller_began_it() -> None:
    assert tracing.trace_of(f"00-{TRACE}-{SPAN}-01") == TRACE


def test_where_no_traces_are_kept_a_span_is_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("OTEL_EXPORTER_OTLP_ENDPOINT", raising=False)
    with tracing.span("work", trace_id=TRACE):
        assert tracing.current() is None


def test_a_span_hangs_below_the_one_its_message_came_from(kept: InMemorySpanExporter) -> None:
    with tracing.span("work", trace_id=TRACE, below=f"00-{TRACE}-{SPAN}-01", number="Q-2026-000001"):
        assert tracing.trace_of(None) == TRACE
        with tracing.span("next", trace_id=TRACE, below=tracing.current()):
            pass
    following, first = kept.get_finished_spans()
    assert (first.context.trace_id, first.parent and first.parent.span_id) == (int(TRACE, 16), int(SPAN, 16))
    assert following.parent is not None
    assert following.parent.span_id == first.context.span_id
    assert first.attributes == {"number": "Q-2026-000001"}


@pytest.mark.parametrize("below", [None, f"00-{'a' * 32}-{SPAN}-01"])
def test_a_start_without_a_span_of_its_trace_begins_anew_in_that_trace(kept: InMemorySpanExporter, below: str | None) -> None:
    with tracing.span("work", trace_id=TRACE, below=below):
        pass
    (only,) = kept.get_finished_spans()
    assert only.context.trace_id == int(TRACE, 16)
    assert only.parent is None


def test_a_trace_that_is_no_trace_id_does_not_stop_the_work(kept: InMemorySpanExporter) -> None:
    with tracing.span("work", trace_id="a word"):
        pass
    assert len(kept.get_finished_spans()) == 1


def test_a_variable_that_is_set_without_the_packages_stops_nothing(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://127.0.0.1:1")
    monkeypatch.setattr(tracing, "find_spec", lambda _: None)
    tracing._can_be_kept.cache_clear()
    try:
        with tracing.span("work", trace_id=TRACE):
            assert tracing.current() is None
        assert caplog.text.count("blankwright[telemetry]") == 1
    finally:
        tracing._can_be_kept.cache_clear()


def test_nothing_is_loaded_for_traces_that_are_not_kept() -> None:
    code = (
        "import sys; import services.chassis.worker, services.chassis.web; "
        "print([name for name in sys.modules if name.startswith(('opentelemetry.sdk.trace', 'opentelemetry.exporter', 'google.protobuf'))])"
    )
    environment = {name: value for name, value in os.environ.items() if not name.startswith("OTEL_")}
    said = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"
