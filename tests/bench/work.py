"""How much work a quote is, measured on one processor, beside the estimate at intake (`quoting/service/work.py`).

Each lens is quoted in a process of its own, so that nothing is remembered from the one before. What a machine is faster or slower by
is the same for all; what differs between the lenses is the estimate's own fault.
"""

from __future__ import annotations

import json
import os
import resource
import time
from collections.abc import Callable, Sequence
from typing import Any

from services.quoting.service.work import work_of
from services.rates.domain.seed import seed_rates
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.bench.lenses import chain_of_lenses
from tests.chain import quote_of

SIZES = ((1, 1), (1, 6), (3, 3), (3, 12), (8, 3), (8, 12), (14, 6), (20, 3))
KINDS: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {
    "spheres": lambda element: element,
    "aspheres": lambda element: element | {"front": element["front"] | {"asphere": {"4": 1e-7}}},
    "close tolerances": lambda element: element | {face: element[face] | {"form": "3/1(0.2)"} for face in ("front", "back")},
    "uncoated": lambda element: element | {face: element[face] | {"coating": None} for face in ("front", "back")},
}
"""What an element may be, besides one of many."""


def print_table() -> None:
    """Measured and estimated seconds, their ratio, and the memory that the process had at most."""
    rates = seed_rates()
    print(f"{'lens':<34}{'measured s':>12}{'estimated s':>13}{'ratio':>8}{'memory MB':>11}")
    for elements, quantities in SIZES:
        _print_row(f"{elements} x {quantities}, spheres", request_for(elements, quantities), rates)
    for kind in list(KINDS)[1:]:
        _print_row(f"8 x 3, {kind}", request_for(8, 3, kind), rates)


def request_for(elements: int, quantities: int, kind: str = "spheres") -> QuoteRequest:
    """A lens of so many elements of a kind, in so many quantities up to 100 000."""
    lens = json.loads(chain_of_lenses(elements).model_dump_json())
    lens["elements"] = [KINDS[kind](element) for element in lens["elements"]]
    asked = sorted({round(10 ** (5 * place / 20)) for place in range(1, 21)})[:quantities]
    return QuoteRequest.model_validate({"prescription": lens, "quantities": asked})


def measured(request: QuoteRequest, rates: Rates) -> tuple[float, float]:
    """Seconds of processor time that all stages take, and megabytes at most, in a process of their own."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        began = time.process_time()
        quote_of(request, rates)
        taken = (time.process_time() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        os.write(write, json.dumps(taken).encode())
        os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as said:
        found: Sequence[float] = json.loads(said.read())
    os.waitpid(child, 0)
    return found[0], found[1]


def _print_row(name: str, request: QuoteRequest, rates: Rates) -> None:
    took_s, memory_mb = measured(request, rates)
    estimated = work_of(request)
    print(f"{name:<34}{took_s:>12.2f}{estimated:>13.2f}{took_s / estimated:>8.2f}{memory_mb:>11.0f}")
