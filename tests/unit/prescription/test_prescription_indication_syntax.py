"""The notation of indications that the door asks for refuses nothing that the reader reads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from services.optics.drawing.centring import read_centring
from services.optics.drawing.form import read_form, read_transmitted_wavefront
from services.optics.drawing.imperfections import read_assembly_imperfections, read_imperfections
from services.optics.drawing.laser import read_laser
from services.optics.drawing.material import read_bubbles, read_homogeneity, read_stress
from services.optics.drawing.texture import read_texture
from services.optics.errors import IndicationUnreadable
from shared_schemas.indications import NOTATIONS

READERS: dict[str, Callable[[str], Any]] = {
    "form": read_form,
    "imperfections": read_imperfections,
    "texture": read_texture,
    "laser_damage": read_laser,
    "centring": read_centring,
    "stress_birefringence": read_stress,
    "bubbles": read_bubbles,
    "inhomogeneity": read_homogeneity,
    "transmitted_wavefront": read_transmitted_wavefront,
    "assembly_imperfections": read_assembly_imperfections,
}
PIECES = [
    "3/", "13/", "4/", "5/", "15/", "0/", "1/", "2/", "6/", "-", "–", "4", "0,5", ".25", "12", "(", ")", "/", ";", ",", " ", "  ", "nm", "nm/cm", "um", "RMSt",
    "RMSi", "RMSa", "<", "≤", "λ", "lambda", "=", "632.8", "x", "×", "C", "L", "E", "W", "P", "G", "Rq", "Ra", "'", "''", "′", '"', "°", "min", "J/cm2",
    "MW/cm²", "10 ns", "1-on-1", "60-40", "S-D", "60/40", "\t",
]  # fmt: skip


@pytest.mark.parametrize("field", NOTATIONS)
def test_the_example_of_a_notation_follows_it_and_is_read(field: str) -> None:
    assert NOTATIONS[field].is_followed_by(NOTATIONS[field].example)
    READERS[field](NOTATIONS[field].example)


@pytest.mark.parametrize("field", NOTATIONS)
@given(pieces=st.lists(st.sampled_from(PIECES), max_size=12), head=st.booleans())
@example(pieces=[" 3/", "5", "(1/0.5", ")", "; λ = 632.8 nm"], head=False)
@example(pieces=["3/270nm(50nm); RMSi < 0.05 RMSt<.1"], head=False)
@example(pieces=["5/2x0.16; C1×0,25; L1x0.04; E0.5;W.1"], head=False)
@example(pieces=["6/10 J/cm2; 1064; 10 ns; 1-on-1"], head=False)
@example(pieces=["4/0,5'(0.02)"], head=False)
@example(pieces=["G; Ra < 2 um"], head=False)
@settings(max_examples=150, deadline=None)
def test_whatever_is_read_follows_its_notation(field: str, pieces: list[str], head: bool) -> None:
    start = NOTATIONS[field].example.split("/", maxsplit=1)[0] + "/" if head and "/" in NOTATIONS[field].example else ""
    text = start + "".join(pieces)
    try:
        READERS[field](text)
    except IndicationUnreadable:
        return
    assert NOTATIONS[field].is_followed_by(text)


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("form", "3/banana"), ("form", "4/1'"), ("centring", "4/3"), ("imperfections", "5/3"), ("texture", "shiny"), ("texture", "Rq 2"),
        ("laser_damage", "6/much"), ("bubbles", "1/3"), ("inhomogeneity", "2/9;1"), ("transmitted_wavefront", "13/?"),
    ],
)  # fmt: skip
def test_what_is_no_indication_is_told_by_its_notation(field: str, text: str) -> None:
    assert not NOTATIONS[field].is_followed_by(text)


@pytest.mark.parametrize("field", NOTATIONS)
def test_a_long_text_is_told_quickly(field: str) -> None:
    head = NOTATIONS[field].example.split("/", maxsplit=1)[0]
    assert not NOTATIONS[field].is_followed_by(f"{head}/" + " ; 1 " * 16 + "!")
