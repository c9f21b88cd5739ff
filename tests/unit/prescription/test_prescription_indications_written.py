"""Indications of every kind: read, written, read again; and no text ever does worse than to be refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.optics.drawing.centring import Centring, read_centring, write_centring
from services.optics.drawing.form import Form, Stated, read_form, read_transmitted_wavefront, write_form
from services.optics.drawing.imperfections import (
    Allowed,
    Imperfections,
    ScratchDig,
    read_assembly_imperfections,
    read_imperfections,
    write_imperfections,
)
from services.optics.drawing.laser import LaserResistance, read_laser, write_laser
from services.optics.drawing.material import (
    Homogeneity,
    read_bubbles,
    read_homogeneity,
    read_stress,
    write_bubbles,
    write_homogeneity,
    write_stress,
)
from services.optics.drawing.texture import Texture, read_texture, write_texture
from services.optics.errors import IndicationUnreadable

READERS: list[Callable[[str], Any]] = [
    read_form, read_transmitted_wavefront, read_centring, read_imperfections, read_assembly_imperfections, read_stress,
    read_bubbles, read_homogeneity, read_texture, read_laser,
]  # fmt: skip

FIGURES = st.floats(1e-4, 1e4, allow_nan=False)
MAYBE = st.none() | FIGURES
ALLOWED = st.builds(Allowed, st.integers(1, 999), FIGURES)


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.__name__)
@given(text=st.text(max_size=40) | st.text("0123456789/.,;()x-'PGRqtisma<nmCLEWS \"λ=×", max_size=40))
@settings(max_examples=150, deadline=None)
def test_a_text_is_read_or_refused_with_its_position(reader: Callable[[str], Any], text: str) -> None:
    fault = refusal(reader, text)
    assert fault is None or (1 <= fault.position <= len(text) + 1 and fault.expected)


def refusal(reader: Callable[[str], Any], text: str) -> IndicationUnreadable | None:
    """Why a text is not read; anything but a refusal breaks the test."""
    try:
        reader(text)
    except IndicationUnreadable as fault:
        return fault
    return None


@given(form=st.builds(Form, *[st.none() | st.builds(Stated, FIGURES, st.booleans())] * 6, st.floats(100, 20_000)))
def test_a_form_that_was_written_reads_the_same(form: Form) -> None:
    assert read_form(write_form(form)) == form
    assert read_transmitted_wavefront(write_form(form, head="13/")) == form


@given(centring=st.builds(Centring, FIGURES, MAYBE, st.sampled_from(["'", '"', "°"])))
def test_a_centring_that_was_written_reads_the_same(centring: Centring) -> None:
    assert read_centring(write_centring(centring)) == centring


@given(found=st.builds(Imperfections, ALLOWED, st.none() | ALLOWED, st.none() | ALLOWED, MAYBE, MAYBE))
def test_imperfections_that_were_written_read_the_same(found: Imperfections) -> None:
    assert read_imperfections(write_imperfections(found)) == found
    assert read_assembly_imperfections(write_imperfections(found, head="15/")) == found


@given(stress=FIGURES, bubbles=ALLOWED, first=st.none() | st.integers(0, 5), second=st.none() | st.integers(1, 5))
def test_what_is_asked_of_the_glass_reads_the_same(stress: float, bubbles: Allowed, first: int | None, second: int | None) -> None:
    assert read_stress(write_stress(stress)) == stress
    assert read_bubbles(write_bubbles(bubbles)) == bubbles
    assert read_homogeneity(write_homogeneity(Homogeneity(first, second))) == Homogeneity(first, second)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("P3", Texture("polish", 3)),
        ("P", Texture("polish")),
        ("G", Texture("ground")),
        ("P4; Rq 1.5 nm", Texture("polish", 4, "Rq", 1.5)),
        ("G; Rq < 2 um", Texture("ground", None, "Rq", 2.0, "um")),
    ],
)
def test_a_texture_is_read_and_written(text: str, found: Texture) -> None:
    assert read_texture(text) == found
    assert read_texture(write_texture(found)) == found


def test_laser_resistance_keeps_what_it_cannot_tell_apart() -> None:
    found = read_laser("6/10 J/cm²; 1064 nm; 10 ns; 1-on-1")
    assert found == LaserResistance(10.0, "J/cm2", 1064.0, "10 ns; 1-on-1")
    assert read_laser(write_laser(found)) == found


def test_nanometres_become_fringe_spacings_of_the_mercury_line() -> None:
    half_wave_nm = 546.07 / 2
    assert read_form("3/1092.14nm(273.035nm)").power_fringes == pytest.approx(1092.14 / half_wave_nm)
    whole = read_form("3/1092.14(273.035/100) nm")
    assert whole.irregularity_fringes == pytest.approx(1.0)
    assert whole.rotational_fringes == pytest.approx(100 / half_wave_nm)


def test_rms_terms_are_read_and_stand_in_for_an_irregularity_that_is_not_stated() -> None:
    form = read_form("3/-(-); RMSi < 0.05; RMSt < 0,1")
    assert (form.rms_irregularity_fringes, form.rms_total_fringes) == (0.05, 0.1)
    assert form.irregularity_demand_fringes == pytest.approx(0.25)
    assert read_form("3/-(0.4) RMSi<0.05").irregularity_demand_fringes == 0.4


@pytest.mark.parametrize("text", ["60-40", "60/40", "S-D 60-40", " 60 - 40 "])
def test_scratch_dig_is_kept_as_it_is_and_never_turned_into_a_width(text: str) -> None:
    found = read_imperfections(text)
    assert found == ScratchDig(60, 40)
    assert write_imperfections(found) == "60-40"


def test_the_beginning_of_an_iso_indication_is_no_scratch_dig() -> None:
    with pytest.raises(IndicationUnreadable):
        read_imperfections("5/2")


def test_the_form_of_2017_states_the_width_of_scratches() -> None:
    assert read_imperfections("5/1x0,25; W0,04") == Imperfections(Allowed(1, 0.25), scratch_width_mm=0.04)


@pytest.mark.parametrize(
    ("text", "position"), [("0/", 3), ("1/3", 4), ("2/6;1", 3), ("2/1", 4), ("15/x", 4), ("13/5(1", 7), ("P5", 2), ("6/10 J; 1", 6)]
)
def test_errors_name_their_position(text: str, position: int) -> None:
    readers = {"0": read_stress, "1/": read_bubbles, "2": read_homogeneity, "15": read_assembly_imperfections, "13": read_transmitted_wavefront,
               "P": read_texture, "6": read_laser}  # fmt: skip
    reader = next(reader for head, reader in sorted(readers.items(), key=lambda one: -len(one[0])) if text.startswith(head))
    with pytest.raises(IndicationUnreadable) as caught:
        reader(text)
    assert caught.value.position == position
