"""Ten keys on one box, one of them hostile: what each honest one waits, with and without it.

    python -m tests.drill.shares [--seconds 60]

Nine keys ask for a small quote every few seconds and wait for it. Then the tenth asks for 3 000 quotes in batches and for as much work
as one quote may be, again and again, and the nine go on as before. Figures are for comparison within one run.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
from pathlib import Path

import httpx

from services.chassis.one_box import erase
from tests.drill.asked import distinct_requests
from tests.drill.box import Box, bring_up
from tests.drill.strangers import bomb, keys_of_desks, quoted_within_s

HONEST = 9
PERIOD_S = 6.0
BATCH = 1000
"""Requests in each of the three hostile batches."""


def main() -> int:
    """Bring a box up, measure twice, print the table; exit code 0 when nobody's p95 grew threefold."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--seconds", type=float, default=60.0, help="how long each of the two measurements lasts")
    seconds = arguments.parse_args().seconds
    folder = Path(tempfile.mkdtemp(prefix="blankwright-shares-", dir="/var/tmp"))
    folder.chmod(0o755)
    os.environ["DRILL_AS_ONE_BOX"] = "yes"
    box = bring_up(folder, disk=None, settings={})
    try:
        keys = keys_of_desks(box, HONEST)
        without = measured(box, keys, seconds)
        stop = threading.Event()
        hostile = threading.Thread(target=flood, args=(box, stop), daemon=True)
        hostile.start()
        time.sleep(10)
        beside = measured(box, keys, seconds)
        waiting = box.rows("select count(*) from quoting.quotes where status = 'accepted'")[0][0]
        stop.set()
    finally:
        box.take_down()
        erase(folder)
    return report(without, beside, waiting)


def measured(box: Box, keys: list[str], seconds: float) -> list[list[float]]:
    """Seconds that each quote of each key took."""
    took: list[list[float]] = [[] for _ in keys]
    bodies = distinct_requests()
    ends_at = time.monotonic() + seconds

    def work(place: int) -> None:
        headers = {"Authorization": f"Bearer {keys[place]}", "Content-Type": "application/json"}
        with httpx.Client(base_url=box.url, headers=headers, timeout=60) as client:
            time.sleep(PERIOD_S * place / HONEST)
            while time.monotonic() < ends_at:
                began = time.monotonic()
                took[place].append(quoted_within_s(client, bodies[(place + len(took[place])) % 6]))
                time.sleep(max(0.0, PERIOD_S - (time.monotonic() - began)))

    threads = [threading.Thread(target=work, args=(place,)) for place in range(len(keys))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return took


def flood(box: Box, stop: threading.Event) -> None:
    """All that one key may ask for."""
    headers = {"Authorization": f"Bearer {box.keys['admin']}", "Content-Type": "application/json"}
    bodies = distinct_requests()
    batch = b'{"requests": [' + b",".join(bodies[n % len(bodies)] for n in range(BATCH)) + b"]}"
    with httpx.Client(base_url=box.url, headers=headers, timeout=120) as client:
        for _ in range(3):
            client.post("/v1/quote-batches", content=batch)
        while not stop.is_set():
            client.post("/v1/quotes", content=bomb())
            stop.wait(2.0)


def report(without: list[list[float]], beside: list[list[float]], waiting: int) -> int:
    """Print the table; 1 when an honest key's p95 grew more than threefold."""
    print(f"{waiting} quotes of the hostile key still waited at the end\n")
    print(f"{'key':<8}{'quotes':>8}{'p50 s':>8}{'p95 s':>8}   {'quotes':>8}{'p50 s':>8}{'p95 s':>8}   ratio of p95")
    worst = 0.0
    for place, (alone, crowded) in enumerate(zip(without, beside, strict=True)):
        ratio = quantile(crowded, 0.95) / quantile(alone, 0.95)
        worst = max(worst, ratio)
        left, right = (f"{len(took):>8}{quantile(took, 0.5):>8.2f}{quantile(took, 0.95):>8.2f}" for took in (alone, crowded))
        print(f"{place + 1:<8}{left}   {right}   {ratio:.1f}")
    return int(worst > 3)


def quantile(values: list[float], share: float) -> float:
    """The value that so large a share of the others does not pass."""
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


if __name__ == "__main__":
    sys.exit(main())
