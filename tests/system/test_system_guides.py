"""Each guide does what it shows, and nothing else is shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from services.chassis.one_box import Address
from tests.system.guides import Guide, NotAsShown

GUIDES = Path(__file__).resolve().parents[2] / "deploy" / "docs"
PAGES = ("sales", "estimator", "engineer", "erp", "operator")


@pytest.mark.parametrize("page", PAGES)
def test_a_guide_does_what_it_shows(page: str, box: Address, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert Guide(GUIDES / f"{page}.md", tmp_path, box).run() >= 3


def test_there_is_no_guide_that_nobody_runs() -> None:
    assert {page.stem for page in GUIDES.glob("*.md")} == set(PAGES)


def test_a_guide_that_shows_another_figure_is_found_out(box: Address, tmp_path: Path) -> None:
    page = tmp_path / "wrong.md"
    page.write_text("```console\n$ blankwright dead-letters\nno dead letter\n```\n", encoding="utf-8")
    with pytest.raises(NotAsShown, match="shows   no dead letter\n"):
        Guide(page, tmp_path, box).run()
    page.write_text("```console\n$ blankwright status\nhttp://…\nand more\n```\n", encoding="utf-8")
    with pytest.raises(NotAsShown, match="and more"):
        Guide(page, tmp_path, box).run()
