"""The client's wheel: what is in it, that it needs nothing of ours, and that the same sources give the same bytes."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import zipfile
from email import message_from_bytes
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("build_wheel", ROOT / "deploy" / "client" / "build_wheel.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def wheel(script: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    built: Path = script.built(tmp_path_factory.mktemp("dist"))
    return built


def test_it_has_the_client_the_contracts_it_needs_and_the_examples(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    assert {
        f"blankwright_client/{name}" for name in ("py.typed", "client.py", "calls/quoting.py", "examples/quote_a_lens.py")
    } <= names
    assert {"blankwright_client/contracts/quote.py", "blankwright_client/contracts/figure.py"} <= names
    assert "blankwright_client/contracts/traveller.py" not in names, "what goes from station to station is nobody else's"
    assert [name for name in names if not name.startswith(("blankwright_client/", "blankwright_client-"))] == []


def test_it_needs_httpx_and_pydantic_in_the_ranges_of_the_suite(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as files:
        (name,) = (name for name in files.namelist() if name.endswith("/METADATA"))
        told = message_from_bytes(files.read(name))
    suite = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    needed = {"".join(sorted(one.split(","))) for one in told.get_all("Requires-Dist", [])}
    assert len(needed) == 2
    for one in told.get_all("Requires-Dist", []):
        name, parts = one[: one.index(next(sign for sign in one if sign in "<>="))], one.replace(",", " ")
        assert name in ("httpx", "pydantic")
        (line,) = (line for line in suite.splitlines() if line.strip().startswith(f'"{name}>='))
        assert all(part.removeprefix(name) in line for part in parts.split())
    assert "<<" not in str(told.get_payload())
    assert "from blankwright_client import Client" in str(told.get_payload())


def test_the_same_sources_give_the_same_bytes(script: ModuleType, wheel: Path, tmp_path: Path) -> None:
    assert script.built(tmp_path).read_bytes() == wheel.read_bytes()


def test_out_of_the_wheel_nothing_of_ours_is_imported(wheel: Path, tmp_path: Path) -> None:
    code = (
        "import sys, pkgutil, importlib, blankwright_client as ours\n"
        "for module in pkgutil.walk_packages(ours.__path__, 'blankwright_client.'): importlib.import_module(module.name)\n"
        "ours.Client(url='http://shop.test', key='k').close()\n"
        "tops = {name.partition('.')[0] for name in sys.modules}\n"
        "print(sorted(tops & {'services', 'shared_schemas', 'celery', 'scipy', 'numpy', 'psycopg', 'sqlalchemy', 'redis', 'kombu', 'fastapi'}))\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(wheel)}
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("[]\n", "")


def test_an_import_that_the_package_would_not_have_is_an_error(
    script: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(script, "ROOT", tmp_path)
    (tmp_path / "x.py").write_text("import os\nfrom services.chassis import keys\n", encoding="utf-8")
    with pytest.raises(script.NotSelfContained, match=r"x\.py:2 imports services\.chassis"):
        script.rewritten(tmp_path / "x.py")


def test_only_import_lines_are_rewritten(script: ModuleType, tmp_path: Path) -> None:
    source = tmp_path / "x.py"
    source.write_text(
        '"""Of services.client."""\nfrom services.client.call import (\n    Call,\n)\n\n\ndef f() -> None:\n    import shared_schemas.quote\n',
        encoding="utf-8",
    )
    assert script.rewritten(source) == (
        '"""Of services.client."""\nfrom blankwright_client.call import (\n    Call,\n)\n\n\ndef f() -> None:\n    import blankwright_client.contracts.quote\n'
    )
