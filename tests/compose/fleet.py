"""One fleet of compose.yaml for a test: its settings, its commands, the scripts that look after it, and those who ask it all the time."""

from __future__ import annotations

import json
import os
import ssl
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

ROOT = Path(__file__).resolve().parents[2]
DEMO = json.loads((ROOT / "services" / "desk" / "demo" / "lake_ice_lidar.json").read_text(encoding="utf-8"))
HEALTHY_WITHIN_S = 300
BEGAN = time.monotonic()


class Promise(Exception):
    """Something is not as compose.yaml or a script promises."""


def say(line: str) -> None:
    """A line of what was found, with the time since the test began."""
    print(f"{time.monotonic() - BEGAN:6.1f} s  {line}", flush=True)


def must(true: bool, otherwise: str) -> None:
    """Raise `Promise` with the words `otherwise` unless it is true."""
    if not true:
        raise Promise(otherwise)


@dataclass(frozen=True)
class Fleet:
    """A compose project of this test alone and the file with its settings."""

    project: str
    env_file: Path

    def setting(self, name: str) -> str:
        """What the settings say, an empty text for nothing."""
        for line in self.env_file.read_text(encoding="utf-8").splitlines():
            if line.startswith(f"{name}="):
                return line.partition("=")[2]
        return ""

    def _environment(self) -> dict[str, str]:
        """As a person's shell has it, without what that has set for another fleet."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("BLANKWRIGHT_", "COMPOSE_"))}
        return kept | {"COMPOSE_PROJECT_NAME": self.project, "BLANKWRIGHT_ENV_FILE": str(self.env_file)}

    def compose(self, *command: str, env_file: Path | None = None, check: bool = True) -> subprocess.CompletedProcess[str]:
        """Run `docker compose` on this project."""
        done = subprocess.run(
            ["docker", "compose", "--env-file", str(env_file or self.env_file), *command],
            env=self._environment(), cwd=ROOT, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if check and done.returncode != 0:
            raise Promise(f"docker compose {' '.join(command)}: {(done.stderr or done.stdout).strip()[-2000:]}")
        return done

    def script(self, name: str, *given: str, **more: str) -> str:
        """Run a script of deploy/ as an operator would; what it printed."""
        done = subprocess.run(
            [str(ROOT / "deploy" / f"{name}.sh"), *given],
            env=self._environment() | more, cwd=ROOT, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode != 0:
            raise Promise(f"deploy/{name}.sh {' '.join(given)}: {(done.stderr + done.stdout).strip()[-2000:]}")
        return done.stdout.strip()

    def inside(self, service: str, *command: str) -> str:
        """What a command prints inside a running container."""
        return self.compose("exec", "-T", service, *command).stdout.strip()

    def containers(self) -> list[dict[str, Any]]:
        """Every container of the project, as compose tells of it."""
        return [json.loads(line) for line in self.compose("ps", "-a", "--format", "json").stdout.splitlines()]

    def tally(self) -> str:
        """How many run and are well. Raises `Promise` when one is not."""
        running = [one for one in self.containers() if one["State"] == "running"]
        ill = [one["Name"] for one in running if one["Health"] != "healthy"]
        must(not ill, f"not healthy: {', '.join(ill)}")
        ended = [one for one in self.containers() if one["State"] != "running"]
        must(all(one["Service"] == "migrate" and one["ExitCode"] == 0 for one in ended), f"ended: {ended}")
        return f"{len(running)} containers, all healthy"

    def client(self, **headers: str) -> httpx.Client:
        """Who asks through the front."""
        folder = self.setting("BLANKWRIGHT_TLS_FOLDER")
        verify = ssl.create_default_context(cafile=Path(folder) / "authority" / "ca.crt") if folder else True
        url = f"{'https' if folder else 'http'}://127.0.0.1:{self.setting('BLANKWRIGHT_PORT')}"
        return httpx.Client(base_url=url, headers=headers, timeout=30, verify=verify)

    def down(self) -> None:
        """Take it down with its volumes."""
        self.compose("down", "--volumes", "--remove-orphans", "--timeout", "5", check=False)


class Probes:
    """Asks every service through the front, each time on a new connection, and keeps what went wrong."""

    def __init__(self, fleet: Fleet, key: str, *, quotes: bool) -> None:
        self._fleet = fleet
        self._headers = {"Authorization": f"Bearer {key}"}
        self._quotes = quotes
        self._over = threading.Event()
        self.answers: Counter[str] = Counter()
        self.slowest_s = 0.0

    def run(self) -> None:
        """Ask on, one after another, until `stop`."""
        turn = 0
        while not self._over.is_set():
            turn += 1
            began = time.monotonic()
            try:
                with self._fleet.client(**self._headers) as caller:
                    answer = self._ask(caller, turn)
                word = (
                    "answered"
                    if answer.status_code < 400
                    else f"{answer.request.method} {answer.request.url.path} got {answer.status_code}"
                )
            except (httpx.HTTPError, OSError) as fault:
                word = f"probe {turn}: {type(fault).__name__}"
            self.answers[word] += 1
            self.slowest_s = max(self.slowest_s, time.monotonic() - began)
            self._over.wait(0.2)

    def _ask(self, caller: httpx.Client, turn: int) -> httpx.Response:
        if turn % 25 == 0 and self._quotes:
            return caller.post("/v1/quotes", json=DEMO | {"quantities": DEMO["quantities"][:1]})
        kind = turn % 5
        if kind == 0:
            return caller.post("/v1/prescriptions/check", json=DEMO["prescription"])
        return caller.get(("/v1/quotes?limit=1", "/v1/rates/revisions?limit=1", "/v1/load", "/openapi.json")[kind - 1])

    def stop(self) -> None:
        """Ask no more."""
        self._over.set()

    @property
    def refused(self) -> dict[str, int]:
        """What was not answered well, and how often."""
        return {word: count for word, count in self.answers.items() if word != "answered"}


@contextmanager
def asked_meanwhile(fleet: Fleet, key: str, *, quotes: bool = True) -> Iterator[Probes]:
    """Probes run while the block does; at its end, none may have been refused."""
    probes = Probes(fleet, key, quotes=quotes)
    thread = threading.Thread(target=probes.run)
    thread.start()
    try:
        yield probes
    finally:
        probes.stop()
        thread.join()
    must(not probes.refused, f"of {probes.answers.total()} probes were refused: {probes.refused}")
