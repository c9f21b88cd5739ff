"""The fleet of compose.yaml, brought up for real with throw-away secrets, tried, looked after by the runbook's scripts, moved, taken down.

    python -m tests.compose           (`make compose-test`)

Needs `docker` with compose and an engine that answers. `BLANKWRIGHT_PORT` chooses the port of the front (default 8751); with
`COMPOSE_TLS=1` there is TLS between the parts. `COMPOSE_STEPS=scales,rotates` takes these steps of the runbook only, `COMPOSE_STEPS=none` none.
Exit code 1 when something is not as promised.
"""

from __future__ import annotations

import os
import secrets
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import httpx

from tests.compose import operating, standing
from tests.compose.fleet import Fleet, Promise, say


def main() -> int:
    """Bring it up, try every promise and every step of the runbook, take it down; the exit code."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that it is taken down then, too
    with tempfile.TemporaryDirectory(prefix="blankwright-compose-") as folder:
        project = f"blankwright-test-{secrets.token_hex(3)}"
        image = f"{project}:first"
        fleet = Fleet(project, Path(folder) / "first.env")
        try:
            _write_settings(fleet, image)
            standing.refuses_without_secrets(fleet)
            standing.comes_up(fleet, image)
            key = fleet.script("keys", "add", "admin", "--label", "compose test")
            _stands(fleet, key)
            for step in _chosen_steps():
                fleet = step(fleet, key) or fleet
                standing.was_denied_nothing(fleet)
        except (Promise, AssertionError, httpx.HTTPError) as broken:
            say(f"NOT AS PROMISED: {broken}")
            print(fleet.compose("logs", "--tail", "15", check=False).stdout[-6000:], file=sys.stderr)
            return 1
        finally:
            for one in {project, fleet.project}:
                Fleet(one, fleet.env_file).down()
            for tag in ("first", "second"):
                subprocess.run(["docker", "image", "rm", "-f", f"{project}:{tag}"], capture_output=True, check=False)
            say("taken down again, with its volumes")
    return 0


def _write_settings(fleet: Fleet, image: str) -> None:
    folder = fleet.env_file.parent
    fleet.env_file.touch(mode=0o600)
    given = {
        "BLANKWRIGHT_IMAGE": image,
        "BLANKWRIGHT_PORT": os.environ.get("BLANKWRIGHT_PORT", "8751"),
        "BLANKWRIGHT_BACKUPS": f"{folder}/nightly",
        "BLANKWRIGHT_LOGS": f"{folder}/logs",
        "BLANKWRIGHT_TLS_FOLDER": f"{folder}/tls" if os.environ.get("COMPOSE_TLS") else "",
    }
    given |= {name: value for name, value in os.environ.items() if name.endswith("_IMAGE") and name != "BLANKWRIGHT_IMAGE"}
    fleet.env_file.write_text("".join(f"{name}={value}\n" for name, value in given.items() if value), encoding="utf-8")
    fleet.script("make-env", *(["--tls", "localhost"] if os.environ.get("COMPOSE_TLS") else []))


def _stands(fleet: Fleet, key: str) -> None:
    standing.is_one_suite(fleet, key)
    standing.has_pages(fleet, key)
    standing.was_denied_nothing(fleet)
    standing.is_confined(fleet)
    standing.may_no_more_than_it_needs(fleet)
    standing.forget_denials(fleet)
    standing.keeps_its_door(fleet)


def _chosen_steps() -> list[Callable[[Fleet, str], Fleet | None]]:
    steps: tuple[Callable[[Fleet, str], Fleet | None], ...] = (
        operating.scales,
        operating.upgrades,
        operating.goes_back_when_a_release_is_ill,
        operating.renews_certificates,
        operating.rotates,
        operating.backs_up_and_restores,
        operating.moves,
    )
    chosen = os.environ.get("COMPOSE_STEPS")
    return [step for step in steps if chosen is None or step.__name__ in chosen.split(",")]


if __name__ == "__main__":
    sys.exit(main())
