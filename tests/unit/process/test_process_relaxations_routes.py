"""What a looser tolerance or a simpler coating makes of a route: told so that the route can be had from it, whole."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.dispersion import Dispersion
from services.process.domain.coating.choice import Simpler, simpler_coating
from services.process.domain.coating.promise import band_of
from services.process.domain.plan import plan_operations
from services.process.domain.route.element import element_lines
from services.process.domain.route.knees import next_looser
from services.process.domain.route.own_work import rates_asked
from services.process.domain.route.relaxations import route_changes
from services.quoting.pricing.loosening import loosened
from shared_schemas.operations import Operation, OperationPlan, Relaxation, Route
from shared_schemas.prescription import Barrel
from shared_schemas.rates import CoatingLayer, Rates

BARREL = Barrel(material="aluminium", length_mm=60.0, outer_diameter_mm=44.0, engraved_characters=20)


def plan(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def bare(operations: Sequence[Operation]) -> list[Operation]:
    return [one.model_copy(update={"basis": ()}) for one in operations]


def granted(found: OperationPlan, relaxation: Relaxation) -> list[Operation]:
    (route,) = (route for route in found.routes if route.part == relaxation.part)
    return bare(loosened(route, (relaxation,)).operations)


STEPS = st.builds(
    lambda name, face, method, centre, size, minutes, spent: Operation(
        operation=name, face=face, method=method, work_centre=centre, setup_min=minutes / 2, batch_size=size, batch_min=minutes,
        consumables=Decimal(spent), **{"yield": 0.9},
    ),
    st.sampled_from(("generate", "polish", "centre", "coat")),
    st.sampled_from(("front", "back")),
    st.sampled_from(("single", "block")),
    st.sampled_from(("one bench", "another")),
    st.integers(1, 4),
    st.integers(1, 3),
    st.integers(0, 2),
)  # fmt: skip


@given(before=st.lists(STEPS, min_size=1, max_size=8), after=st.lists(STEPS, min_size=1, max_size=8))
def test_any_route_comes_from_any_other_by_its_changes(before: list[Operation], after: list[Operation]) -> None:
    changes = route_changes(before, after)
    relaxation = Relaxation(
        where="/x", part="L1", tolerance="any", from_figure=1, to_figure=2, unit="", operations=changes.operations,
        removed=changes.removed, added=changes.added,
    )  # fmt: skip
    route = Route(part="L1", kind="element", operations=tuple(before))
    operations = list(route.operations)
    assert not changes or before != after
    assert list(loosened(route, (relaxation,)).operations if changes else operations) == after


def test_equal_routes_have_no_changes() -> None:
    step = Operation(
        operation="polish", work_centre="b", setup_min=1, batch_size=1, batch_min=1, consumables=Decimal(0), **{"yield": 0.9}
    )
    assert not route_changes([step], [step.model_copy()])


def test_every_relaxation_of_an_element_is_its_route_worked_out_with_that_figure(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    tight = piece(irregularity=(0.1, 0.4), power=2.0, grade_mm=0.16, centring_arcmin=0.9, diameter_tolerance_mm=0.01,
                  thickness_tolerance_mm=0.04, radii_mm=(60.0, -90.0), coatings=("ar-broadband", None))  # fmt: skip
    made = lens(tight)
    found, (work,) = plan(made, rates), made.works(rates.in_order)
    asked = rates_asked(rates.in_order, ())
    told = {one.tolerance for one in found.relaxations if one.part == "L1"}
    assert told == {"irregularity", "power", "imperfection_grade", "centring", "diameter", "centre_thickness", "coating"}
    for relaxation in found.relaxations:
        if relaxation.part == "L1" and relaxation.tolerance != "coating":
            face = next((name for name in ("front", "back") if f"/{name}/" in relaxation.where), None)
            looser = work.with_figure(relaxation.tolerance, face, relaxation.to_figure)
            whole = [one.as_operation() for one in element_lines(looser, asked)]
            assert granted(found, relaxation) == bare(whole), relaxation.where


def test_a_figure_that_may_go_on_a_block_brings_that_way(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"single_below_fringes": 0.2}) for row in rates.polishing)
    found = plan(lens(piece(irregularity=(0.15, 1.0), radii_mm=(60.0, -90.0))), rates.model_copy(update={"polishing": rows}))
    relaxation = next(one for one in found.relaxations if one.tolerance == "irregularity" and one.from_figure == 0.15)
    brought = {one.operation.operation: one.operation for one in relaxation.added if one.operation.method == "block"}
    assert set(brought) >= {"block", "fine_grind", "polish", "deblock"}
    assert brought["polish"].work_centre == "polishing spindles"
    assert brought["polish"].batch_size > 1
    assert [(way.choice, way.option) for way in brought["polish"].ways] == [("front", "block")]


def test_a_figure_of_the_last_class_or_looser_is_not_listed(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    loose = {row.attribute: row.commercial for row in rates.tolerance_classes}
    made = lens(piece(irregularity=(loose["irregularity"],) * 2, power=loose["power"], grade_mm=loose["imperfection_grade"],
                      centring_arcmin=loose["centring"], diameter_tolerance_mm=loose["diameter"],
                      thickness_tolerance_mm=loose["centre_thickness"], coatings=(None, None)), barrel=BARREL)  # fmt: skip
    assert plan(made, rates).relaxations == ()
    assert all(next_looser(row, row.commercial) is None for row in rates.tolerance_classes)


# --- coatings ---


def coatings(found: OperationPlan) -> list[Relaxation]:
    return [one for one in found.relaxations if one.tolerance == "coating"]


def test_a_single_layer_becomes_a_bare_face_whose_run_falls_away(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(coatings=("ar-single", None)))
    found = plan(made, rates)
    (relaxation,) = coatings(found)
    assert relaxation.where == "/elements/0/front/coating"
    assert relaxation.from_figure < relaxation.to_figure == pytest.approx(4.2, abs=0.2)
    gone = [found.routes[0].operations[at] for at in relaxation.removed]
    assert [(step.operation, step.method) for step in gone] == [
        ("clean", "before coating"), ("coat", ""), ("inspect", "witness"), ("clean", "after coating"), ("inspect", "coated"),
    ]  # fmt: skip
    assert relaxation.added == ()
    assert "no coating instead of ar-single" in relaxation.means
    assert granted(found, relaxation) == bare(plan(lens(piece(coatings=(None, None))), rates).routes[0].operations)


def test_a_broadband_coating_becomes_the_next_with_fewer_layers_in_a_run_of_that(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found = plan(lens(piece(coatings=("ar-broadband", "ar-single"))), rates)
    front, _ = sorted(coatings(found), key=lambda one: one.where, reverse=True)
    (added,) = front.added
    simpler = (added.operation.shared_run or "").removeprefix("coat ").removesuffix(" on N-BK7")
    assert len(rates.coating(simpler).layers) < len(rates.coating("ar-broadband").layers)
    assert front.part == "L1"
    again = plan(lens(piece(coatings=(simpler, "ar-single"))), rates)
    assert granted(found, front) == bare(again.routes[0].operations)


def test_a_bare_face_has_nothing_to_simplify(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    assert coatings(plan(lens(piece(coatings=("ar-single", "ar-single"))), rates))
    assert not coatings(plan(lens(piece(coatings=(None, None))), rates))


def test_a_mirror_is_not_simplified(work: Callable[..., Any], rates: Rates) -> None:
    mirror = rates.coating("ar-single").model_copy(
        update={"name": "divider", "layers": (CoatingLayer(material="oxide", index=2.3, thickness_nm=59.8, rate_nm_per_s=0.3),)}
    )
    more = Rates.model_construct(
        **{name: getattr(rates, name) for name in Rates.model_fields} | {"coatings": (*rates.coatings, mirror)}
    )
    coated = work()

    def simpler(coating: str) -> Simpler | None:
        row = more.coating(coating)
        return simpler_coating(row, asked=band_of(row), glass=Dispersion(coated.glass), rates=more)

    assert simpler("divider") is None
    from_broadband = simpler("ar-broadband")
    assert from_broadband is not None
    assert from_broadband.coating != "divider"


# --- groups and the lens ---


def test_a_group_is_cemented_more_plainly_one_class_looser(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    pieces = (piece(centring_arcmin=2.0), piece(name="L2", glass="SF2", radii_mm=(-50.0, 200.0), centring_arcmin=6.0))
    found = plan(lens(*pieces, cemented=(0,)), rates)
    (relaxation,) = (one for one in found.relaxations if one.tolerance == "cementing_centring")
    assert (relaxation.part, relaxation.where) == ("L1+L2", "/elements/0/tolerances/centring")
    assert (relaxation.from_figure, relaxation.to_figure, relaxation.unit) == (2.0, 6.0, "arcmin")
    looser = plan(lens(*(replace(one, centring_arcmin=6.0) for one in pieces), cemented=(0,)), rates)
    (route,) = (route for route in looser.routes if route.part == "L1+L2")
    assert granted(found, relaxation) == bare(route.operations)


def test_the_lens_is_aligned_sooner_one_class_looser(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    pieces = (piece(centring_arcmin=1.0), piece(name="L2", centring_arcmin=5.0))
    found = plan(lens(*pieces, barrel=BARREL), rates)
    (relaxation,) = (one for one in found.relaxations if one.tolerance == "alignment")
    assert (relaxation.part, relaxation.from_figure, relaxation.to_figure) == ("lens", 1.0, 2.0)
    looser = plan(lens(replace(pieces[0], centring_arcmin=2.0), pieces[1], barrel=BARREL), rates)
    assert granted(found, relaxation) == bare(looser.routes[-1].operations)
    assert not [one for one in plan(lens(*pieces), rates).relaxations if one.tolerance == "alignment"]
