"""`make client-check`: clients that two public generators make of the description, and what a caller does with them.

    python -m tests.clients [--only python|typescript]

A box of its own is started in a temporary folder. openapi-python-client makes a package of its description, openapi-typescript the types that
openapi-fetch works with, which the compiler of TypeScript looks over. Neither may warn of anything or leave an operation out; with each a quote
is asked for, decided on, its estimate read, and a rate table put. The generators come from the registries of Python and of npm, by the locks in
this folder, and are thrown away again: it needs a network, `uv` (of the developers' environment), and `node` 20 or later with `npm`.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import httpx

from services.chassis.one_box import Address, erase, start, stop

HERE = Path(__file__).resolve().parent
DEMO = HERE.parents[1] / "services" / "desk" / "demo" / "lake_ice_lidar.json"
METHODS = ("get", "put", "post", "delete", "patch")


class NotAsPromised(Exception):
    """What a generator or a client said where it should have said nothing."""


def run(*command: str | Path, within: Path, **environment: str) -> str:
    """What a command prints; raises `NotAsPromised` where it fails."""
    done = subprocess.run(
        [str(word) for word in command], cwd=within, env=os.environ | environment, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )  # fmt: skip
    if done.returncode != 0:
        raise NotAsPromised(f"{' '.join(str(word) for word in command)}\n{done.stdout[-6000:]}{done.stderr[-6000:]}")
    return done.stdout + done.stderr


def missing(wanted: str) -> list[str]:
    """The programs that are needed and not there."""
    needed = {"python": ("uv",), "typescript": ("node", "npm"), "both": ("uv", "node", "npm")}[wanted]
    return [program for program in needed if shutil.which(program, path=_path()) is None]


def python(folder: Path, box: Address, operations: int) -> None:
    """A package by openapi-python-client, every module of it imported."""
    folder.mkdir()
    run("uv", "venv", "-q", "--python", sys.executable, "made", within=folder, PATH=_path())
    bin_of_made = folder / "made" / "bin"
    lock = HERE / "openapi-python-client.lock"
    run(
        "uv",
        "pip",
        "install",
        "-q",
        "--python",
        bin_of_made / "python",
        "--require-hashes",
        "-r",
        lock,
        within=folder,
        PATH=_path(),
    )
    (folder / "openapi.json").write_bytes(httpx.get(f"{box.url}/openapi.json", timeout=60).content)
    with_tools = f"{bin_of_made}{os.pathsep}{_path()}"
    said = run(
        bin_of_made / "openapi-python-client", "generate", "--path", "openapi.json", "--output-path", "client", "--fail-on-warning",
        "--config", HERE / "openapi-python-client.yaml", within=folder, PATH=with_tools,
    )  # fmt: skip
    if "arning" in said or "Unable" in said:
        raise NotAsPromised(said)
    package = folder / "client" / "blankwright_client"
    made = [file for file in package.glob("api/*/*.py") if file.stem != "__init__"]
    if len(made) != operations:
        raise NotAsPromised(f"{operations} operations are described, and the client has {len(made)}")
    modules = [
        ".".join(file.relative_to(package.parent).with_suffix("").parts)
        for file in package.rglob("*.py")
        if file.stem != "__init__"
    ]
    all_of_them = "import importlib, sys; [importlib.import_module(name) for name in sys.stdin.read().split()]"
    subprocess.run([bin_of_made / "python", "-c", all_of_them], cwd=package.parent, input="\n".join(modules), text=True, check=True)
    print(f"python: {len(made)} operations, {len(modules)} modules, no warning")
    print(
        run(
            bin_of_made / "python",
            HERE / "quote_with_generated.py",
            *_given(folder, box),
            within=folder,
            PYTHONPATH=str(package.parent),
        ),
        end="",
    )


def typescript(folder: Path, box: Address, operations: int) -> None:
    """Types by openapi-typescript, and a program on them that the compiler takes."""
    shutil.copytree(HERE / "typescript", folder)
    run("npm", "ci", "--no-audit", "--no-fund", "--ignore-scripts", within=folder)
    tools = folder / "node_modules" / ".bin"
    said = run(
        tools / "openapi-typescript", f"{box.url}/openapi.json", "--default-non-nullable=false", "-o", "schema.d.ts", within=folder
    )
    if "arn" in said:
        raise NotAsPromised(said)
    made = (folder / "schema.d.ts").read_text(encoding="utf-8").partition("export interface operations {")[2]
    names = [line for line in made.splitlines() if line.startswith("    ") and line[4:5].isalpha() and line.endswith(": {")]
    if len(names) != operations:
        raise NotAsPromised(f"{operations} operations are described, and the types have {len(names)}")
    run(tools / "tsc", "-p", ".", within=folder)
    print(f"typescript: {len(names)} operations, no warning")
    print(run("node", "client.js", *_given(folder, box), within=folder), end="")


def _path() -> str:
    return f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"


def _given(folder: Path, box: Address) -> tuple[str, Path, Path]:
    """What a client is told: where the box answers, a key for each role, and a request."""
    keys, request = folder / "keys.json", folder / "request.json"
    keys.touch(mode=0o600)
    keys.write_text(json.dumps(box.keys), encoding="utf-8")
    shutil.copy(DEMO, request)
    return box.url, keys, request


def main() -> int:
    """Generate, look over and use each client; the exit code."""
    asked = argparse.ArgumentParser(
        prog="python -m tests.clients", description="Clients that public generators make, and their use."
    )
    asked.add_argument("--only", choices=("python", "typescript"), default="both", help="one of the two")
    wanted = asked.parse_args().only
    if lacking := missing(wanted):
        print(
            f"needed and not there: {', '.join(lacking)}. It takes uv, node 20 or later, npm, and a network to their registries.",
            file=sys.stderr,
        )
        return 2
    ways: dict[str, Callable[[Path, Address, int], None]] = {"python": python, "typescript": typescript}
    with tempfile.TemporaryDirectory(prefix="blankwright-clients-") as name:
        folder = Path(name)
        box = start(folder / "box")
        try:
            paths = httpx.get(f"{box.url}/openapi.json", timeout=60).json()["paths"]
            operations = sum(1 for methods in paths.values() for method in methods if method in METHODS)
            for kind, way in ways.items():
                if wanted in (kind, "both"):
                    way(folder / kind, box, operations)
        except NotAsPromised as broken:
            print(f"NOT AS PROMISED: {broken}", file=sys.stderr)
            return 1
        finally:
            stop(folder / "box")
            erase(folder / "box")
    return 0


if __name__ == "__main__":
    sys.exit(main())
