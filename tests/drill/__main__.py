"""`make drill`: quotes under load while every part in turn is killed, cut off, starved of disk or fed nonsense.

    python -m tests.drill [QUOTES]

Loopback only, in a folder of its own, which is removed at the end; ends by itself. Exit code 0 when every promise was kept.
"""

from __future__ import annotations

import argparse
import shutil
import signal
import sys
import tempfile
import textwrap
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import zip_longest
from pathlib import Path

from services.chassis.one_box import erase
from tests.drill.asked import distinct_requests
from tests.drill.box import Box, bring_up, small_disk
from tests.drill.faults import FAULTS, Fault, NotHere
from tests.drill.load import Callers, Request, Sent
from tests.drill.verdict import Line, judge, outcomes, second_attempts, wait_until_all_is_done

MOST_ROUNDS = 4
QUOTES_A_FAULT = 12
"""So many at least, before the faults are gone through once more."""
STRIKE_AFTER_S = 0.3
ENDS_WITHIN_S = 420.0
"""Longer than a message that a dead worker had taken lies unacknowledged, and than the second look at a quote is away."""


@dataclass
class Struck:
    """One fault, what happened, and what the callers saw meanwhile."""

    fault: Fault
    happened: str
    sent: Sent
    was_borne: bool = True


def main() -> int:
    """Run the drill and print what came of it; the exit code."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("quotes", nargs="?", type=int, default=200, help="how many quotes are asked for (200)")
    arguments.add_argument("--keep", action="store_true", help="keep the logs")
    given = arguments.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="blankwright-drill-", dir="/var/tmp"))
    folder.chmod(0o755)
    disk = small_disk(folder, size_mb=600 + given.quotes // 2)
    began = time.monotonic()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("told to stop"))
    try:
        box = bring_up(folder, disk=disk, settings=bounds_for(given.quotes))
        try:
            well = drill(box, quotes=given.quotes)
        finally:
            box.take_down()
            if given.keep:
                kept = Path(tempfile.mkdtemp(prefix="blankwright-drill-logs-"))
                shutil.copytree(folder / "logs", kept, dirs_exist_ok=True)
                print(f"logs are in {kept}")
    finally:
        if disk is not None:
            disk.release()
        erase(folder)
    print(f"{time.monotonic() - began:.0f} s in all")
    return 0 if well else 1


def bounds_for(quotes: int) -> dict[str, str]:
    """Settings under which one key may have all of them unfinished: what is over the bound of a key is refused, and nothing here is to be."""
    most = str(max(20_000, 2 * quotes))
    return {"BLANKWRIGHT_MOST_UNFINISHED": most, "BLANKWRIGHT_MOST_UNFINISHED_OF_KEY": most}


def drill(box: Box, *, quotes: int) -> bool:
    """A quiet run, the faults, a quiet run again, the verdict; whether every promise was kept."""
    bodies = distinct_requests()
    expected = quiet_run(box, bodies, name="before")
    statuses = Counter(status for status, _ in expected.values())
    said = ", ".join(f"{count} {status}" for status, count in statuses.items())
    print(f"{len(bodies)} distinct requests, quietly: {said}", flush=True)
    asked = [Request(f"drill-{place}", place % len(bodies), bodies[place % len(bodies)]) for place in range(quotes)]
    began = time.monotonic()
    struck = strike_all(box, asked)
    print(f"{quotes} quotes under {len(struck)} faults in {time.monotonic() - began:.0f} s; waiting for the last", flush=True)
    waited_s = wait_until_all_is_done(box, within_s=ENDS_WITHIN_S)
    expected |= quiet_run(box, bodies, name="after")
    numbers = {key: number for one in struck for key, number in one.sent.numbers.items()}
    lines = judge(box, asked, numbers, expected, quiet=2 * len(bodies))
    print_faults(box, struck)
    print_verdict(lines, waited_s)
    refused = [said for one in struck for said in one.sent.refused]
    for said in refused:
        print(f"  not accepted: {said}")
    return all(line.well for line in lines) and all(one.was_borne for one in struck) and not refused


def quiet_run(box: Box, bodies: Sequence[bytes], *, name: str) -> dict[tuple[int, date], tuple[str, str]]:
    """Status and digest of each distinct request when nothing is amiss."""
    sent, threads = Callers(box.url, box.keys["sales"]).begin(
        [Request(f"quiet-{name}-{kind}", kind, body) for kind, body in enumerate(bodies)]
    )
    for thread in threads:
        thread.join()
    wait_until_all_is_done(box, within_s=ENDS_WITHIN_S)
    found = outcomes(box)
    kinds = {number: int(key.rsplit("-", 1)[1]) for key, number in sent.numbers.items()}
    return {(kind, found[number][2]): found[number][:2] for number, kind in kinds.items() if number in found}


def strike_all(box: Box, asked: Sequence[Request]) -> list[Struck]:
    """Each fault in turn, while its share of the requests is sent."""
    rounds = max(1, min(MOST_ROUNDS, len(asked) // (len(FAULTS) * QUOTES_A_FAULT)))
    faults = [fault for _ in range(rounds) for fault in FAULTS]
    callers = Callers(box.url, box.keys["sales"])
    struck = []
    for place, fault in enumerate(faults):
        share = asked[place * len(asked) // len(faults) : (place + 1) * len(asked) // len(faults)]
        sent, threads = callers.begin(share)
        time.sleep(STRIKE_AFTER_S)
        one = Struck(fault, "", sent)
        try:
            one.happened = fault.strike(box)
        except NotHere as fault_of_machine:
            one.happened = f"not done: {fault_of_machine}"
        except TimeoutError as too_long:
            one.happened, one.was_borne = f"NOT BACK: {too_long}", False
        for thread in threads:
            thread.join()
        print(f"  {fault.name}: {one.happened}", flush=True)
        struck.append(one)
    return struck


def print_faults(box: Box, struck: Sequence[Struck]) -> None:
    """Fault, what happened, what is promised."""
    print(f"\n{'fault':<26}{'what happened':<64}promised")
    for one in struck:
        again, longest_s = second_attempts(box, list(one.sent.numbers.values()))
        tries = ", ".join(f"{count} x {what}" for what, count in one.sent.tries.items()) or "none"
        seen = f"{one.happened}. {len(one.sent.numbers)} quotes sent, {again} started again, longest {longest_s:.1f} s; calls repeated: {tries}"
        columns = [textwrap.wrap(one.fault.name, 24), textwrap.wrap(seen, 62), textwrap.wrap(one.fault.promise, 44)]
        for name, happened, promised in zip_longest(*columns, fillvalue=""):
            print(f"{name:<26}{happened:<64}{promised}")


def print_verdict(lines: Sequence[Line], waited_s: float) -> None:
    """What must hold, and what was found."""
    print(f"\nthe last quote and the last message {waited_s:.0f} s after the last fault")
    for line in lines:
        print(f"{'well' if line.well else 'NOT '}  {line.what:<46}{line.found}")


if __name__ == "__main__":
    sys.exit(main())
