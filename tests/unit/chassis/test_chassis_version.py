"""One version, wherever somebody asks for it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import yaml
from prometheus_client import generate_latest
from typer.testing import CliRunner

from services.chassis.metrics import RequestMeter
from services.chassis.version import VERSION
from services.desk.command import app
from services.quoting.service.runs import failed
from shared_schemas.problem import Problem
from shared_schemas.traveller import Failure

ROOT = Path(__file__).resolve().parents[3]


def test_the_version_is_that_of_the_project() -> None:
    assert tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"] == VERSION


def test_the_command_the_figures_and_a_dead_letter_say_it() -> None:
    assert CliRunner().invoke(app, ["--version"]).output == f"blankwright {VERSION}\n"
    assert f'blankwright_build_info{{version="{VERSION}"}} 1.0' in generate_latest(RequestMeter().registry).decode()
    broken = Problem(type="about:blank", title="t", status=500, detail="d")
    _, letter = failed(Failure(stage="glass", problem=broken, traceback=""))
    assert letter.versions.startswith(f"blankwright={VERSION} celery=")


def test_the_newest_entry_of_the_changes_and_the_images_of_the_cluster_are_of_this_version() -> None:
    changes = (ROOT / "deploy" / "CHANGELOG.md").read_text(encoding="utf-8")
    entries = re.findall(r"^## (.+)$", changes, flags=re.MULTILINE)
    assert next(entry for entry in entries if entry != "Unreleased") == VERSION
    assert "Unreleased" not in entries[1:], "what is not released yet stands above all that is"
    kustomization = yaml.safe_load((ROOT / "deploy" / "kubernetes" / "kustomization.yaml").read_text(encoding="utf-8"))
    assert [image["newTag"] for image in kustomization["images"] if image["name"] == "blankwright"] == [VERSION]
    for path in (ROOT / "deploy" / "kubernetes").glob("*.yaml"):
        assert set(re.findall(r"image: blankwright:(\S+)", path.read_text(encoding="utf-8"))) <= {VERSION}, path.name
