"""The fleet of compose.yaml, brought up for real with throw-away secrets, tried, and taken down again.

    python -m tests.compose           (`make compose-test`)

Needs `docker` with compose and an engine that answers. `BLANKWRIGHT_PORT` chooses the port of the front (default 8751), and
`COMPOSE_FILES` further files to lay over compose.yaml, such as deploy/compose.tls.yaml. Exit code 1 when something is not as promised.
"""

from __future__ import annotations

import json
import os
import secrets
import signal
import ssl
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from services.chassis.keys import new_key
from tests.system.asking import ask, finished

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "services" / "desk" / "demo" / "lake_ice_lidar.json"
IMAGE = "blankwright:compose-test"
HEALTHY_WITHIN_S = 300
BEGAN = time.monotonic()


class Promise(Exception):
    """Something is not as compose.yaml promises."""


@dataclass(frozen=True)
class Fleet:
    """One compose project of this test alone: its name, the file with its secrets, and the files that describe it."""

    project: str
    env_file: Path
    files: tuple[Path, ...]
    port: int

    @property
    def authority(self) -> Path | None:
        """The certificate that vouches for the front, `None` where it speaks without TLS."""
        found = self.env_file.parent / "tls" / "ca.crt"
        return found if found.exists() else None

    def compose(self, *command: str, env_file: Path | None = None, check: bool = True) -> subprocess.CompletedProcess[str]:
        """Run `docker compose` on this project; what a person's shell has set for another fleet is not passed on."""
        environment = {name: value for name, value in os.environ.items() if not name.startswith("BLANKWRIGHT_")}
        environment |= {"BLANKWRIGHT_IMAGE": IMAGE, "BLANKWRIGHT_PORT": str(self.port)}
        environment |= {
            name: value for name, value in os.environ.items() if name.endswith("_IMAGE") and name != "BLANKWRIGHT_IMAGE"
        }
        files = [part for path in self.files for part in ("-f", str(path))]
        done = subprocess.run(
            ["docker", "compose", "-p", self.project, "--project-directory", str(ROOT), *files,
             "--env-file", str(env_file or self.env_file), *command],
            env=environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if check and done.returncode != 0:
            raise Promise(f"docker compose {' '.join(command)}: {(done.stderr or done.stdout).strip()[-2000:]}")
        return done

    def inside(self, service: str, *command: str) -> str:
        """What a command prints inside a running container."""
        return self.compose("exec", "-T", service, *command).stdout.strip()

    def containers(self) -> list[dict[str, Any]]:
        """Every container of the project, as compose tells of it."""
        return [json.loads(line) for line in self.compose("ps", "-a", "--format", "json").stdout.splitlines()]


def main() -> int:
    """Bring it up, try every promise, take it down; the exit code."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that it is taken down then, too
    extra = tuple(ROOT / name for name in os.environ.get("COMPOSE_FILES", "").split())
    with tempfile.TemporaryDirectory(prefix="blankwright-compose-") as folder:
        env_file = Path(folder) / ".env"
        _write_secrets(env_file, folder=Path(folder))
        project = f"blankwright-test-{secrets.token_hex(3)}"
        fleet = Fleet(project, env_file, (ROOT / "compose.yaml", *extra), int(os.environ.get("BLANKWRIGHT_PORT", "8751")))
        try:
            _refuses_without_secrets(fleet)
            _comes_up(fleet)
            _is_confined(fleet)
            _scales(fleet)
            _quotes(fleet)
            _keeps_its_door(fleet)
        except (Promise, AssertionError, httpx.HTTPError) as broken:
            _say(f"NOT AS PROMISED: {broken}")
            print(fleet.compose("logs", "--tail", "15", check=False).stdout[-6000:], file=sys.stderr)
            return 1
        finally:
            fleet.compose("down", "--volumes", "--remove-orphans", "--timeout", "5", check=False)
            subprocess.run(["docker", "image", "rm", "-f", IMAGE], capture_output=True, check=False)
            _say("taken down again, with its volumes")
    return 0


def _write_secrets(path: Path, *, folder: Path) -> None:
    path.touch(mode=0o600)
    values = {
        "BLANKWRIGHT_DATABASE_PASSWORD": secrets.token_urlsafe(24),
        "BLANKWRIGHT_REDIS_PASSWORD": secrets.token_urlsafe(24),
        "BLANKWRIGHT_SERVICE_KEY": new_key()[1],
        "BLANKWRIGHT_ADMIN_KEY": new_key()[1],
    }
    if "compose.tls.yaml" in os.environ.get("COMPOSE_FILES", ""):
        subprocess.run([str(ROOT / "deploy" / "make-certificates.sh"), str(folder / "tls")], check=True, capture_output=True)
        values["BLANKWRIGHT_TLS_FOLDER"] = str(folder / "tls")
    path.write_text("".join(f"{name}={value}\n" for name, value in values.items()), encoding="utf-8")


def _refuses_without_secrets(fleet: Fleet) -> None:
    lines = fleet.env_file.read_text(encoding="utf-8").splitlines()
    for left_out in lines[:4]:
        partial = fleet.env_file.with_name("partial.env")
        partial.write_text("\n".join(line for line in lines if line != left_out), encoding="utf-8")
        done = fleet.compose("config", "--quiet", env_file=partial, check=False)
        name = left_out.split("=")[0]
        _must(done.returncode != 0 and name in done.stderr, f"compose starts without {name}")
    _say("refuses to start without any one of its four secrets")


def _comes_up(fleet: Fleet) -> None:
    began = time.monotonic()
    fleet.compose("build")
    size = subprocess.run(["docker", "image", "inspect", "-f", "{{.Size}}", IMAGE], capture_output=True, text=True, check=True)
    _say(f"image built in {time.monotonic() - began:.0f} s: {int(size.stdout) / 1e6:.0f} MB with its base")
    began = time.monotonic()
    fleet.compose("up", "-d", "--wait", "--wait-timeout", str(HEALTHY_WITHIN_S))
    _say(f"healthy {time.monotonic() - began:.0f} s after `up`: {_tally(fleet)}")


def _tally(fleet: Fleet) -> str:
    running = [one for one in fleet.containers() if one["State"] == "running"]
    ill = [one["Name"] for one in running if one["Health"] != "healthy"]
    _must(not ill, f"not healthy: {', '.join(ill)}")
    ended = [one for one in fleet.containers() if one["State"] != "running"]
    _must([(one["Service"], one["ExitCode"]) for one in ended] == [("migrate", 0)], f"ended: {ended}")
    return f"{len(running)} containers, all with a health check; the migration ended well"


def _is_confined(fleet: Fleet) -> None:
    probe = "id -u; grep -c '^CapEff:\t0*$' /proc/self/status; touch /probe 2>/dev/null && echo writable || echo read-only"
    services = sorted({one["Service"] for one in fleet.containers() if one["State"] == "running"})
    for service in services:
        user, no_capability, root = fleet.inside(service, "sh", "-c", probe).split()
        _must(user != "0", f"{service} is root")
        _must(no_capability == "1", f"{service} has capabilities")
        _must(root == "read-only", f"{service} can write to its root file system")
    _say(f"not root, no capability, read-only root file system: {len(services)} services")


def _scales(fleet: Fleet) -> None:
    fleet.compose("up", "-d", "--wait", "--wait-timeout", str(HEALTHY_WITHIN_S), "--no-recreate", "--scale", "glass-worker=3")
    workers = [one for one in fleet.containers() if one["Service"] == "glass-worker"]
    _must(len(workers) == 3, f"{len(workers)} glass workers")
    _say(f"glass-worker=3: {_tally(fleet)}")


def _quotes(fleet: Fleet) -> None:
    key = fleet.inside("quoting-api", "blankwright", "keys", "add", "sales", "--label", "compose test")
    with _client(fleet, Authorization=f"Bearer {key}") as sales:
        began = time.monotonic()
        quote = finished(sales, ask(sales, json.loads(DEMO.read_text(encoding="utf-8"))), within_s=60)
        _must(quote["status"] == "ready", f"the demo lens is {quote['status']}: {quote.get('problem')}")
        prices = ", ".join(f"{one['quantity']} at {one['unit_price']}" for one in quote["breaks"])
        _say(f"{quote['number']} is ready {time.monotonic() - began:.1f} s after it was asked for: {prices} {quote['currency']}")
        for path in (
            "/v1/rates/revisions",
            "/v1/blanks/plan",
            "/v1/operations/plan",
            "/v1/prescriptions/check",
            "/v1/rates/impact/x",
        ):
            _must(sales.get(path).status_code in (200, 403, 405), f"{path} is not reached through the front")


def _keeps_its_door(fleet: Fleet) -> None:
    with _client(fleet) as stranger:
        seen: Mapping[str, httpx.Response] = {
            "a stranger": stranger.get("/v1/quotes"),
            "a body of 2 MiB": stranger.post("/v1/quotes", content=b" " * 2**21),
            "/metrics": stranger.get("/metrics"),
        }
        for (what, answer), status in zip(seen.items(), (401, 413, 404), strict=True):
            _must(answer.status_code == status, f"{what} got {answer.status_code}, not {status}")
            _must(answer.headers["content-type"] == "application/problem+json", f"{what} got no problem document")
        page = stranger.get("/docs")
        wanted = ["content-security-policy", "x-content-type-options", "referrer-policy"]
        for header in wanted + (["strict-transport-security"] if fleet.authority else []):
            _must(header in page.headers, f"/docs has no {header}")
        _must(all("uvicorn" not in answer.headers.get("server", "") for answer in seen.values()), "the server names itself")
    open_to_all = [one["Service"] for one in fleet.containers() if any(port["PublishedPort"] for port in one["Publishers"] or ())]
    _must(open_to_all == ["front"], f"reached from outside: {open_to_all}")
    _say("the front alone is reached from outside; 401, 413 and 404 are problem documents; headers are there")


def _client(fleet: Fleet, **headers: str) -> httpx.Client:
    scheme = "https" if fleet.authority else "http"
    verify = ssl.create_default_context(cafile=fleet.authority)
    return httpx.Client(base_url=f"{scheme}://127.0.0.1:{fleet.port}", headers=headers, timeout=30, verify=verify)


def _say(line: str) -> None:
    print(f"{time.monotonic() - BEGAN:6.1f} s  {line}", flush=True)


def _must(true: bool, otherwise: str) -> None:
    if not true:
        raise Promise(otherwise)


if __name__ == "__main__":
    sys.exit(main())
