"""Layouts, each proved by a checker that knows nothing of how they were made."""

from __future__ import annotations

import math
import random
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.glass.domain.cutting.picture import PlateText, free_strip_mm, plate_svg, share_of_hexagonal_limit, utilisation
from services.glass.domain.layouts.equal import Layout, best_layout, disc_capacity
from services.glass.domain.layouts.mixed import Plate, Wanted, mixed_layout, mixed_plates
from services.glass.errors import SizeImpossible
from services.shop.layout.discs_in_plate import forget_plates, known_plates, searched_places
from services.shop.layout.rectangle import Oblong
from services.shop.layout.rows import HEXAGONAL_LIMIT, best_family, best_rows
from services.shop.layout.search import Effort, find_places, oler_surplus

TOLERANCE_MM = 2e-9

lengths = st.floats(20, 300)
diameters = st.floats(5, 70)
gaps = st.floats(0, 6)
margins = st.floats(0, 4)


def faults_of(layout: Layout) -> list[str]:
    """Every disc against the edge, and every pair of discs, by brute force."""
    found = []
    for number, disc in enumerate(layout.discs):
        room = min(disc.x_mm, disc.y_mm, layout.length_mm - disc.x_mm, layout.width_mm - disc.y_mm)
        if room - disc.diameter_mm / 2 < layout.edge_margin_mm - TOLERANCE_MM:
            found.append(f"disc {number} over the margin")
        for other_number, other in enumerate(layout.discs[:number]):
            apart = math.hypot(disc.x_mm - other.x_mm, disc.y_mm - other.y_mm)
            web = apart - disc.diameter_mm / 2 - other.diameter_mm / 2
            if web < max(disc.gap_mm, other.gap_mm) - TOLERANCE_MM:
                found.append(f"discs {other_number} and {number} are {web} mm apart")
    return found


@settings(max_examples=80, deadline=None)
@given(lengths, lengths, diameters, gaps, margins)
def test_no_layout_overlaps_or_leaves_the_plate_and_none_is_worse_than_rows(
    length: float, width: float, diameter: float, gap: float, margin: float
) -> None:
    layout = best_layout(length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap, edge_margin_mm=margin)
    assert faults_of(layout) == []
    rows = best_rows(
        length_mm=max(0.0, length - 2 * margin), width_mm=max(0.0, width - 2 * margin), diameter_mm=diameter, gap_mm=gap
    )
    assert len(layout.discs) >= rows.discs
    assert layout.disc_area_mm2 <= length * width
    assert disc_capacity(length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap, edge_margin_mm=margin) == (
        len(layout.discs),
        layout.pattern,
    )


@settings(max_examples=40, deadline=None)
@given(lengths, lengths, diameters, gaps)
def test_a_plate_turned_holds_as_many(length: float, width: float, diameter: float, gap: float) -> None:
    one = best_layout(length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap)
    turned = best_layout(length_mm=width, width_mm=length, diameter_mm=diameter, gap_mm=gap)
    assert len(one.discs) == len(turned.discs)


@settings(max_examples=150, deadline=None)
@given(st.floats(0, 300), st.floats(0, 300), st.floats(4, 60))
def test_rows_of_other_kinds_stand_apart_and_are_as_many_as_counted(length: float, width: float, pitch: float) -> None:
    family = best_family(room_length_mm=length, room_width_mm=width, pitch_mm=pitch)
    assert family is not None
    centres = [(centre.x_mm, centre.y_mm) for centre in family.centres(pitch)]
    assert len(centres) == family.discs >= 1
    assert all(-1e-9 <= x <= length + 1e-9 and -1e-9 <= y <= width + 1e-9 for x, y in centres)
    for number, one in enumerate(centres[:400]):
        assert all(math.dist(one, other) >= pitch - 1e-9 for other in centres[:number])


def test_a_row_that_leaves_some_room_is_spread_so_that_one_row_more_fits() -> None:
    # Room for centres 66 x 100.3, pitch 40: two in a row spread to 44 bring rows sqrt(40^2 - 22^2) = 33.41 apart, four in all.
    plate = {"length_mm": 102.0, "width_mm": 136.3, "diameter_mm": 36.0, "gap_mm": 4.0}
    assert best_rows(**plate).discs == 6
    layout = best_layout(**plate)
    assert (len(layout.discs), layout.pattern) == (8, "rows_along_length")


def test_a_plate_with_width_to_spare_has_some_rows_stacked_square() -> None:
    layout = best_layout(length_mm=298, width_mm=198, diameter_mm=32, gap_mm=3.8, edge_margin_mm=1)
    heights = sorted({round(disc.y_mm, 6) for disc in layout.discs})
    steps = {round(after - before, 3) for before, after in pairwise(heights)}
    assert len(layout.discs) == 46 > best_rows(length_mm=296, width_mm=196, diameter_mm=32, gap_mm=3.8).discs
    assert max(steps) == 35.8
    assert len(steps) == 2


def test_plates_by_chance_are_filled_better_than_by_rows() -> None:
    chance = random.Random(4)
    gains = []
    for _ in range(100):
        plate = {
            "length_mm": chance.uniform(60, 300), "width_mm": chance.uniform(60, 200),
            "diameter_mm": chance.uniform(8, 60), "gap_mm": chance.uniform(2, 6),
        }  # fmt: skip
        layout = best_layout(**plate)
        assert faults_of(layout) == []
        gains.append(len(layout.discs) / best_rows(**plate).discs - 1)
    assert min(gains) >= 0
    assert sum(gains) / len(gains) > 0.05


def test_a_layout_is_the_same_when_it_is_found_again_and_is_remembered() -> None:
    plate = {"length_mm": 172.9, "width_mm": 109.3, "diameter_mm": 26.0, "gap_mm": 3.8, "edge_margin_mm": 1.0}
    forget_plates()
    first = best_layout(**plate)
    assert known_plates() == 1
    assert best_layout(**plate) == first
    assert known_plates() == 1
    forget_plates()
    assert best_layout(**plate) == first


def test_a_plate_too_small_holds_nothing_and_one_of_the_disc_itself_one() -> None:
    assert best_layout(length_mm=10, width_mm=50, diameter_mm=10.01, gap_mm=1).discs == ()
    assert len(best_layout(length_mm=10, width_mm=10, diameter_mm=10, gap_mm=1).discs) == 1
    assert best_layout(length_mm=10, width_mm=10, diameter_mm=10, gap_mm=1, edge_margin_mm=0.1).discs == ()


@pytest.mark.parametrize(("diameter", "gap", "margin"), [(0.0, 1.0, 0.0), (5.0, -1.0, 0.0), (5.0, 1.0, -1.0), (math.nan, 1.0, 0.0)])
def test_sizes_that_cannot_be_are_refused(diameter: float, gap: float, margin: float) -> None:
    with pytest.raises(SizeImpossible):
        best_layout(length_mm=100, width_mm=100, diameter_mm=diameter, gap_mm=gap, edge_margin_mm=margin)
    with pytest.raises(SizeImpossible):
        mixed_layout(plate=Plate(100, 100, margin), wanted=[Wanted("L1", diameter, gap, 3)])


@pytest.mark.parametrize("discs", [1000, 5000])
def test_thousands_of_discs_fill_a_plate_as_hexagonal_rows_do(discs: int) -> None:
    side = math.sqrt(discs * 121 * 0.87)
    layout = best_layout(length_mm=side, width_mm=side, diameter_mm=10, gap_mm=1)
    assert 0.9 * discs < len(layout.discs) < 1.1 * discs


def test_a_search_that_finds_nothing_says_so_and_the_bound_of_points_is_kept() -> None:
    assert find_places(count=6, region=Oblong(2.0, 1.0), effort=Effort(sets=4, steps=100, rounds=1, refine=False)) is not None
    assert find_places(count=7, region=Oblong(2.0, 1.0)) is None
    assert oler_surplus(count=9, region=Oblong(2.0, 2.0)) > 0
    assert searched_places(least=10, room_length_mm=20.0, room_width_mm=10.0, pitch_mm=10.0) == ()


kinds = st.lists(st.tuples(st.floats(8, 60), st.floats(0, 5), st.integers(0, 25)), min_size=1, max_size=3)


@settings(max_examples=40, deadline=None)
@given(st.floats(60, 200), st.floats(60, 200), margins, kinds)
def test_discs_of_several_elements_share_a_plate_without_touching(
    length: float, width: float, margin: float, sizes: list[tuple[float, float, int]]
) -> None:
    wanted = [Wanted(f"L{number}", *size) for number, size in enumerate(sizes, start=1)]
    layout = mixed_layout(plate=Plate(length, width, margin), wanted=wanted)
    assert faults_of(layout) == []
    for want in wanted:
        assert layout.count_of(want.owner) <= want.count
        assert all(disc.diameter_mm == want.diameter_mm for disc in layout.discs if disc.owner == want.owner)


@settings(max_examples=40, deadline=None)
@given(st.floats(80, 200), diameters, gaps, margins)
def test_one_kind_alone_is_laid_as_well_as_by_itself(side: float, diameter: float, gap: float, margin: float) -> None:
    alone = best_layout(length_mm=side, width_mm=side, diameter_mm=diameter, gap_mm=gap, edge_margin_mm=margin)
    shared = mixed_layout(plate=Plate(side, side, margin), wanted=[Wanted("L1", diameter, gap, 10_000)])
    assert len(shared.discs) >= len(alone.discs)


def test_small_discs_come_out_of_what_large_ones_leave() -> None:
    plate = Plate(156, 156, 1)
    large, small = Wanted("L1", 27.0, 3.8, 12), Wanted("L2", 22.0, 3.0, 14)
    together = mixed_plates(plate=plate, wanted=[large, small])
    assert len(together) == 1
    assert len(mixed_plates(plate=plate, wanted=[large])) + len(mixed_plates(plate=plate, wanted=[small])) == 2
    gaps_filled = mixed_layout(plate=Plate(100, 100), wanted=[Wanted("L1", 48.0, 2.0, 4), Wanted("L2", 16.0, 2.0, 50)])
    assert (gaps_filled.count_of("L1"), gaps_filled.count_of("L2")) == (4, 1)


def test_every_disc_that_fits_a_plate_is_cut_and_one_that_fits_none_is_left() -> None:
    wanted = [Wanted("L1", 54.0, 4.0, 13), Wanted("L2", 20.0, 3.0, 60), Wanted("L3", 300.0, 3.0, 1)]
    plates = mixed_plates(plate=Plate(156, 156, 1), wanted=wanted)
    assert [sum(plate.count_of(want.owner) for plate in plates) for want in wanted] == [13, 60, 0]
    assert all(faults_of(plate) == [] for plate in plates)
    assert mixed_plates(plate=Plate(156, 156, 1), wanted=[Wanted("L1", 54.0, 4.0, 0)]) == ()


def test_utilisation_is_measured_against_the_hexagonal_limit() -> None:
    layout = best_layout(length_mm=1000, width_mm=1000, diameter_mm=10, gap_mm=1)
    share = utilisation(layout=layout)
    assert share == pytest.approx(len(layout.discs) * math.pi * 25 / 1e6)
    assert share < 1.01 * HEXAGONAL_LIMIT * (10 / 11) ** 2
    assert share_of_hexagonal_limit(utilisation=math.pi / math.sqrt(12)) == pytest.approx(1)
    with pytest.raises(SizeImpossible):
        utilisation(layout=Layout(0, 0, 0, "square", ()))


def picture_of(layout: Layout, title: str = "N-BK7 slab") -> ElementTree.Element:
    return ElementTree.fromstring(plate_svg(layout=layout, text=PlateText(title, 6.6, 1.4, 500.0)))


def test_the_picture_shows_every_disc_to_scale_with_cut_margin_bar_and_figures() -> None:
    layout = best_layout(length_mm=160, width_mm=120, diameter_mm=30, gap_mm=3.8, edge_margin_mm=1, owner="L1")
    picture = picture_of(layout)
    name = "{http://www.w3.org/2000/svg}"
    discs = [circle for circle in picture.iter(f"{name}circle") if circle.get("class") == "disc"]
    cuts = [circle for circle in picture.iter(f"{name}circle") if circle.get("class") == "kerf"]
    assert len(discs) == len(cuts) == len(layout.discs)
    assert {circle.get("r") for circle in discs} == {"67.5"}
    assert {rectangle.get("class") for rectangle in picture.iter(f"{name}rect")} >= {"plate", "margin"}
    words = " ".join(text.text or "" for text in picture.iter(f"{name}text"))
    for said in ("50 mm", "500.0 g", "utilisation", "of the hexagonal limit", f"{len(layout.discs)} × L1"):
        assert said in words


def test_the_picture_shows_the_remnant_that_one_cut_leaves_whole() -> None:
    layout = mixed_layout(plate=Plate(160, 100, 1), wanted=[Wanted("L1", 30.0, 4.0, 6)])
    x, y, length, width = free_strip_mm(layout=layout)
    assert (y, width) == (0.0, 100)
    assert all(disc.x_mm + disc.diameter_mm / 2 + disc.gap_mm <= x + 1e-9 for disc in layout.discs)
    assert x + length == pytest.approx(160)
    assert "remnant" in {rectangle.get("class") for rectangle in picture_of(layout).iter("{http://www.w3.org/2000/svg}rect")}


def test_of_two_remnants_the_larger_is_the_one_that_is_kept() -> None:
    layout = mixed_layout(plate=Plate(100, 160, 1), wanted=[Wanted("L1", 30.0, 4.0, 3)])
    right = max(disc.x_mm + disc.diameter_mm / 2 + disc.gap_mm for disc in layout.discs)
    above = max(disc.y_mm + disc.diameter_mm / 2 + disc.gap_mm for disc in layout.discs)
    *_, length, width = free_strip_mm(layout=layout)
    assert length * width == pytest.approx(max((100 - right) * 160, 100 * (160 - above)))


def test_the_picture_is_the_same_bytes_again_and_holds_any_name() -> None:
    layout = best_layout(length_mm=90, width_mm=90, diameter_mm=40, gap_mm=3, owner='<L1> & "co" \x00')
    text = PlateText("</svg><script>alert(1)</script>\x07", 6.6, 1.4, 500.0)
    assert plate_svg(layout=layout, text=text) == plate_svg(layout=layout, text=text)
    picture = picture_of(layout, text.title)
    assert not list(picture.iter("{http://www.w3.org/2000/svg}script"))
    assert plate_svg(layout=Layout(50, 50, 1, "square", ()), text=text).count("no disc fits") == 1
