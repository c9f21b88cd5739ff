"""Dashboard and alerts: they ask for figures that there are, and never add up what every process tells alike."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import MagicMock

import pytest
import yaml

from services.chassis.metrics import OF_POSTGRESQL, OF_REDIS, RequestMeter
from services.chassis.metrics_of_parts import certificates, free_space
from services.quoting.api import operators as figures
from services.quoting.store.repository import Standing
from services.quoting.store.webhook_deliveries import StandingOfWebhooks

DEPLOY = Path(__file__).resolve().parents[3] / "deploy"


class _NoRedis:
    """Answers as a server that holds nothing."""

    def info(self, part: str) -> dict[str, int]:
        return {"used_memory": 0, "maxmemory": 0}

    def set(self, *_: object, **__: object) -> None: ...

    def smembers(self, _: str) -> set[bytes]:
        return set()


@pytest.fixture(scope="module")
def of_suite() -> set[str]:
    """Names of the figures of the suite."""
    resources: Any = SimpleNamespace(
        tally=SimpleNamespace(read=dict),
        settings=SimpleNamespace(deployment="d"),
        waiting=lambda _: 0,
        database=MagicMock(),
        redis=_NoRedis(),
    )
    resources.database.engine.connect.return_value.__enter__.return_value.execute.return_value.scalar_one.return_value = 0
    resources.database.engine.connect.return_value.__enter__.return_value.execute.return_value.scalar.return_value = None
    standing = Standing(events={}, under_way=0, oldest_began_at=None, waiting=0, letters=0, open_letters=0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "standing", lambda _: standing)
        patch.setattr(figures, "standing_of_webhooks", lambda _: StandingOfWebhooks(dead=0, gone=0, oldest_at=None))
        found = [metric for read in (*OF_REDIS, *OF_POSTGRESQL, figures.figures) for metric in read(resources)]
    found += [*certificates(()), *free_space(())]
    names = {one.name for one in found} | {"blankwright_part_answers"}
    return names | {f"{one.name}_{end}" for one in found for end in ("total", "bucket", "count", "sum")}


@pytest.fixture(scope="module")
def of_process() -> set[str]:
    """Names of the figures of one process."""
    found = list(RequestMeter().registry.collect())
    return {one.name for one in found} | {f"{one.name}_{end}" for one in found for end in ("bucket", "count", "sum")}


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
    assert names or expression.startswith("up{")
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


def alerts() -> dict[str, dict[str, Any]]:
    groups = yaml.safe_load((DEPLOY / "alerts.yaml").read_text(encoding="utf-8"))["groups"]
    return {rule["alert"]: rule for group in groups for rule in group["rules"]}


@pytest.mark.parametrize("name", alerts())
def test_an_alert_says_what_is_wrong_what_to_do_and_where_more_is_said(name: str) -> None:
    rule = alerts()[name]
    assert set(rule["annotations"]) == {"summary", "what_to_do", "page"}
    assert rule["labels"]["severity"] in ("page", "ticket")
    file, anchor = rule["annotations"]["page"].split("#")
    headings = re.findall(r"^### (.+)$", (DEPLOY / file).read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert anchor in {heading.lower().replace(" ", "-") for heading in headings}
    assert anchor == name.lower()


def test_there_is_an_alert_for_each_way_in_which_the_suite_stops_working() -> None:
    asked_for = {name for rule in alerts().values() for name in re.findall(r"blankwright_\w+|^up\b", rule["expr"])}
    assert asked_for >= {
        "up", "blankwright_http_request_seconds_count", "blankwright_workers", "blankwright_part_answers", "blankwright_database_writable",
        "blankwright_redis_writable", "blankwright_disk_free_share", "blankwright_backup_age_seconds",
        "blankwright_certificate_expires_seconds",
    }  # fmt: skip


def test_prometheus_is_told_of_every_service_that_answers_it() -> None:
    told = set(re.findall(r'"([a-z-]+-api):8000"', (DEPLOY / "alerts.yaml").read_text(encoding="utf-8")))
    services = yaml.safe_load((DEPLOY.parent / "compose.yaml").read_text(encoding="utf-8"))["services"]
    assert told == {name for name in services if name.endswith("-api")}
