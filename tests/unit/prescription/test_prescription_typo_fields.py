"""A change that would repair a lens, field by field: whoever keeps the prescription makes the same lens of it as the search did."""

from __future__ import annotations

from typing import Any

import numpy as np
from pydantic import ValidationError

from services.optics.rays import surfaces_of, trains_of
from services.prescription.domain.typo_fields import fields_after
from services.prescription.domain.typo_repair import changed, typo_repair
from services.prescription.domain.typos import single_changes
from tests.unit.prescription.test_prescription_typo_repair import INDICES, read, triplet


def with_fields(document: dict[str, Any], fields: tuple[Any, ...]) -> dict[str, Any]:
    for field in fields:
        *way, last = field.pointer.split("/")[1:]
        at: Any = document
        for step in way:
            at = at[int(step)] if isinstance(at, list) else at[step]
        at[last] = field.becomes
    return document


def asphere() -> dict[str, Any]:
    document = triplet()
    document["elements"][0]["front"] |= {"conic": -0.6, "asphere": {"4": 1.5e-6}}
    return document


def test_the_fields_of_every_change_make_the_train_that_was_traced() -> None:
    prescription = read(asphere())
    given = trains_of(surfaces_of(prescription, INDICES))
    tried = 0
    for change in single_changes(prescription):
        fields = fields_after(prescription, change.edits)
        if any(field.pointer.endswith("/glass") for field in fields):
            continue  # the index of a glass comes from the rates
        traced = changed(given, [change])
        try:
            lens = read(with_fields(asphere(), fields))
        except ValidationError:
            continue  # a radius that does not reach its diameter is no lens
        made = trains_of(surfaces_of(lens, INDICES))
        assert np.allclose(made.curvature_per_mm, traced.curvature_per_mm, rtol=1e-11), change.words
        assert np.allclose(made.way_mm, traced.way_mm, rtol=1e-11), change.words
        assert np.allclose(made.conic, traced.conic), change.words
        assert np.allclose(made.terms, traced.terms, rtol=1e-11), change.words
        tried += 1
    assert tried > 30


def test_glasses_that_changed_places_are_said_by_their_names() -> None:
    prescription = read(triplet())
    change = next(one for one in single_changes(prescription) if one.pointer == "/elements/0/glass")
    first, second = fields_after(prescription, change.edits)
    assert (first.pointer, first.becomes) == ("/elements/0/glass", {"nd": 1.64769, "vd": 33.8})
    assert (second.pointer, second.becomes) == ("/elements/1/glass", {"nd": 1.61272, "vd": 60.0})


def test_a_repair_carries_its_fields() -> None:
    document = triplet()
    document["elements"][1]["front"]["radius_mm"] *= -1
    repair = typo_repair(read(document), INDICES)
    assert repair is not None
    assert [(field.pointer, field.becomes) for field in repair.fields] == [("/elements/1/front/radius_mm", -42.65)]
