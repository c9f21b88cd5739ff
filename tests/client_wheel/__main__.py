"""`make client`: the client's wheel, installed alone and used.

    python -m tests.client_wheel [dist]

The wheel is built into `dist` and installed into an empty environment, which takes a network to the registry of Python for httpx and pydantic. What is
installed there is listed; every example runs there against a box of its own, fifty quotes at once among them; and the examples are checked by
`mypy --strict` against the installed package, as a caller's own program would be.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
import venv
import zipfile
from pathlib import Path

from services.chassis.one_box import erase, start, stop

ROOT = Path(__file__).resolve().parents[2]
ROLES = {"change_a_rate": "engineer", "read_the_feed": "erp"}
ALLOWED = {
    "annotated-types", "anyio", "blankwright-client", "certifi", "h11", "httpcore", "httpx", "idna", "pip", "pydantic", "pydantic-core", "setuptools",
    "typing-extensions", "typing-inspection",
}  # fmt: skip
"""What httpx and pydantic bring, and what an empty environment has."""


WRONG = """
from blankwright_client import AsyncClient, Client

def blocking(client: Client) -> None:
    client.quote(7)
    client.quotes(stat="open")
    client.quote("Q-1").prices
    for entry in client.follow_estimates():
        entry.number

async def asynchronous(client: AsyncClient) -> None:
    client.quote("Q-1").status
    for quote in client.every_quote():
        print(quote)
"""
WRONG_LINES = {5, 6, 7, 9, 12, 13}
"""Each of these lines is wrong, and an editor that knows the types says so."""


class NotAsPromised(Exception):
    """What was said where nothing should have been."""


def run(*command: str | Path, within: Path, **environment: str) -> str:
    """What a command prints; raises `NotAsPromised` where it fails."""
    done = subprocess.run(
        [str(word) for word in command], cwd=within, env={**os.environ, "PYTHONPATH": "", **environment}, stdin=subprocess.DEVNULL,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode != 0:
        raise NotAsPromised(f"{' '.join(str(word) for word in command)}\n{done.stdout[-4000:]}{done.stderr[-4000:]}")
    return done.stdout


def installed(wheel: Path, folder: Path) -> Path:
    """The Python of an environment that has the wheel and what it needs; what is there is listed."""
    venv.create(folder / "alone", with_pip=True)
    python = folder / "alone" / "bin" / "python"
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", wheel, within=folder)
    listed = run(python, "-m", "pip", "list", "--disable-pip-version-check", "--format=freeze", within=folder).split()
    print("installed: " + ", ".join(listed))
    unasked = {one.partition("==")[0].lower().replace("_", "-") for one in listed} - ALLOWED
    if unasked:
        raise NotAsPromised(f"the wheel brings {sorted(unasked)} along")
    run(python, "-m", "pip", "check", within=folder)
    return python


def import_ms(python: Path, code: str, folder: Path) -> float:
    """How long some imports take [ms], the least of five."""
    timed = f"import time; at = time.perf_counter(); {code}; print(1000 * (time.perf_counter() - at))"
    return min(float(run(python, "-c", timed, within=folder)) for _ in range(5))


def used(python: Path, wheel: Path, folder: Path) -> None:
    """Every example checked, and run against a box."""
    with zipfile.ZipFile(wheel) as files:
        examples = sorted(Path(name).stem for name in files.namelist() if "/examples/" in name and not name.endswith("__init__.py"))
        for name in examples:
            (folder / f"{name}.py").write_bytes(files.read(f"blankwright_client/examples/{name}.py"))
    paths = [folder / f"{name}.py" for name in examples]
    said = run(
        sys.executable,
        "-m",
        "mypy",
        "--strict",
        "--cache-dir",
        folder / "types",
        "--python-executable",
        python,
        *paths,
        within=folder,
    )
    print(f"mypy --strict: {said.strip()}")
    (folder / "wrong.py").write_text(WRONG, encoding="utf-8")
    command: list[str | Path] = [
        sys.executable,
        "-m",
        "mypy",
        "--cache-dir",
        folder / "types",
        "--python-executable",
        python,
        folder / "wrong.py",
    ]
    refused = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False).stdout
    if (named := {int(line) for line in re.findall(r"wrong\.py:(\d+): error", refused)}) != WRONG_LINES:
        raise NotAsPromised(f"of the wrong lines {sorted(WRONG_LINES)} mypy names {sorted(named)}\n{refused}")
    print(f"mypy on a program with {len(named)} wrong lines: each is named")
    box = start(folder / "box")
    try:
        for name in examples:
            began = time.monotonic()
            key = box.keys[ROLES.get(name, "sales")]
            lines = run(python, folder / f"{name}.py", within=folder, BLANKWRIGHT_URL=box.url, BLANKWRIGHT_KEY=key).splitlines()
            print(f"{name}: {len(lines)} lines in {time.monotonic() - began:.1f} s, the last: {lines[-1]}")
    finally:
        stop(folder / "box")
        erase(folder / "box")


def main() -> int:
    """Build, install, list, check and run; the exit code."""
    target = Path(sys.argv[1] if len(sys.argv) > 1 else "dist").resolve()
    try:
        print(run(sys.executable, ROOT / "deploy" / "client" / "build_wheel.py", target, within=ROOT), end="")
        (wheel,) = target.glob("blankwright_client-*.whl")
        with tempfile.TemporaryDirectory(prefix="blankwright-client-") as name:
            folder = Path(name)
            python = installed(wheel, folder)
            alone = import_ms(python, "import httpx, pydantic", folder)
            whole = import_ms(python, "from blankwright_client import Client", folder)
            print(f"import: {whole:.0f} ms, of which httpx and pydantic {alone:.0f} ms")
            used(python, wheel, folder)
    except NotAsPromised as broken:
        print(f"NOT AS PROMISED: {broken}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
