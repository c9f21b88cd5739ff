"""Published lenses of several elements as a customer sends them: which are refused, and why."""

from __future__ import annotations

from pathlib import Path

import pytest

from services.prescription.domain.check import check_prescription
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates
from tests.outside.published_lenses import LENSES, prescription_of

FOLDER = Path(__file__).parent / "prescriptions"

REFUSED = {"heliar": {"glass-unknown"}}
"""BAF9 (1.64328, 47.96) is melted no longer, and no glass of the rates has its index: the nearest is offered."""


@pytest.mark.parametrize("name", LENSES)
def test_a_table_from_memory_has_the_focal_length_that_is_published(name: str, rates: Rates) -> None:
    order = check_prescription(prescription_of(name), rates).first_order
    # symmetrical lenses of the nineteenth century are printed to three figures
    assert order.focal_length_mm == pytest.approx(LENSES[name].focal_length_mm, rel=0.04 if name == "hypergon" else 0.006)


@pytest.mark.parametrize("name", LENSES)
def test_a_published_lens_is_refused_only_for_a_glass_that_nobody_melts(name: str, rates: Rates) -> None:
    report = check_prescription(prescription_of(name), rates)
    assert {one.code for one in report.findings if one.severity == "stop"} == REFUSED.get(name, set())
    assert not {"focus-missing", "units-mistaken", "field-cut-off"} & {one.code for one in report.findings}


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.json")), ids=lambda path: path.stem)
def test_no_prescription_of_a_book_is_refused(path: Path, rates: Rates) -> None:
    report = check_prescription(Prescription.model_validate_json(path.read_text(encoding="utf-8")), rates)
    assert [one.code for one in report.findings if one.severity == "stop"] == []


def test_the_wide_angle_lens_is_not_told_that_nothing_passes(rates: Rates) -> None:
    codes = {one.code for one in check_prescription(prescription_of("hypergon"), rates).findings}
    assert "field-not-screened" in codes


def test_an_offer_for_a_glass_that_nobody_melts_names_what_it_differs_by(rates: Rates) -> None:
    (stop,) = (one for one in check_prescription(prescription_of("heliar"), rates).findings if one.severity == "stop")
    assert "S-BAM12 (nd -0.00398, vd -3.09)" in str(stop.remedy)
