"""Quotes through the running box, beside the floor that the queue sets and the compute that the lens asks for."""

from __future__ import annotations

import gc
import statistics
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import httpx
import psutil
from prometheus_client.parser import text_string_to_metric_families

from services.chassis.one_box import Address, erase, start, stop
from services.chassis.worker import CYCLES_LOOKED_FOR_AFTER
from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from services.rates.domain.seed import seed_rates
from shared_schemas.pipeline import STATIONS
from shared_schemas.quote import FINAL_STATUSES
from shared_schemas.traveller import Refusal
from tests.bench.compute import job_of, medians
from tests.bench.floor import Floor, measure_floor
from tests.bench.lenses import chain_of_lenses

ELEMENTS = (3, 6, 14, 40)
WORKERS = 2
ALONE = {3: 30, 6: 20, 14: 8, 40: 3}
TOGETHER = {3: 60, 6: 40, 14: 10, 40: 4}
"""Quotes sent one after the other, and at once, for each size."""


PARTS = ("worker", "api", "database", "broker")


@dataclass(frozen=True)
class Size:
    """What was measured for lenses of one size."""

    elements: int
    compute_s: float
    latencies_s: list[float]
    per_second: float
    cpu_s: dict[str, float]
    shares: dict[str, float]

    @property
    def latency_s(self) -> float:
        """The median."""
        return statistics.median(self.latencies_s)

    @property
    def worst_s(self) -> float:
        """The 99th percentile, which for so few runs is the worst."""
        return sorted(self.latencies_s)[round(0.99 * (len(self.latencies_s) - 1))]


def compute_alone(elements: int) -> float:
    """Seconds that the four stages take in one process, everything that can be known beforehand being known."""
    rates = seed_rates()
    job = job_of(chain_of_lenses(elements))

    def work() -> object:
        report = check(job=job, rates=rates)
        assert not isinstance(report, Refusal)
        blanks = plan_blanks(job=job, check=report, rates=rates)
        assert not isinstance(blanks, Refusal)
        operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
        assert not isinstance(operations, Refusal)
        return assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="bench")

    return medians(work, runs=max(5, 60 // elements))[0] / 1000


class Desk:
    """A sales desk at the box."""

    def __init__(self, box: Address) -> None:
        self._box = box
        self._client = httpx.Client(base_url=box.url, headers={"Authorization": f"Bearer {box.keys['sales']}"}, timeout=90)

    def close(self) -> None:
        """Hang up."""
        self._client.close()

    def latency_s(self, body: bytes) -> float:
        """Seconds from sending a request to its outcome, by the one clock that both have."""
        asked_at = time.time()
        answer = self._client.post("/v1/quotes", content=body, headers={"Content-Type": "application/json", "Prefer": "wait=60"})
        return self._finished_at(answer.json()) - asked_at

    def per_second(self, body: bytes, many: int) -> float:
        """Quotes a second from the first that is sent to the last that has its outcome, all sent at once."""
        began = time.time()

        def ask(_: int) -> str:
            answer = self._client.post("/v1/quotes", content=body, headers={"Content-Type": "application/json"})
            return str(answer.json()["number"])

        with ThreadPoolExecutor(4) as callers:
            numbers = list(callers.map(ask, range(many)))
        while self._client.get(f"/v1/quotes/{numbers[-1]}").json()["status"] not in FINAL_STATUSES:
            time.sleep(0.1)
        while self._client.get("/v1/quotes", params={"status": "accepted", "limit": 1}).json()["items"]:
            time.sleep(0.1)
        quotes = [self._client.get(f"/v1/quotes/{number}").json() for number in numbers]
        return many / (max(self._finished_at(quote) for quote in quotes) - began)

    @staticmethod
    def _finished_at(quote: dict[str, Any]) -> float:
        if quote.get("status") != "ready":
            raise RuntimeError(f"a quote of the bench came out as {quote}"[:600])
        return datetime.fromisoformat(quote["finished_at"]).timestamp()

    def stage_seconds(self) -> dict[str, float]:
        """Seconds that each stage took so far, all runs of all workers together."""
        found = dict.fromkeys((station.service for station in STATIONS), 0.0)
        for family in text_string_to_metric_families(self._client.get("/metrics/suite").text):
            for one in family.samples:
                if one.name == "blankwright_stage_seconds_sum":
                    found[one.labels["stage"]] += one.value
        return found


def processes(box: Address) -> dict[str, list[psutil.Process]]:
    """The processes of each part of the box, with their children."""
    found = {}
    for child in psutil.Process(box.pid).children():
        line = " ".join(child.cmdline())
        part = next((part for part, sign in (("worker", "chassis.worker"), ("beat", "chassis.beat"), ("api", "uvicorn"),
                                             ("broker", "valkey"), ("database", "postgres")) if sign in line), "other")  # fmt: skip
        found[part] = [child, *child.children(recursive=True)]
    return found


def cpu_s(box: Address) -> dict[str, float]:
    """Processor seconds that each part of the box has used."""
    used: dict[str, float] = {}
    for part, of_part in processes(box).items():
        for process in of_part:
            with suppress(psutil.NoSuchProcess):
                times = process.cpu_times()
                used[part] = used.get(part, 0.0) + times.user + times.system
    return used


def measure_size(box: Address, desk: Desk, elements: int) -> Size:
    """Latency, throughput, processor time and shares for lenses of one size."""
    body = job_of(chain_of_lenses(elements)).request.model_dump_json().encode()
    alone_s = compute_alone(elements)
    for _ in range(4):
        desk.latency_s(body)
    before = desk.stage_seconds()
    latencies = [desk.latency_s(body) for _ in range(ALONE[elements])]
    spent = {stage: seconds - before[stage] for stage, seconds in desk.stage_seconds().items()}
    used = cpu_s(box)
    per_second = desk.per_second(body, TOGETHER[elements])
    each_s = {part: (now - used.get(part, 0.0)) / TOGETHER[elements] for part, now in cpu_s(box).items()}
    return Size(elements, alone_s, latencies, per_second, each_s, {stage: one / sum(latencies) for stage, one in spent.items()})


def print_table() -> None:
    """Measure floor, box and lenses, and print."""
    gc.set_threshold(*CYCLES_LOOKED_FOR_AFTER)  # compute alone is to be what a worker could do
    floor = measure_floor()
    with tempfile.TemporaryDirectory(prefix="blankwright-bench-") as name:
        folder = Path(name) / "box"
        _, first_s = _timed(lambda: start(folder))
        stop(folder)
        box, again_s = _timed(lambda: start(folder))
        try:
            desk = Desk(box)
            sizes = [measure_size(box, desk, elements) for elements in ELEMENTS]
            desk.close()
            memory = _memory(box)
        finally:
            stop(folder)
            erase(folder)
    _print_sizes(floor, sizes)
    print(f"\nfrom start to ready: {first_s:.1f} s on an empty folder, {again_s:.1f} s on data that is there")
    print(f"\n{'memory after the run':<24}{'RSS MB':>8}{'PSS MB':>8}")
    for what, (rss, pss) in memory.items():
        print(f"{what:<24}{rss:>8.0f}{pss:>8.0f}")


def _print_sizes(floor: Floor, sizes: list[Size]) -> None:
    print(f"Quotes at six quantities through the box, {WORKERS} worker processes; medians")
    print(
        f"the floor, four stages that do nothing: {floor.latency_s * 1000:.1f} ms (p99 {floor.worst_s * 1000:.1f}), {floor.per_second:.0f} a second"
    )
    heads = ("elements", "compute ms", "p50 ms", "p99 ms", "of allowed", "quotes/s", "of compute", "CPU ms")
    print("".join(f"{head:>11}" for head in heads) + "   share of the latency")
    for size in sizes:
        allowed_s = 3 * floor.latency_s + size.compute_s
        possible = WORKERS / size.compute_s
        shares = ", ".join(f"{stage} {share:.0%}" for stage, share in size.shares.items())
        outside = 1 - sum(size.shares.values())
        print(
            f"{size.elements:>11}{size.compute_s * 1000:>11.1f}{size.latency_s * 1000:>11.1f}{size.worst_s * 1000:>11.1f}"
            f"{size.latency_s / allowed_s:>11.2f}{size.per_second:>11.2f}{size.per_second / possible:>11.0%}{sum(size.cpu_s.values()) * 1000:>11.0f}"
            f"   {shares}, between them {outside:.0%}"
        )
    print(f"\n{'elements':>11}" + "".join(f"{part:>11}" for part in PARTS) + "   CPU of each part, ms a quote at saturation")
    for size in sizes:
        print(f"{size.elements:>11}" + "".join(f"{size.cpu_s.get(part, 0.0) * 1000:>11.1f}" for part in PARTS))
    print(
        "of allowed: latency / (3 × floor + compute), to be at most 1; of compute: quotes a second / what compute alone allows, to be at least 60%"
    )


def _timed(work: Callable[[], Address]) -> tuple[Address, float]:
    began = time.perf_counter()
    return work(), time.perf_counter() - began


def _memory(box: Address) -> dict[str, tuple[float, float]]:
    found: dict[str, tuple[float, float]] = {}
    for part, of_part in processes(box).items():
        for place, process in enumerate(of_part):
            if part == "database" and place:
                continue
            kept = process.memory_full_info()
            name = part if not place else f"{part}, child {place}"
            found[name] = (kept.rss / 2**20, getattr(kept, "pss", 0) / 2**20)
    supervisor = psutil.Process(box.pid).memory_full_info()
    return found | {"supervisor": (supervisor.rss / 2**20, getattr(supervisor, "pss", 0) / 2**20)}
