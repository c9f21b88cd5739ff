"""Dashboard and alerts: they ask for figures that there are, and never add up what every process tells alike."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import yaml

from services.chassis.metrics import RequestMeter, stage_counts
from services.quoting.api import operators as figures
from services.quoting.store.repository import Standing

DEPLOY = Path(__file__).resolve().parents[3] / "deploy"


@pytest.fixture(scope="module")
def of_suite() -> set[str]:
    """Names of the figures of the suite."""
    resources: Any = SimpleNamespace(
        tally=SimpleNamespace(read=dict), settings=SimpleNamespace(deployment="d"), waiting=lambda _: 0, database=None
    )
    standing = Standing(events={}, under_way=0, oldest_began_at=None, waiting=0, letters=0, open_letters=0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "standing", lambda _: standing)
        found = [*stage_counts(resources), *figures.figures(resources)]
    names = {one.name for one in found} | {"blankwright_queue_depth", "blankwright_part_answers"}
    return names | {f"{one.name}_{end}" for one in found for end in ("total", "bucket", "count", "sum")}


@pytest.fixture(scope="module")
def of_process() -> set[str]:
    """Names of the figures of one process."""
    return {f"{one.name}_{end}" for one in RequestMeter().registry.collect() for end in ("bucket", "count", "sum")}


def asked() -> Iterator[str]:
    for panel in json.loads((DEPLOY / "dashboard.json").read_text(encoding="utf-8"))["panels"]:
        yield from (target["expr"] for target in panel["targets"])
    for group in yaml.safe_load((DEPLOY / "alerts.yaml").read_text(encoding="utf-8"))["groups"]:
        yield from (rule["expr"] for rule in group["rules"])


@pytest.mark.parametrize("expression", list(asked()))
def test_what_is_asked_for_is_there_and_is_added_up_only_where_that_is_right(
    expression: str, of_suite: set[str], of_process: set[str]
) -> None:
    names = re.findall(r"blankwright_\w+", expression)
    assert names
    assert set(names) <= of_suite | of_process
    if set(names) & of_suite:
        assert not re.search(r"\bsum\b|\bavg\b|\bcount\b", expression), "every process tells the same of the suite"


def test_the_dashboard_has_a_panel_for_every_place_and_none_lies_on_another() -> None:
    panels = json.loads((DEPLOY / "dashboard.json").read_text(encoding="utf-8"))["panels"]
    taken: set[tuple[int, int]] = set()
    for panel in panels:
        at = panel["gridPos"]
        cells = {(x, y) for x in range(at["x"], at["x"] + at["w"]) for y in range(at["y"], at["y"] + at["h"])}
        assert not cells & taken, panel["title"]
        assert max(x for x, _ in cells) < 24
        taken |= cells
    assert len({panel["id"] for panel in panels}) == len(panels)


def test_every_alert_says_what_is_wrong_and_what_to_do() -> None:
    for group in yaml.safe_load((DEPLOY / "alerts.yaml").read_text(encoding="utf-8"))["groups"]:
        for rule in group["rules"]:
            assert set(rule["annotations"]) == {"summary", "what_to_do"}
            assert rule["labels"]["severity"] in ("page", "ticket")
