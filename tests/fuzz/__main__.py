"""`make fuzz`: the running suite against its own description, with requests that nobody would send.

    python -m tests.fuzz [--examples N] [--seed N] [--thorough] [--role ROLE …]

A box of its own is started, and something is put in it to be asked for. Then schemathesis draws requests from the OpenAPI
document, right ones and wrong ones, and holds every answer against it with all its checks: no server error, no answer that
is not documented, nothing wrong that is taken, no address open without a key. The administrator, who may do everything, goes through
the border cases of every field and from answer to answer; every role then tries every address with numbers that there are.
The same seed draws the same requests.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from services.chassis.one_box import Address, erase, start, stop

ROLES = ("sales", "erp", "engineer", "admin")
DEMO = Path(__file__).resolve().parents[2] / "services" / "desk" / "demo" / "lake_ice_lidar.json"

ENDLESS = "/v1/estimates/events"
"""A stream of a quarter of an hour, for which no request of a fuzzer has the time."""

NOT_DRAWN = "/v1/rates/drafts/from-archive"
"""Takes a zip or a spreadsheet, which schemathesis cannot draw; tests/unit/rates damages real ones."""

CHECKS = """
# What the schema cannot say is said by a problem document: a lens that cannot be made, a number that is not there,
# a role that may not, a thing that stands otherwise by now.
[checks]
positive_data_acceptance.expected-statuses = ["2xx", "401", "403", "404", "406", "409", "412", "413", "415", "422", "428"]
negative_data_rejection.expected-statuses = ["400", "401", "403", "404", "405", "406", "409", "412", "413", "415", "422", "428", "431"]
"""


@dataclass(frozen=True)
class Pass:
    """One way through all operations: who goes, and in which manner."""

    name: str
    role: str
    phases: str
    with_known_numbers: bool


@dataclass(frozen=True)
class Found:
    """What one pass came to."""

    operations: int
    cases: int
    failures: list[str]
    seconds: float


def passes(roles: Sequence[str], *, thorough: bool) -> list[Pass]:
    """The border cases for the administrator (for every role when it is to be thorough), then known numbers for each role."""
    at_borders = roles if thorough else [role for role in roles if role == "admin"]
    return [
        *(Pass(f"{role}, border cases", role, "coverage,stateful", False) for role in at_borders),
        *(Pass(f"{role}, numbers that there are", role, "fuzzing", True) for role in roles),
    ]


def furnish(box: Address) -> dict[str, dict[str, str | int]]:
    """Put a quote of two revisions and a batch into the box; the parameters by the path they stand in."""
    headers = {"Authorization": f"Bearer {box.keys['sales']}", "Prefer": "wait=60"}
    request = json.loads(DEMO.read_text(encoding="utf-8"))
    with httpx.Client(base_url=box.url, headers=headers, timeout=90) as sales:
        sales.get("/openapi.json").raise_for_status()  # made when it is first asked for, which schemathesis may not wait for
        quote = sales.post("/v1/quotes", json=request).raise_for_status().json()["number"]
        sales.post(f"/v1/quotes/{quote}/requote", json={"changes": {"quantities": [5]}}).raise_for_status()
        batch = sales.post("/v1/quote-batches", json={"requests": [request]}).raise_for_status().json()["number"]
    return {
        "^/v1/quotes/": {"path.number": quote},
        "^/v1/quote-batches/": {"path.number": batch},
        "^/v1/estimates/": {"path.number": "E" + quote.removeprefix("Q")},
        "^/v1/rates/revisions/": {"path.number": 1},
        "^/v1/rates/tables/": {"path.table": "work_centres"},
    }


def go(box: Address, chosen: Pass, known: dict[str, dict[str, str | int]], *, examples: int, seed: int, folder: Path) -> Found:
    """One pass; what schemathesis said of it lies in `folder` under its name."""
    name = chosen.name.replace(", ", "-").replace(" ", "-")
    config, report = folder / f"{name}.toml", folder / f"{name}.json"
    config.write_text(CHECKS + (_told(known) if chosen.with_known_numbers else ""), encoding="utf-8")
    began = time.monotonic()
    with (folder / f"{name}.txt").open("wb") as out:
        subprocess.run(
            [sys.executable, "-m", "schemathesis.cli", "--config-file", str(config), "run", f"{box.url}/openapi.json",
             "-H", f"Authorization: Bearer {box.keys[chosen.role]}", "--checks", "all", "--phases", chosen.phases,
             "--exclude-path", ENDLESS,
             "--max-examples", str(examples), "--seed", str(seed), "--continue-on-failure", "--no-shrink",
             "--generation-database", "none", "--suppress-health-check", "too_slow", "--exclude-path", NOT_DRAWN, "--report", "json", "--report-json-path", str(report)],
            cwd=folder, env=os.environ | {"NO_COLOR": "1"}, stdin=subprocess.DEVNULL, stdout=out, stderr=out, check=False,
        )  # fmt: skip
    return _read(report, time.monotonic() - began)


def _read(report: Path, seconds: float) -> Found:
    if not report.exists():
        return Found(0, 0, ["schemathesis ended without a report"], seconds)
    said: dict[str, Any] = json.loads(report.read_text(encoding="utf-8"))
    failures = [f"{one['title']}: {', '.join(one['operations'])}" for one in said["failures"]]
    failures += [f"not tried: {one}" for one in said["errors"]]
    if not said["complete"]:
        failures.append(f"stopped early: {said['stop_reason']}")
    if said["operations"] is None:
        return Found(0, 0, [*failures, "nothing was tried"], seconds)
    return Found(said["operations"]["tested"], said["test_cases"]["generated"], failures, seconds)


def _told(known: dict[str, dict[str, str | int]]) -> str:
    lines = []
    for pattern, parameters in known.items():
        pairs = ", ".join(f"{json.dumps(name)} = {json.dumps(value)}" for name, value in parameters.items())
        lines.append(f"[[operations]]\ninclude-path-regex = {json.dumps(pattern)}\nparameters = {{ {pairs} }}\n")
    return "\n".join(lines)


def broken(box: Address) -> int:
    """Lines of the log of the API that tell of something unforeseen."""
    lines = (box.folder / "logs" / "api.log").read_text(encoding="utf-8").splitlines()
    return sum(1 for line in lines if line.startswith("{") and json.loads(line)["level"] in ("error", "critical"))


def main() -> int:
    """Go through all passes and print what they came to; the exit code."""
    asked = argparse.ArgumentParser(prog="python -m tests.fuzz", description="The running suite against its own description.")
    asked.add_argument("--examples", type=int, default=6, help="requests drawn for each operation, beside the border cases (6)")
    asked.add_argument("--seed", type=int, default=1, help="the same seed draws the same requests (1)")
    asked.add_argument("--thorough", action="store_true", help="border cases for every role, not for the administrator alone")
    asked.add_argument("--role", action="append", choices=ROLES, help="this role only; may be given several times")
    asked.add_argument("--reports", type=Path, help="keep what schemathesis said in this folder")
    told = asked.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("ended before its time"))
    with tempfile.TemporaryDirectory(prefix="blankwright-fuzz-") as name:
        folder = Path(name)
        reports = told.reports or folder / "reports"
        reports.mkdir(parents=True, exist_ok=True)
        os.environ["BLANKWRIGHT_FREE_UNKNOWN_KEYS"] = "1000000"  # every operation is tried with a wrong key, all from one address
        box = start(folder / "box")
        try:
            known = furnish(box)
            print(f"not drawn: {NOT_DRAWN}")
            print(f"{'':<40}{'operations':>11}{'cases':>8}{'failures':>9}{'s':>6}")
            failed = 0
            for one in passes(told.role or ROLES, thorough=told.thorough):
                found = go(box, one, known, examples=told.examples, seed=told.seed, folder=reports.resolve())
                failed += len(found.failures)
                print(
                    f"{one.name:<40}{found.operations:>11}{found.cases:>8}{len(found.failures):>9}{found.seconds:>6.0f}", flush=True
                )
                for failure in found.failures:
                    print(f"    {failure}")
            errors = broken(box)
            print(f"lines in the log that tell of something unforeseen: {errors}")
        finally:
            stop(folder / "box")
            erase(folder / "box")
    return 1 if failed or errors else 0


if __name__ == "__main__":
    sys.exit(main())
