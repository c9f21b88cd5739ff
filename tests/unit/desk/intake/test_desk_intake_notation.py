"""Indications of ISO 10110 as customers write them into cells."""

from __future__ import annotations

import pytest

from services.desk.intake.meanings import read_cell
from shared_schemas.indications import NOTATIONS

KIND_OF = {"imperfections": "surface_quality"}


@pytest.mark.parametrize("name", NOTATIONS)
def test_an_indication_is_kept_as_it_is_written(name: str) -> None:
    reading = read_cell(KIND_OF.get(name, name), NOTATIONS[name].example)
    assert list(reading.values.values()) == [NOTATIONS[name].example]
    assert reading.plain
    assert not reading.rule


@pytest.mark.parametrize(
    ("kind", "written", "field", "meant"),
    [
        ("form", "3 / 3 (0,5)", "form", "3/3 (0,5)"),
        ("form", "３／３（０．５）", "form", "3/3(0.5)"),
        ("surface_quality", "5/3*0,16", "imperfections", "5/3x0,16"),
        ("surface_quality", "5 / 3 · 0.16; L1*0.04", "imperfections", "5/3x0.16; L1x0.04"),
        ("bubbles", "1/3 ✕ 0.16", "bubbles", "1/3x0.16"),
        ("centring", "4 / 2´", "tolerances.centring", "4/2'"),
    ],
)
def test_a_slip_that_leaves_no_doubt_is_mended(kind: str, written: str, field: str, meant: str) -> None:
    reading = read_cell(kind, written)
    assert reading.values == {field: meant}
    assert reading.plain


def test_an_indication_without_its_head_is_told_as_an_assumption() -> None:
    reading = read_cell("form", "3(0.5)")
    assert reading.values == {"form": "3/3(0.5)"}
    assert "begins with 3/" in reading.rule


@pytest.mark.parametrize(
    ("kind", "written", "repair"),
    [
        ("form", "3/3[0.5]", "3/3(0.5)"),
        ("form", "3/3(0.5", "3/3(0.5)"),
        ("form", "3/3/0.5", "3/3(0.5)"),
        ("surface_quality", "5/3xO.16", "5/3x0.16"),
        ("surface_quality", "5/3 0.16", "5/3x0.16"),
        ("inhomogeneity", "2/1:2", "2/1;2"),
    ],
)
def test_what_is_nearly_an_indication_is_asked_with_the_repair(kind: str, written: str, repair: str) -> None:
    reading = read_cell(kind, written, where="L1 front")
    assert reading.values == {}
    assert reading.asks.startswith("L1 front: ")
    assert reading.choices[0].answer == repair
    assert read_cell(kind, repair).plain
