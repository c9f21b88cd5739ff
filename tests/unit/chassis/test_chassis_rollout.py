"""While a release is rolled out or back, code meets tables of another release."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from services.chassis import health


@pytest.mark.parametrize(
    ("at", "fit"),
    [("0002", True), ("0003", True), ("0001", False), ("", False)],
    ids=["its own tables", "tables of the next release", "tables of the release before", "no tables"],
)
def test_code_works_on_its_own_tables_and_on_newer_ones(monkeypatch: pytest.MonkeyPatch, at: str, fit: bool) -> None:
    monkeypatch.setattr(health, "newest_once", lambda: {"rates": "0002", "chassis": "0002"})
    monkeypatch.setattr(health, "current", lambda _, parts: dict.fromkeys(parts, at))
    said = health.tables_behind(SimpleNamespace(database=None, settings=SimpleNamespace(services=("rates",))))  # type: ignore[arg-type]
    assert (said is None) == fit
    if not fit:
        assert "rates is at" in str(said)
        assert "run the migrations" in str(said)
