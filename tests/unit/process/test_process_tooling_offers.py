"""Tools owned and tools charged; and radii that could be those of a test plate in hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.process.domain.plan import plan_operations
from services.process.domain.tools.plate_offers import focal_length_of_ratio_mm
from shared_schemas.operations import OperationPlan, ToolingOffer
from shared_schemas.rates import RateMissing, Rates

FOCAL_MM = 100.0


def sloped(made: Any, *slopes: tuple[float | None, float | None], focal_mm: float | None = FOCAL_MM) -> Any:
    """The lens with df/dR of front and back of each element in its check report."""
    elements = tuple(
        element.model_copy(
            update={
                "front": element.front.model_copy(update={"focal_length_per_radius": front}),
                "back": element.back.model_copy(update={"focal_length_per_radius": back}),
            }
        )
        for element, (front, back) in zip(made.check.elements, slopes, strict=True)
    )
    order = made.check.first_order.model_copy(update={"focal_length_mm": focal_mm})
    return replace(made, check=made.check.model_copy(update={"elements": elements, "first_order": order}))


def plan(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def with_tooling(rates: Rates, change: Callable[[Any], Any | None]) -> Rates:
    rows = tuple(row for row in map(change, rates.tooling) if row is not None)
    return Rates.model_construct(**{name: getattr(rates, name) for name in Rates.model_fields} | {"tooling": rows})


def charged(found: OperationPlan) -> list[str]:
    return [tool.name for tool in found.tooling]


# --- kinds of tools ---


def test_a_radius_far_from_every_tool_is_charged_for_tool_plate_and_block(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    found = plan(lens(piece(radii_mm=(112.4, -112.4))), rates)
    assert charged(found) == ["radius tool 112.4 mm", "test plate 112.4 mm", "block 112.4 mm", "block 112.4 mm"]
    assert [tool.ways[0].choice for tool in found.tooling[1:]] == ["testing", "front", "back"]
    for tool in found.tooling:
        charge, days = tool.basis
        assert (tool.part, charge.value, days.value) == ("L1", tool.charge, tool.lead_days)
        assert charge.rate_row is not None
        assert (charge.rate_row.table, tool.charge > 0, tool.lead_days > 0) == ("tooling", True, True)


def test_lenses_that_cannot_share_a_block_need_none(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    steep = plan(lens(piece(radii_mm=(13.7, -50.0), centre_thickness_mm=14.0)), rates)
    assert {one.method for one in steep.routes[0].operations if (one.operation, one.face) == ("polish", "front")} == {
        "single",
        "volume",
    }
    assert charged(steep) == ["radius tool 13.7 mm", "test plate 13.7 mm"]


def test_tools_in_hand_are_named_with_what_they_serve(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    found = plan(lens(piece(radii_mm=(50.0, -50.0))), rates)
    assert found.tooling == ()
    assert {(tool.name, tool.serves) for tool in found.tools_owned} == {
        ("radius tool 50", "R 50 of the front, R 50 of the back"),
        ("test plate 50", "R 50 of the front, R 50 of the back"),
        ("block 50", "R 50 of the front, R 50 of the back"),
        ("centring chuck 25", "diameter 25"),
        ("coating fixture 25", "diameter 25"),
    }


def test_a_flat_face_needs_no_tool_of_its_own(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    found = plan(lens(piece(radii_mm=(None, -50.0))), rates)
    assert all("front" not in tool.serves for tool in found.tools_owned)
    assert found.tooling == ()


@pytest.mark.parametrize("kind", ["radius_tool", "block", "test_plate", "centring_chuck", "coating_fixture"])
def test_a_kind_without_a_price_is_missing_by_table_and_row(
    kind: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    bare = with_tooling(rates, lambda row: None if row.kind == kind else row)
    with pytest.raises(RateMissing, match=f"tooling has no row for a new {kind.replace('_', ' ')}"):
        plan(lens(piece(radii_mm=(50.0, -50.0))), bare)


def test_a_face_that_may_go_on_a_block_needs_one(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"single_below_fringes": 0.2}) for row in rates.polishing)
    shop = rates.model_copy(update={"polishing": rows})
    found = plan(lens(piece(radii_mm=(112.4, -50.0), irregularity=(0.15, 0.15))), shop)
    needed = {one.where: [tool.name for tool in one.needed] for one in found.relaxations if one.tolerance == "irregularity"}
    assert needed == {"/elements/0/front/form": ["block 112.4 mm"], "/elements/0/back/form": []}


# --- offers of test plates ---


def offers(made: Any, rates: Rates) -> tuple[ToolingOffer, ...]:
    return plan(made, rates).offers


def test_a_radius_near_a_plate_gets_its_offer_with_all_figures(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = sloped(lens(piece(radii_mm=(112.4, 36.40))), (None, -2.5))
    (offer,) = offers(made, rates)
    assert (offer.where, offer.part, offer.tool) == ("/elements/0/back/radius_mm", "L1", "test plate 36.52")
    assert (offer.from_radius_mm, offer.to_radius_mm) == (36.40, 36.52)
    power = 1 / FOCAL_MM - 2.5 * (36.40 / FOCAL_MM) ** 2 * (1 / 36.52 - 1 / 36.40)
    assert offer.focal_length_change_mm == pytest.approx(1 / power - FOCAL_MM)
    assert offer.focal_length_change_mm == pytest.approx(-2.5 * 0.12, rel=0.01)
    assert offer.focal_length_change_share == pytest.approx(offer.focal_length_change_mm / FOCAL_MM)
    assert (offer.saving, offer.lead_days_saved) == (Decimal("520.00"), 18.0)
    assert (offer.not_needed, offer.needed) == (("test plate 36.4 mm",), ())
    basis = {one.name: one for one in offer.basis}
    assert basis["focal_length_change_mm"].value == pytest.approx(offer.focal_length_change_mm, rel=1e-9)
    assert (basis["saving"].value, basis["lead_days_saved"].value) == (offer.saving, offer.lead_days_saved)
    plate = basis["to_radius_mm"]
    assert (plate.value, plate.rate_row and plate.rate_row.row) == (36.52, "test plate 36.52")


def test_the_sign_of_the_radius_stays(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    """A plate pair serves both sides; what is concave stays concave."""
    (offer,) = offers(sloped(lens(piece(radii_mm=(112.4, -36.40))), (None, 1.0)), rates)
    assert (offer.from_radius_mm, offer.to_radius_mm) == (-36.40, -36.52)


def test_the_radius_tool_is_saved_too_where_the_plates_own_is_in_hand(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    """36.1 is past the reach of the radius tool 36.52 when that is short."""
    short = with_tooling(rates, lambda row: row.model_copy(update={"reach_share": 0.001}) if row.kind == "radius_tool" else row)
    made = sloped(lens(piece(radii_mm=(50.0, 36.40))), (None, -0.5))
    (offer,) = offers(made, short)
    assert offer.not_needed == ("radius tool 36.4 mm", "test plate 36.4 mm")
    assert offer.saving == Decimal("700.00")


def test_what_the_new_radius_asks_for_is_taken_off_the_saving(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    def moved(row: Any) -> Any:
        return row.model_copy(update={"radius_mm": 36.2, "reach_share": 0.006}) if row.name == "radius tool 36.52" else row

    (offer,) = offers(sloped(lens(piece(radii_mm=(50.0, 36.40))), (None, -0.5)), with_tooling(rates, moved))
    assert offer.not_needed == ("test plate 36.4 mm",)
    assert [tool.name for tool in offer.needed] == ["radius tool 36.52 mm"]
    assert (offer.saving, offer.lead_days_saved) == (Decimal("340.00"), 13.0)


def test_every_face_of_that_radius_changes_with_it(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    pieces = (piece(radii_mm=(50.0, 36.40)), piece(name="L2", radii_mm=(-36.40, 50.0)))
    (offer,) = offers(sloped(lens(*pieces), (None, -1.0), (0.25, None)), rates)
    assert offer.also == ("/elements/1/front/radius_mm",)
    assert offer.focal_length_change_mm == pytest.approx(-1.0 * 0.12 + 0.25 * -0.12, rel=0.01)


def test_cemented_faces_change_together_or_not_at_all(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    alike = (piece(radii_mm=(50.0, -36.40)), piece(name="L2", radii_mm=(-36.40, 50.0)))
    (offer,) = offers(sloped(lens(*alike, cemented=(0,)), (None, -1.0), (1.2, None)), rates)
    assert (offer.where, offer.also) == ("/elements/0/back/radius_mm", ("/elements/1/front/radius_mm",))
    unlike = (piece(radii_mm=(50.0, -36.40)), piece(name="L2", radii_mm=(-36.41, 50.0)))
    assert offers(sloped(lens(*unlike, cemented=(0,)), (None, -1.0), (1.2, None)), rates) == ()


def test_no_offer_moves_the_focal_length_further_than_the_rates_say(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(radii_mm=(50.0, 36.40)))
    assert len(offers(sloped(made, (None, 4.1)), rates)) == 1
    assert offers(sloped(made, (None, 4.3)), rates) == ()


def test_nearest_plate_first(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    near = next(row for row in rates.tooling if row.name == "test plate 36.52").model_copy(
        update={"name": "test plate 36.3", "radius_mm": 36.3}
    )
    more = Rates.model_construct(
        **{name: getattr(rates, name) for name in Rates.model_fields} | {"tooling": (*rates.tooling, near)}
    )
    found = offers(sloped(lens(piece(radii_mm=(50.0, 36.40))), (None, -1.0)), more)
    assert [offer.tool for offer in found] == ["test plate 36.3", "test plate 36.52"]


@pytest.mark.parametrize(
    ("radius_mm", "aspheric", "slope", "focal_mm"),
    [
        (36.52, False, 1.0, FOCAL_MM),  # owned as it is
        (36.00, False, 1.0, FOCAL_MM),  # beyond the reach of an offer
        (36.40, True, 1.0, FOCAL_MM),  # an asphere has no test plate
        (36.40, False, None, FOCAL_MM),  # a report that does not say what the radius does
        (36.40, False, 1.0, None),  # afocal
    ],
)
def test_no_offer(
    radius_mm: float, aspheric: bool, slope: float | None, focal_mm: float | None, lens: Callable[..., Any],
    piece: Callable[..., Any], rates: Rates,
) -> None:  # fmt: skip
    made = sloped(lens(piece(radii_mm=(None, radius_mm), aspheric=aspheric)), (None, slope), focal_mm=focal_mm)
    assert offers(made, rates) == ()


@given(
    front=st.floats(20, 300), back=st.floats(-300, -20), index=st.floats(1.45, 1.9), ratio=st.floats(0.98, 1.02), both=st.booleans()
)
def test_the_new_focal_length_of_a_thin_lens_is_the_lensmakers(
    front: float, back: float, index: float, ratio: float, both: bool
) -> None:
    def lensmaker(first: float, second: float) -> float:
        return 1 / ((index - 1) * (1 / first - 1 / second))

    f = lensmaker(front, back)
    faces = [(front, f**2 * (index - 1) / front**2), (back, -(f**2) * (index - 1) / back**2)]
    found = focal_length_of_ratio_mm(focal_length_mm=f, faces=faces if both else faces[:1], ratio=ratio)
    assert found == pytest.approx(lensmaker(front * ratio, back * ratio if both else back), rel=1e-9)


def test_a_lens_left_without_power_has_no_focal_length() -> None:
    assert focal_length_of_ratio_mm(focal_length_mm=100.0, faces=[(50.0, 4.0)], ratio=2.0) == float("inf")
