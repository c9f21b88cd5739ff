"""The client as a package of its own: `python deploy/client/build_wheel.py dist` makes `dist/blankwright_client-…-py3-none-any.whl`.

`services/client` becomes the package `blankwright_client`, and those contracts that it imports, by whatever way, become `blankwright_client.contracts`;
import lines are rewritten accordingly and nothing else is. The same sources give the same bytes. It takes setuptools and no network.
"""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
ROOM, CONTRACTS = "services.client", "shared_schemas"
PACKAGE = "blankwright_client"
RENAMED = {ROOM: PACKAGE, CONTRACTS: f"{PACKAGE}.contracts"}
DEPENDENCIES = ("httpx", "pydantic")
EPOCH = "1767225600"
"""The time of every file in the wheel, 2026-01-01; the image has the same."""


class NotSelfContained(Exception):
    """An import that the package would not have."""


def staged(folder: Path) -> Path:
    """The sources of the package in `folder`, ready to be built. Raises `NotSelfContained`."""
    package = folder / PACKAGE
    for source in sorted((ROOT / "services" / "client").rglob("*.py")):
        _write(package / source.relative_to(ROOT / "services" / "client"), rewritten(source))
    for name in sorted({"__init__", "base", *contracts_needed()}):
        _write(package / "contracts" / f"{name}.py", rewritten(ROOT / CONTRACTS / f"{name}.py"))
    _write(package / "py.typed", "")
    _write(folder / "pyproject.toml", project())
    _write(folder / "README.md", readme())
    return folder


def contracts_needed() -> set[str]:
    """The contracts that the client imports, and those that they import."""
    needed: set[str] = set()
    left = sorted((ROOT / "services" / "client").rglob("*.py"))
    while left:
        names = {
            name.removeprefix(f"{CONTRACTS}.") for name, _ in imports_of(left.pop()) if name.startswith(f"{CONTRACTS}.")
        } - needed
        needed |= names
        left += [ROOT / CONTRACTS / f"{name}.py" for name in sorted(names)]
    return needed


def imports_of(source: Path) -> Iterator[tuple[str, ast.Import | ast.ImportFrom]]:
    """Every module that a file imports, wherever it does, with the statement."""
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            yield node.module or "", node
        elif isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)


def rewritten(source: Path) -> str:
    """A file with its imports of ours as the package has them. Raises `NotSelfContained`."""
    lines = source.read_text(encoding="utf-8").split("\n")
    for module, node in imports_of(source):
        top = module.partition(".")[0]
        ours = next((name for name in RENAMED if module == name or module.startswith(f"{name}.")), None)
        if ours is None and top not in sys.stdlib_module_names and top not in (*DEPENDENCIES, "pydantic_core"):
            raise NotSelfContained(f"{source.relative_to(ROOT)}:{node.lineno} imports {module}")
        if ours is not None:
            begun = lines[node.lineno - 1]
            lines[node.lineno - 1] = re.sub(rf"(?<=from |port ){re.escape(ours)}\b", RENAMED[ours], begun, count=1)
    return "\n".join(lines)


def project() -> str:
    """The package's own `pyproject.toml`: version, Python and ranges are those of the suite."""
    suite = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    kept = [one for one in suite["dependencies"] if re.match(r"[a-z0-9-]+", one)[0] in DEPENDENCIES]  # type: ignore[index]
    template = (HERE / "pyproject.toml.in").read_text(encoding="utf-8")
    return template.format(
        version=suite["version"], python=suite["requires-python"], dependencies=", ".join(f'"{one}"' for one in kept)
    )


def readme() -> str:
    """What the package is, and its examples in full."""
    text = (HERE / "README.md.in").read_text(encoding="utf-8")
    for name in re.findall(r"^<<([a-z_]+)>>$", text, re.MULTILINE):
        source = rewritten(ROOT / "services" / "client" / "examples" / f"{name}.py")
        told = ast.get_docstring(ast.parse(source)) or ""
        code = source.split('"""', 2)[2].replace("  # fmt: skip", "").strip()
        text = text.replace(f"<<{name}>>", f"{told}\n\n```python\n{code}\n```\n\n`python -m {PACKAGE}.examples.{name}`")
    return text


def built(folder: Path) -> Path:
    """The wheel, in `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for former in folder.glob(f"{PACKAGE}-*.whl"):
        former.unlink()
    with tempfile.TemporaryDirectory(prefix="blankwright-client-") as name:
        stage = staged(Path(name))
        command = [
            sys.executable,
            "-c",
            "import sys; from setuptools.build_meta import build_wheel; build_wheel(sys.argv[1])",
            "made",
        ]
        (stage / "made").mkdir()
        subprocess.run(
            command, cwd=stage, env={**os.environ, "SOURCE_DATE_EPOCH": EPOCH}, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )  # fmt: skip
        (wheel,) = (stage / "made").glob("*.whl")
        return Path(shutil.copy(wheel, folder / wheel.name))


def _write(file: Path, text: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")
    file.chmod(0o644)


if __name__ == "__main__":
    made = built(Path(sys.argv[1] if len(sys.argv) > 1 else "dist"))
    print(f"{made}: {made.stat().st_size} bytes")
