"""Watching over the running suite: one trace over the API and four stages, one name in every log line, figures that add up."""

from __future__ import annotations

import gzip
import json
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx
import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from prometheus_client.parser import text_string_to_metric_families

from services.chassis.one_box import Address, erase, start, stop
from shared_schemas.pipeline import STATIONS
from tests.system.asking import ask, finished

TRACE = "ab" * 16
CALLER = "00f067aa0ba902b7"


class Collector(ThreadingHTTPServer):
    """Takes spans in as a collector does, and keeps them: name, trace, own id, the id they hang below."""

    def __init__(self) -> None:
        self.spans: list[tuple[str, str, str, str]] = []
        super().__init__(("127.0.0.1", 0), Intake)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"


class Intake(BaseHTTPRequestHandler):
    server: Collector

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        sent = ExportTraceServiceRequest()
        sent.ParseFromString(gzip.decompress(body) if self.headers.get("Content-Encoding") == "gzip" else body)
        for of_process in sent.resource_spans:
            for of_library in of_process.scope_spans:
                self.server.spans += [
                    (one.name, one.trace_id.hex(), one.span_id.hex(), one.parent_span_id.hex()) for one in of_library.spans
                ]
        self.send_response(200)
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@pytest.fixture(scope="module")
def collector() -> Iterator[Collector]:
    with Collector() as made:
        threading.Thread(target=made.serve_forever, daemon=True).start()
        yield made
        made.shutdown()


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory, collector: Collector) -> Iterator[Address]:
    """A box of its own, which sends its spans to the collector."""
    folder = tmp_path_factory.mktemp("watched")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", collector.url)
        made = start(folder)
    yield made
    stop(folder)
    erase(folder)


@pytest.fixture(scope="module")
def quoted(watched: Address) -> str:
    """Number of a quote that a caller on a trace of his own asked for and that is ready."""
    demo = Path(__file__).resolve().parents[2] / "services" / "desk" / "demo" / "lake_ice_lidar.json"
    with httpx.Client(base_url=watched.url, headers={"Authorization": f"Bearer {watched.keys['sales']}"}, timeout=30) as sales:
        number = ask(sales, json.loads(demo.read_text(encoding="utf-8")), traceparent=f"00-{TRACE}-{CALLER}-01")
        assert finished(sales, number)["status"] == "ready"
    return number


def lines(box: Address, log: str) -> list[dict[str, Any]]:
    text = (box.folder / "logs" / f"{log}.log").read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines() if line.startswith("{")]


def samples(box: Address, path: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    answer = httpx.get(f"{box.url}{path}")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("text/plain")
    families = text_string_to_metric_families(answer.text)
    return {(one.name, tuple(sorted(one.labels.items()))): one.value for family in families for one in family.samples}


def test_one_trace_goes_from_the_caller_over_the_api_through_every_stage(collector: Collector, quoted: str) -> None:
    wanted = ["POST /v1/quotes", *(station.task for station in STATIONS)]
    give_up_at = time.monotonic() + 20
    while not set(wanted) <= {name for name, *_ in collector.spans} and time.monotonic() < give_up_at:
        time.sleep(0.1)
    of_quote = {name: (own, below) for name, trace, own, below in collector.spans if trace == TRACE}
    assert set(wanted) <= set(of_quote), collector.spans
    above = CALLER
    for name in wanted:
        own, below = of_quote[name]
        assert below == above, f"{name} does not hang below the one before it"
        above = own


def test_the_logs_of_api_and_workers_carry_number_and_trace_through_every_stage(watched: Address, quoted: str) -> None:
    (begun,) = [one for one in lines(watched, "api") if one["event"] == "traveller started" and one["number"] == quoted]
    assert begun["trace"] == TRACE
    assert begun["request"]
    done = [one for one in lines(watched, "worker") if one["event"] == "stage done"]
    assert [one["stage"] for one in done] == [station.service for station in STATIONS]
    assert {(one["number"], one["trace"], one["attempt"]) for one in done} == {(quoted, TRACE, 1)}
    assert [one["outcome"] for one in done] == ["stamped", "stamped", "stamped", "ready"]


def test_the_figures_of_the_suite_add_up_over_every_worker(watched: Address, quoted: str) -> None:
    found = samples(watched, "/metrics/suite")
    for station, outcome in zip(STATIONS, ("stamped", "stamped", "stamped", "ready"), strict=True):
        of_stage = (("outcome", outcome), ("stage", station.service))
        assert found["blankwright_stage_seconds_count", of_stage] == 1
        assert found["blankwright_stage_seconds_sum", of_stage] > 0
        assert found["blankwright_stage_seconds_bucket", tuple(sorted([*of_stage, ("le", "+Inf")]))] == 1
        assert found["blankwright_queue_depth", (("queue", station.queue),)] == 0
        assert found["blankwright_retries_total", (("stage", station.service),)] == 0
    assert found["blankwright_quotes_total", (("outcome", "ready"),)] == 1
    assert found["blankwright_quotes_total", (("outcome", "failed"),)] == 0
    for nothing in ("blankwright_dead_letters_total", "blankwright_oldest_traveller_seconds", "blankwright_travellers"):
        assert found[nothing, ()] == 0
    assert found["blankwright_part_answers", (("part", "postgresql"),)] == 1


def test_requests_are_counted_by_route_and_never_by_address(watched: Address, quoted: str) -> None:
    httpx.get(f"{watched.url}/no/such/{quoted}")
    found = samples(watched, "/metrics")
    counted = {
        dict(labels)["route"]: value for (name, labels), value in found.items() if name == "blankwright_http_request_seconds_count"
    }
    assert counted["/v1/quotes"] == 1
    assert counted["/v1/quotes/{number}"] >= 1
    assert counted["none"] >= 1
    assert not any(quoted in route for route in counted)
    assert found["process_resident_memory_bytes", ()] > 0
