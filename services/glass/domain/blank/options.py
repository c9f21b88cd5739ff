"""Out of which forms of stock can the blank of an element come, and how many out of each piece?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from services.glass.domain.blank.sizes import (
    blank_thickness_mm,
    blanks_of_a_piece,
    block_volume_mm3,
    bought_per_blank_g,
    plate_utilisation,
    plates_in_depth,
    slice_utilisation,
)
from services.glass.domain.buying.purchase import Source
from services.glass.domain.layouts.equal import Pattern, disc_capacity, round_capacity
from services.glass.errors import StockFormIncomplete
from services.optics.body import Body, disc_volume_mm3, envelope_mm, mass_g
from services.optics.body import volume_mm3 as lens_volume_mm3
from services.optics.face_glass import area_mm2, pressed_volume_mm3
from services.shop.allowances import Allowances, allowances_for, work_diameter_mm
from shared_schemas.blanks import BlankForm
from shared_schemas.prescription import Element
from shared_schemas.rates import GlassRow, RateMissing, Rates, StockFormRow

PLATE_FORMS: tuple[BlankForm, ...] = ("slab", "strip")
"""Forms that are sawn into plates, which blanks are cored out of."""

SIZES_OF_A_FORM: dict[BlankForm, tuple[str, ...]] = {
    "slab": ("length_mm", "width_mm", "thickness_mm"),
    "strip": ("length_mm", "width_mm", "thickness_mm"),
    "rod": ("length_mm", "diameter_mm"),
    "disc": ("diameter_mm", "thickness_mm"),
    "pressing": (),
}


LEAST_PRESSED_MM = 10.0
"""Finished diameter [mm] from which on lenses are pressed, where a row of stock does not say (common practice)."""


@dataclass(frozen=True)
class Pressed:
    """What the volume of a pressing is made of: the lens at the diameter of the pressing, and the area of both its faces."""

    lens_mm3: float
    front_mm2: float
    back_mm2: float


@dataclass(frozen=True)
class Shape:
    """A blank in one form: its diameter, and the envelope of the lens at it; a pressing has the curves of the lens in it."""

    diameter_mm: float
    thickness_mm: float
    envelope_mm: float
    volume_mm3: float
    pressed: Pressed | None = None


@dataclass(frozen=True)
class Yielded:
    """What a piece of stock gives: discs in a plate and how they lie, plates, and the share of the plate's face in discs."""

    discs_per_plate: int
    plates: int
    layout: Pattern
    utilisation: float


@dataclass(frozen=True)
class BlankOption:
    """A way to get the blank of an element."""

    element: Element
    stock: StockFormRow
    allowances: Allowances
    shape: Shape
    yielded: Yielded
    mass_g: float
    piece_mass_g: float
    plate_mass_g: float
    """A plate and its saw cut over the whole face [g]; a pressing is no remnant: 0."""

    @property
    def blanks_per_piece(self) -> int:
        return blanks_of_a_piece(discs_per_plate=self.yielded.discs_per_plate, plates_per_slab=self.yielded.plates)

    @property
    def source(self) -> Source:
        return Source(self.stock, self.yielded.discs_per_plate, self.yielded.plates, self.piece_mass_g, self.plate_mass_g)

    @property
    def bought_per_blank_g(self) -> float:
        """Bought mass [g] for each blank of a piece that is used up."""
        return bought_per_blank_g(piece_mass_g=self.piece_mass_g, blanks_per_piece=self.blanks_per_piece)


@dataclass(frozen=True)
class Misfit:
    """A stock row that the blank does not come out of, and the size that is in the way."""

    stock: StockFormRow
    needed_mm: float
    available_mm: float
    dimension: Literal["diameter", "thickness"]


def blank_shape(*, body: Body, form: BlankForm, allowances: Allowances) -> Shape:
    """The blank of an element: D_b = D + a_D, t_b = envelope at D_b + 2 a_f; a pressing has the volume of its lens with a_f all over both faces.

    Source: derived; a cored or sawn blank carries the same allowance on both faces (common practice).
    """
    diameter = work_diameter_mm(diameter_mm=2 * body.rim_mm, allowance_mm=allowances.on_diameter.allowance_mm)
    envelope, per_face = envelope_mm(body=body, diameter_mm=diameter), allowances.per_face.allowance_mm
    thickness = blank_thickness_mm(envelope_mm=envelope, per_face_mm=per_face)
    if form != "pressing":
        return Shape(diameter, thickness, envelope, disc_volume_mm3(diameter_mm=diameter, thickness_mm=thickness))
    front, back = (area_mm2(face=face, height_mm=diameter / 2) for face in (body.front, body.back))
    pressed = Pressed(lens_volume_mm3(body=body, height_mm=diameter / 2), front, back)
    volume = pressed_volume_mm3(lens_mm3=pressed.lens_mm3, front_mm2=front, back_mm2=back, per_face_mm=per_face)
    return Shape(diameter, thickness, envelope, volume, pressed)


def option_for(
    *, element: Element, finished: Body, stock: StockFormRow, density_g_cm3: float, rates: Rates
) -> BlankOption | Misfit:
    """The blank of an element out of one stock row, or why it does not come out of it; `finished` is the element as it is made.

    Raises `StockFormIncomplete` for a row without its sizes, `RateMissing` for an allowance that no row gives.
    """
    missing = tuple(size for size in SIZES_OF_A_FORM[stock.form] if getattr(stock, size) is None)
    if missing:
        raise StockFormIncomplete(stock.name, stock.form, missing)
    allowances = allowances_for(form=stock.form, body=finished, rates=rates)
    shape = blank_shape(body=finished, form=stock.form, allowances=allowances)
    if stock.form == "pressing" and element.diameter_mm < (least := stock.least_diameter_mm or LEAST_PRESSED_MM):
        return Misfit(stock, element.diameter_mm, least, "diameter")
    yielded = _YIELD_OF[stock.form](stock, shape, allowances)
    if isinstance(yielded, Misfit):
        return yielded
    volume = shape.volume_mm3 if stock.form == "pressing" else piece_volume_mm3(stock=stock)
    depth = shape.thickness_mm + allowances.saw_kerf.allowance_mm
    plate = 0.0 if stock.form == "pressing" else volume * depth / depth_mm(stock=stock)
    return BlankOption(
        element=element,
        stock=stock,
        allowances=allowances,
        shape=shape,
        yielded=yielded,
        mass_g=mass_g(volume_mm3=shape.volume_mm3, density_g_cm3=density_g_cm3),
        piece_mass_g=mass_g(volume_mm3=volume, density_g_cm3=density_g_cm3),
        plate_mass_g=mass_g(volume_mm3=plate, density_g_cm3=density_g_cm3),
    )


def out_of_plate(*, option: BlankOption, thickness_mm: float) -> BlankOption:
    """The same blank out of a plate that is thicker than it need be: as thick as the plate."""
    if thickness_mm <= option.shape.thickness_mm:
        return option
    diameter = option.shape.diameter_mm
    volume = disc_volume_mm3(diameter_mm=diameter, thickness_mm=thickness_mm)
    shape = replace(option.shape, thickness_mm=thickness_mm, volume_mm3=volume)
    plates = _plates(depth_mm(stock=option.stock), shape, option.allowances)
    cut = option.allowances.saw_kerf.allowance_mm
    return replace(
        option,
        shape=shape,
        yielded=replace(option.yielded, plates=plates),
        mass_g=option.mass_g * volume / option.shape.volume_mm3,
        plate_mass_g=option.plate_mass_g * (thickness_mm + cut) / (option.shape.thickness_mm + cut),
    )


def density_of(glass: GlassRow) -> float:
    """Density [g/cm3] of a glass; raises `RateMissing`."""
    if glass.density_g_cm3 is None:
        raise RateMissing("glasses", f"the density of {glass.name}")
    return glass.density_g_cm3


def piece_volume_mm3(*, stock: StockFormRow) -> float:
    """Volume [mm^3] of one slab, strip, rod or disc as bought; raises `StockFormIncomplete` for a row without sizes."""
    if stock.form in PLATE_FORMS:
        length, width, thickness = _sizes(stock)
        return block_volume_mm3(length_mm=length, width_mm=width, thickness_mm=thickness)
    if stock.form == "pressing":
        raise StockFormIncomplete(stock.name, stock.form, ("sizes of its own",))
    first, second = _sizes(stock)
    diameter, height = (second, first) if stock.form == "rod" else (first, second)
    return disc_volume_mm3(diameter_mm=diameter, thickness_mm=height)


def depth_mm(*, stock: StockFormRow) -> float:
    """Dimension [mm] of a slab, strip, rod or disc along which it is sawn into plates; raises `StockFormIncomplete`."""
    depth = stock.length_mm if stock.form == "rod" else stock.thickness_mm
    if depth is None:
        raise StockFormIncomplete(stock.name, stock.form, ("length_mm" if stock.form == "rod" else "thickness_mm",))
    return depth


def _sizes(stock: StockFormRow) -> tuple[float, ...]:
    sizes: dict[str, float | None] = {name: getattr(stock, name) for name in SIZES_OF_A_FORM[stock.form]}
    missing = tuple(name for name, size in sizes.items() if size is None)
    if missing:
        raise StockFormIncomplete(stock.name, stock.form, missing)
    return tuple(size for size in sizes.values() if size is not None)


def _out_of_slab(stock: StockFormRow, shape: Shape, allowances: Allowances) -> Yielded | Misfit:
    """Plates over the whole face, discs cored out of each; skin and edge margin go off all round."""
    length, width, depth = _sizes(stock)
    clear = allowances.clear_edge_mm
    discs, pattern = disc_capacity(
        length_mm=length, width_mm=width, diameter_mm=shape.diameter_mm, gap_mm=allowances.gap_mm, edge_margin_mm=clear
    )
    if discs == 0:
        return Misfit(stock, shape.diameter_mm, max(0.0, min(length, width) - 2 * clear), "diameter")
    plates = _plates(depth, shape, allowances)
    if plates == 0:
        return Misfit(stock, shape.thickness_mm, max(0.0, depth - 2 * allowances.skin.allowance_mm), "thickness")
    share = plate_utilisation(discs_per_plate=discs, diameter_mm=shape.diameter_mm, length_mm=length, width_mm=width)
    return Yielded(discs, plates, pattern, share)


def _out_of_rod(stock: StockFormRow, shape: Shape, allowances: Allowances) -> Yielded | Misfit:
    """Slices across a rod that is thick enough, and no thicker than twice the allowance; it is ground round to the diameter of the blank.

    A lens that has no edge with the usual allowance takes a rod of its own size alone.
    """
    length, diameter = _sizes(stock)
    spare_mm = allowances.on_diameter.allowance_mm if allowances.on_diameter.kind == "on_diameter" else 0.0
    if not shape.diameter_mm <= diameter <= shape.diameter_mm + spare_mm:
        return Misfit(stock, shape.diameter_mm, diameter, "diameter")
    plates = _plates(length, shape, allowances)
    if plates == 0:
        return Misfit(stock, shape.thickness_mm, max(0.0, length - 2 * allowances.skin.allowance_mm), "thickness")
    share = slice_utilisation(discs_per_plate=1, diameter_mm=shape.diameter_mm, slice_mm=diameter)
    return Yielded(1, plates, "single", share)


def _out_of_disc(stock: StockFormRow, shape: Shape, allowances: Allowances) -> Yielded | Misfit:
    """Slices of a sawn disc, blanks cored out of each; or one blank ground out of a slice that has no room for a cut around it."""
    diameter, depth = _sizes(stock)
    if diameter < shape.diameter_mm:
        return Misfit(stock, shape.diameter_mm, diameter, "diameter")
    plates = _plates(depth, shape, allowances)
    if plates == 0:
        return Misfit(stock, shape.thickness_mm, max(0.0, depth - 2 * allowances.skin.allowance_mm), "thickness")
    discs = round_capacity(
        slice_mm=diameter, diameter_mm=shape.diameter_mm, gap_mm=allowances.gap_mm, edge_margin_mm=allowances.clear_edge_mm
    )
    share = slice_utilisation(discs_per_plate=discs, diameter_mm=shape.diameter_mm, slice_mm=diameter)
    return Yielded(discs, plates, "single" if discs == 1 else "round", share)


def _pressed(stock: StockFormRow, shape: Shape, allowances: Allowances) -> Yielded | Misfit:
    """A pressing is the blank."""
    return Yielded(1, 1, "single", 1.0)


def _plates(depth_mm: float, shape: Shape, allowances: Allowances) -> int:
    return plates_in_depth(
        depth_mm=depth_mm,
        skin_mm=allowances.skin.allowance_mm,
        kerf_mm=allowances.saw_kerf.allowance_mm,
        thickness_mm=shape.thickness_mm,
    )


_YIELD_OF: dict[BlankForm, Callable[[StockFormRow, Shape, Allowances], Yielded | Misfit]] = {
    "slab": _out_of_slab,
    "strip": _out_of_slab,
    "rod": _out_of_rod,
    "disc": _out_of_disc,
    "pressing": _pressed,
}
