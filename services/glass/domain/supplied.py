"""What the customer supplies of the glass: his glass, cut as the shop would cut its own, or his blanks. Neither costs anything."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from services.glass.domain.blank.options import density_of
from services.optics.body import Body, disc_volume_mm3, envelope_mm, mass_g
from services.optics.law import figure_of, given
from services.shop.allowances import allowances_for, work_diameter_mm
from shared_schemas.blanks import Blank, MaterialModel, MaterialStep
from shared_schemas.check import ElementCheck, Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.order_terms import Supplied
from shared_schemas.prescription import Element
from shared_schemas.rates import Rates

OWN = "the customer's"
"""The stock that supplied glass and supplied blanks come out of."""
SAYS = "the request: supplied by the customer"


def alike_as_supplied(alike: Mapping[str, str], names: Iterable[str], supplied: Sequence[Supplied]) -> dict[str, str]:
    """Which elements are alike, those told apart of which the customer supplies something else: they are lots of their own."""
    first: dict[tuple[object, ...], str] = {}
    still: dict[str, str] = {}
    for name in names:
        entries = sorted(one.model_dump_json(exclude={"element"}) for one in supplied if one.element == name)
        known = first.setdefault((alike.get(name, name), *entries), name)
        if known != name:
            still[name] = known
    return still


def supplied_by_element(supplied: Sequence[Supplied], what: str) -> dict[str, tuple[int, Supplied]]:
    """What of one kind the customer supplies, by element, with its place in the request."""
    return {one.element: (place, one) for place, one in enumerate(supplied) if one.what == what and one.element is not None}


def cut_from_his_glass(blanks: Sequence[Blank], per_blank_g: float) -> tuple[tuple[Blank, ...], MaterialModel]:
    """The likeliest blank that is cut, and the glass that each takes, which is not bought."""
    cut = next((blank for blank in blanks if blank.form != "pressing"), blanks[0])
    basis = (*(one for one in cut.basis if one.name != "stock"), given("stock", OWN, source=SAYS))
    blank = cut.model_copy(update={"stock": OWN, "basis": basis})
    return (blank,), _not_bought(blank, per_blank_g)


def his_blank(
    *, place: int, entry: Supplied, position: int, element: Element, finished: Body, checked: ElementCheck, rates: Rates
) -> tuple[tuple[Blank, ...], MaterialModel] | Finding:
    """A blank that the customer supplies, and what it costs: nothing; or a stop where the element does not come out of it.

    Raises: RateMissing for a glass without a density, or an allowance that no row gives.
    """
    diameter, thickness = entry.diameter_mm or 0.0, entry.thickness_mm or 0.0
    allowances = allowances_for(form="disc", body=finished, rates=rates)
    least_mm = work_diameter_mm(diameter_mm=2 * finished.rim_mm, allowance_mm=allowances.on_diameter.allowance_mm)
    if checked.glass is None:
        return finding(
            "glass-not-priced", f"/elements/{position}/glass",
            f"{element.name} was checked, but cannot be priced: its glass is given by index alone, or has no row in glasses.",
            figure=str(element.glass), limit="a glass of the table glasses", remedy="name a catalogue glass, or have its row added to glasses",
        )  # fmt: skip
    if diameter < least_mm:
        return _too_small(place, element.name, "diameter", diameter, least_mm)
    envelope = envelope_mm(body=finished, diameter_mm=diameter)
    if thickness < envelope:
        return _too_small(place, element.name, "thickness", thickness, envelope)
    density = density_of(rates.glass(checked.glass))
    volume = disc_volume_mm3(diameter_mm=diameter, thickness_mm=thickness)
    finished_g = mass_g(volume_mm3=checked.volume_mm3, density_g_cm3=density) if checked.mass_g is None else checked.mass_g
    wide, thick = given("diameter_mm", diameter, "mm", source=SAYS), given("thickness_mm", thickness, "mm", source=SAYS)
    volume_figure = figure_of(disc_volume_mm3, name="volume_mm3", unit="mm3", diameter_mm=wide, thickness_mm=thick)
    whole = {name: given(name, 1, source=f"{SAYS}, each by itself") for name in ("discs_per_plate", "plates_per_slab", "blanks_per_piece", "utilisation")}  # fmt: skip
    blank = Blank(
        element=element.name, glass=checked.glass, form="disc", stock=OWN, diameter_mm=diameter, thickness_mm=thickness, envelope_mm=envelope,
        volume_mm3=volume, mass_g=mass_g(volume_mm3=volume, density_g_cm3=density), finished_mass_g=finished_g, discs_per_plate=1, plates_per_slab=1,
        blanks_per_piece=1, layout="single", utilisation=1.0,
        basis=(
            wide, thick, given("envelope_mm", envelope, "mm", source="the element as drawn, at the diameter of the blank"), volume_figure,
            figure_of(mass_g, name="mass_g", unit="g", volume_mm3=volume_figure, density_g_cm3=given("density_g_cm3", density, "g/cm3", source="rate table glasses")),
            *whole.values(), given("stock", OWN, source=SAYS),
        ),
    )  # fmt: skip
    return (blank,), _not_bought(blank, blank.mass_g)


def _too_small(place: int, element: str, what: str, figure: float, least: float) -> Finding:
    return finding(
        "supplied-blank-too-small", f"/supplied/{place}/{what}_mm",
        f"A blank of {element} needs a {what} of {least:.4g} mm, and the one that is supplied has {figure:.4g} mm.", figure=figure,
        limit=round(least, 4), unit="mm", remedy=f"blanks with a {what} of {least:.4g} mm or more, or glass instead of blanks",
    )  # fmt: skip


def _not_bought(blank: Blank, per_blank_g: float) -> MaterialModel:
    """Glass by the piece that costs nothing, as much as each blank takes."""
    step = MaterialStep(
        blanks=1, cost=Decimal(0), pieces=1, bought_mass_g=round(per_blank_g, 3), lead_days=0.0, form=blank.form, stock=OWN
    )
    name = f"{OWN} glass of {blank.element}"[:60]
    return MaterialModel(name=name, form=blank.form, glass=blank.glass, members=(blank.element,), steps=(step,), basis=())
