"""A place of a prescription in words: the same on the sheet and at the desk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from shared_schemas.place import face_of, place_of
from shared_schemas.prescription import Prescription

DEMO = Path(__file__).resolve().parents[3] / "services" / "desk" / "demo" / "lake_ice_lidar.json"
LENS = Prescription.model_validate(json.loads(DEMO.read_text(encoding="utf-8"))["prescription"])


@pytest.mark.parametrize(
    ("pointer", "words"),
    [
        ("", "the lens"),
        ("/prescription", "the lens"),
        ("/elements/2/front/form", "L3 front form"),
        ("/elements/4/back/clear_diameter_mm", "L5 back clear diameter"),
        ("/prescription/elements/0", "L1"),
        ("/prescription/elements/0/tolerances/centre_thickness_mm", "L1 centre thickness"),
        ("/spaces/0/cemented", "between L1 and L2"),
        ("/spaces/1/gap_mm", "between L2 and L3 gap"),
        ("/elements/17/front", "elements 17 front"),
        ("/elements/²/front", "elements ² front"),
        ("/stop/diameter_mm", "stop diameter"),
        ("/barrel/outer_diameter_mm", "barrel outer diameter"),
    ],
)
def test_a_pointer_is_said_by_the_names_of_the_elements(pointer: str, words: str) -> None:
    assert str(place_of(pointer, LENS)) == words


def test_a_name_of_two_words_is_one_part() -> None:
    first, *others = LENS.elements
    lens = LENS.model_copy(update={"elements": (first.model_copy(update={"name": "field lens"}), *others)})
    place = place_of("/elements/0/front/form", lens)
    assert (place.part, place.of_it) == ("field lens", "front form")


@pytest.mark.parametrize(
    ("pointer", "words"), [("/elements/1/back/radius_mm", "L2 back"), ("/elements/1/tolerances/centring", "L2"), ("/elements/1/front/form", "L2 front")]
)  # fmt: skip
def test_the_face_of_a_place_leaves_out_what_of_it(pointer: str, words: str) -> None:
    assert str(face_of(pointer, LENS)) == words
