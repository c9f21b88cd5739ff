"""Would a test notice? Small changes are made to the rooms, one at a time, in a copy of the tree, and the tests of the room run.

`python -m tests.mutants` makes 80 of them, drawn by a seed, and prints for each which test caught it, or SURVIVED; then how many of
them were caught. `--only services/glass` keeps to a part, `--log FILE` goes on where an earlier run ended.

Why not a library: mutmut and cosmic-ray make every change of a project and want hours or a database of sessions for it; what is wanted
here is a small sample over the arithmetic rooms alone, the tests that are nearest to a change first, and no change that nobody could see.
That is some two hundred lines of the standard library, which also know that the last digit of a rounding or a text is no law.
"""

from __future__ import annotations

import argparse
import ast
import json
import multiprocessing
import os
import re
import shutil
import subprocess  # nosec B404  it runs the tests
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from itertools import count
from pathlib import Path

import pytest

from tests.mutants.mutations import Mutation, mutations_of, sample

ROOT = Path(__file__).resolve().parents[2]
ROOMS = (
    *(f"services/{name}/domain" for name in ("prescription", "glass", "process", "rates")),
    *(f"services/quoting/{name}" for name in ("costs", "risk", "promise", "pricing", "explain")),
    "services/optics",
    "services/shop",
)
COUNT = 80
SEED = 11
PATIENCE_S = 240.0
TIMES_LONGER = 6
"""A run past its patience, and past so many times what the unchanged tree takes, is caught: the change has made something endless."""
ENVIRONMENT = {"CI": "1", "LAWS_DRAWN": "250"}


@dataclass(frozen=True)
class Tree:
    """A copy of the repository in which files are changed; `sound` are tests that pass on it unchanged, `broken` those that do not."""

    root: Path
    sound: set[str]
    broken: set[str]
    moments: Iterator[int]
    trusted: bool

    def write(self, path: str, source: str) -> None:
        """Write a file with a time of its own, so that no compiled file of another change is taken for it."""
        (self.root / path).write_text(source, encoding="utf-8")
        moment = 1_000_000_000 + 10 * next(self.moments)
        os.utime(self.root / path, (moment, moment))

    def failure_in(self, tests: Sequence[str], patience_s: float | None) -> str | None:
        """The first test that fails; `None` where all pass, `TOO_LONG` where they do not end in time."""
        without = (f"--deselect={test}" for test in sorted(self.broken))
        told = self.root / ".told"
        run = FORK.Process(target=_run_tests, args=(self.root, told, [*without, *tests]))
        run.start()
        run.join(patience_s)
        if run.exitcode is None:
            run.kill()
            run.join()
            return TOO_LONG
        failed = re.search(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", told.read_text(encoding="utf-8"), re.MULTILINE)
        return None if run.exitcode == 0 else failed[1] if failed else f"pytest ended with {run.exitcode}"


import_module("tests.chain")  # with all that the rooms import
FORK = multiprocessing.get_context("fork")
"""A run begins with the libraries and the contracts already imported, which takes longer than most tests; the rooms it imports anew."""


def _run_tests(root: Path, told: Path, arguments: Sequence[str]) -> None:
    """Run tests of a tree in this process, what they say into a file."""
    with told.open("w", encoding="utf-8") as file:
        os.dup2(file.fileno(), 1)
        os.dup2(file.fileno(), 2)
        os.chdir(root)
        os.environ.update(ENVIRONMENT)
        for name in [name for name in sys.modules if name.split(".")[0] in ("services", "tests")]:
            del sys.modules[name]
        sys.path[:] = [str(root), *(path for path in sys.path if path not in ("", str(ROOT)))]
        status = pytest.main(["-x", "-rfE", "--tb=no", "--no-header", *arguments])
        sys.stdout.flush()
        os._exit(int(status))


def main() -> None:
    """Make the changes and print what came of them."""
    wanted = _arguments()
    candidates = [one for path in sources(ROOT) for one in mutations_of(path, (ROOT / path).read_text(encoding="utf-8"))]
    chosen = [one for one in sample(candidates, seed=wanted.seed, count=wanted.count) if one.path.startswith(wanted.only)]
    known = _read(wanted.log)
    imports = imports_of_tests(ROOT)
    caught = 0
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = Tree(_copied(Path(folder)), set(), set(), count(), trusted=wanted.trust)
        for one in chosen:
            rank = one.rank(wanted.seed)
            outcome = known.get(rank) or outcome_of(one, tree, imports)
            _keep(wanted.log, {} if rank in known else {rank: outcome}, one)
            caught += outcome != SURVIVED
            print(f"{one}  [{one.kind}]  {outcome}", flush=True)
    print(f"{caught} of {len(chosen)} caught")


SURVIVED = "SURVIVED"
TOO_LONG = "time: the tests do not end"


def outcome_of(one: Mutation, tree: Tree, imports: dict[str, set[str]]) -> str:
    """The test that catches a change, nearest tests first, or SURVIVED."""
    for tests in stages_of(one.path, imports):
        while failed := _failure(one, tree, tests, PATIENCE_S):
            if failed == TOO_LONG:
                failed = _failure(one, tree, tests, TIMES_LONGER * _unchanged_takes_s(tree, tests))
            if failed and _is_of_the_change(failed, tree):
                return f"caught by {failed}"
            if not failed:
                break
    return SURVIVED


def _failure(one: Mutation, tree: Tree, tests: Sequence[str], patience_s: float) -> str | None:
    source = (tree.root / one.path).read_text(encoding="utf-8")
    tree.write(one.path, one.applied(source))
    try:
        return tree.failure_in(tests, patience_s)
    finally:
        tree.write(one.path, source)


def _unchanged_takes_s(tree: Tree, tests: Sequence[str]) -> float:
    began = time.monotonic()
    tree.failure_in(tests, None)
    return time.monotonic() - began


def _is_of_the_change(failed: str, tree: Tree) -> bool:
    """Whether what failed passes on the unchanged tree; a test that does not is left out from then on."""
    if "::" in failed and failed not in tree.sound and not tree.trusted:
        (tree.broken if tree.failure_in([failed], None) else tree.sound).add(failed)
    return failed not in tree.broken


def sources(root: Path) -> list[str]:
    """Every file of the rooms, in order."""
    found = (path for room in ROOMS for path in sorted((root / room).rglob("*.py")))
    return [str(path.relative_to(root)) for path in found]


def module_of(path: str) -> str:
    """The name under which a file is imported."""
    return path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


def imports_of_tests(root: Path) -> dict[str, set[str]]:
    """What every test of one process, and every file of the rooms and of the chain, imports."""
    tests = (path for tier in ("unit", "outside", "laws") for path in (root / "tests" / tier).rglob("*.py"))
    files = (*tests, root / "tests/chain.py", *(root / path for path in sources(root)))
    return {str(path.relative_to(root)): _imported(path) for path in files}


def _imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def stages_of(path: str, imports: dict[str, set[str]]) -> list[tuple[str, ...]]:
    """Tests to run one after the other: the kept figures, which take a breath; those that import the file; one step away; the rest."""
    room, module = path.split("/")[1], module_of(path)
    tests = [name for name in imports if Path(name).name.startswith("test_")]
    users = {module_of(name) for name, names in imports.items() if module in names and name.startswith("services/")}
    direct = [name for name in tests if module in imports[name]]
    near = [name for name in tests if imports[name] & users and (f"_{room}_" in name or room in ("optics", "shop"))]
    of_room = [name for name in tests if name.startswith((f"tests/unit/{room}/", f"tests/outside/test_{room}_"))]
    laws = [name for name in tests if name.startswith("tests/laws/")]
    golden = [name for name in laws if name.endswith("golden.py")]
    stages: list[tuple[str, ...]] = []
    quick = [name for name in direct if name.startswith("tests/unit/")]
    for stage in (golden, quick, [*direct, *near], of_room, laws):
        before = {name for earlier in stages for name in earlier}
        new = tuple(dict.fromkeys(name for name in sorted(stage) if name not in before))
        stages += [new] if new else []
    return stages


def _copied(folder: Path) -> Path:
    """A copy of everything that git knows or would add."""
    listed = subprocess.run(  # nosec B603 B607
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    )  # fmt: skip
    for name in filter(None, listed.stdout.split("\0")):
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    return folder


def _read(log: Path | None) -> dict[str, str]:
    if log is None or not log.exists():
        return {}
    return {entry["rank"]: entry["outcome"] for entry in map(json.loads, log.read_text(encoding="utf-8").splitlines())}


def _keep(log: Path | None, outcomes: dict[str, str], one: Mutation) -> None:
    if log is not None:
        with log.open("a", encoding="utf-8") as file:
            file.writelines(
                json.dumps({"rank": rank, "outcome": outcome, "change": str(one)}) + "\n" for rank, outcome in outcomes.items()
            )


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description="Would a test notice a small change?")
    parser.add_argument("--seed", type=int, default=SEED, help="another seed, other changes")
    parser.add_argument("--count", type=int, default=COUNT, help="how many changes are drawn over all rooms")
    parser.add_argument("--only", default="", help="of these, only those in files whose path begins so")
    parser.add_argument("--trust", action="store_true", help="do not run a failing test again on the unchanged tree")
    parser.add_argument("--log", type=Path, help="a file that keeps the outcomes; what is in it is not run again")
    return parser.parse_args()


if __name__ == "__main__":
    main()
