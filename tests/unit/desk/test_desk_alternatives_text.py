"""What the terminal says of looser tolerances and of test plates in hand."""

from __future__ import annotations

import io
from decimal import Decimal
from typing import Any

from services.desk.texts.alternatives import SHOWN, savings
from services.desk.texts.page_parts import console_for
from shared_schemas.prescription import Prescription
from shared_schemas.quote import CombinedSaving, QuoteBody, QuotedOffer, QuotedRelaxation

FACE = {"radius_mm": 36.4, "clear_diameter_mm": 20.0}
LENS = Prescription.model_validate(
    {"title": "one", "spaces": [], "elements": [
        {"name": "L2", "glass": "SF2", "diameter_mm": 22.4, "centre_thickness_mm": 2.5, "front": {**FACE, "radius_mm": -42.65}, "back": FACE}]}
)  # fmt: skip
OFFER = QuotedOffer(
    where="/elements/0/back/radius_mm", part="L2", from_radius_mm=36.4, to_radius_mm=36.52, tool="test plate 36.52",
    focal_length_change_mm=-0.2947, focal_length_change_share=-0.0029, not_needed=("test plate 36.4 mm",), saving=Decimal("520.00"),
    quantity=25, saving_per_unit=Decimal("20.80"), days_saved=3,
)  # fmt: skip


def relaxation(saving: int, **more: Any) -> QuotedRelaxation:
    values: dict[str, Any] = {"tolerance": "irregularity", "from_figure": 0.5, "to_figure": 2.0, "unit": "fringe", "days_saved": 0}
    return QuotedRelaxation(
        where="/elements/0/back/form", quantity=25, saving_per_unit=Decimal(saving), **{**values, **more}
    )  # fmt: skip


def said(**fields: Any) -> str:
    values: dict[str, Any] = {"prescription": LENS, "relaxations": (), "best_relaxations": None, "offers": ()}
    out = io.StringIO()
    for part in savings(QuoteBody.model_construct(**{**values, **fields})):
        console_for(out).print(part)
    return " ".join(out.getvalue().split())


def test_an_offer_is_one_line_with_all_its_figures() -> None:
    text = said(offers=(OFFER,))
    assert "L2 back: R 36.4 → 36.52, plate owned." in text
    assert "-0.295 mm (-0.29%)" in text
    assert "saves 520.00 once, 20.80 a piece of 25, 3 days sooner" in text


def test_only_what_saves_most_is_shown_and_how_many_are_left() -> None:
    text = said(relaxations=tuple(relaxation(100 - number) for number in range(SHOWN + 4)))
    assert text.count("irregularity") == SHOWN
    assert "And 4 that save less" in text


def test_a_coating_says_which_it_becomes_and_a_tool_that_it_is_charged_once() -> None:
    coating = relaxation(9, tolerance="coating", means="no coating instead of ar-single")
    radius = relaxation(8, tolerance="radius", means="test plate 36.52 is owned", charged_once=True)
    text = said(relaxations=(coating, radius))
    assert "ar-single" in text
    assert "charged once" in text


def test_the_best_together_are_told() -> None:
    best = CombinedSaving(where=("/a", "/b"), tolerances=("x", "y"), quantity=25, saving_per_unit=Decimal("12.50"), days_saved=2)
    assert "The best 2 granted together save 12.50 a piece and 2 days" in said(relaxations=(relaxation(9),), best_relaxations=best)


def test_a_quote_of_before_there_were_offers_is_still_read() -> None:
    assert said(offers=None) == ""
