"""The blank of an element in its contract: every number of it with its law and what went in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from services.glass.domain.blank.options import PLATE_FORMS, BlankOption, density_of, depth_mm
from services.glass.domain.blank.pressing import pressed_volume_figure
from services.glass.domain.blank.sizes import (
    blank_thickness_mm,
    blanks_of_a_piece,
    block_volume_mm3,
    bought_per_blank_g,
    bought_per_gram_finished,
    discs_at_most,
    discs_at_most_in_a_slice,
    discs_in_square_rows,
    lost_in_coring_share,
    lost_in_sawing_share,
    plate_utilisation,
    plates_in_depth,
    removed_share,
    slice_utilisation,
)
from services.optics.body import between_planes_mm, disc_volume_mm3, mass_g
from services.optics.law import column, decided, figure_of, given, unit_by_name
from services.optics.surface import Profile, aspheric_term_mm, profile, sag_of_conic_mm, sag_with_terms_mm
from services.shop.allowances import Allowances, clear_edge_mm, gap_mm, work_diameter_mm
from shared_schemas.blanks import Blank
from shared_schemas.check import ElementCheck
from shared_schemas.figure import Figure
from shared_schemas.rates import AllowanceRow, GlassRow, Rates

ONE_BLANK = "a pressing is the blank itself: nothing is sawn or cored out of it"


Inputs = dict[str, Any]
"""Figures by the names of the arguments of a law."""


@dataclass(frozen=True)
class Reasons:
    """Why the plan chose a stock row and, where it did, a plate thicker than the blank needs, what the grade of the glass costs, and
    which forms were left out for this one."""

    stock: Figure
    thicker_plate: tuple[Figure, ...] = ()
    grade: tuple[Figure, ...] = ()
    left_out: tuple[Figure, ...] = ()


def blank_of(
    *, position: int, option: BlankOption, others: Sequence[BlankOption], checked: ElementCheck, glass: GlassRow, reasons: Reasons
) -> Blank:
    """The blank of an element as the plan states it, and what it would be out of `others`; raises `RateMissing` for a glass without a density."""
    explained = _Explained(position, option, checked, glass, reasons)
    shape, yielded = option.shape, option.yielded
    return Blank(
        element=option.element.name,
        glass=glass.name,
        form=option.stock.form,
        stock=option.stock.name,
        diameter_mm=shape.diameter_mm,
        thickness_mm=shape.thickness_mm,
        envelope_mm=shape.envelope_mm,
        volume_mm3=shape.volume_mm3,
        mass_g=option.mass_g,
        finished_mass_g=explained.finished_mass_g,
        discs_per_plate=yielded.discs_per_plate,
        plates_per_slab=yielded.plates,
        blanks_per_piece=option.blanks_per_piece,
        layout=yielded.layout,
        utilisation=yielded.utilisation,
        basis=(
            *explained.spaces(),
            *explained.sizes(),
            *explained.masses(),
            *explained.yields(),
            reasons.stock,
            *reasons.grade,
            *reasons.left_out,
            *explained.losses(),
            *(explained.elsewhere(other) for other in others),
        ),
    )


@dataclass(frozen=True)
class _Explained:
    """The figures of one blank. What stands in the quote is pointed to, so that no figure is told twice."""

    position: int
    option: BlankOption
    checked: ElementCheck
    glass: GlassRow
    reasons: Reasons

    @property
    def finished_mass_g(self) -> float:
        """Mass of the finished element [g] as the check has it, or at the density of the rates where the check has none."""
        known = self.checked.mass_g
        return mass_g(volume_mm3=self.checked.volume_mm3, density_g_cm3=density_of(self.glass)) if known is None else known

    def spaces(self) -> tuple[Figure, ...]:
        """Distances that discs keep from each other and from the edge; the first of the basis, where others point to them."""
        return (
            ()
            if self.option.stock.form in ("rod", "pressing")
            else (_gap(self.option.allowances), _clear_edge(self.option.allowances))
        )

    def sizes(self) -> tuple[Figure, ...]:
        """Diameter, envelope, thickness and volume."""
        option, shape = self.option, self.option.shape
        thickness = figure_of(
            blank_thickness_mm,
            name="thickness_mm",
            envelope_mm=self._own("envelope_mm", shape.envelope_mm),
            per_face_mm=_allowance("per_face_mm", option.allowances.per_face),
        )
        if self.reasons.thicker_plate:
            thickness = decided(
                "thickness_mm",
                shape.thickness_mm,
                "it comes out of plates sawn for a thicker blank, which costs less than plates of its own with what more has to be ground away",
                unit="mm",
                alternatives=(thickness.model_copy(update={"name": "own_thickness_mm"}), *self.reasons.thicker_plate),
            )
        return self._diameter(), self._envelope(), thickness, self._volume()

    def _volume(self) -> Figure:
        shape = self.option.shape
        if shape.pressed is not None:
            per_face = _allowance("per_face_mm", self.option.allowances.per_face)
            return pressed_volume_figure(shape=shape, element=self.option.element, position=self.position, per_face=per_face)
        return figure_of(
            disc_volume_mm3,
            name="volume_mm3",
            diameter_mm=self._own("diameter_mm", shape.diameter_mm),
            thickness_mm=self._own("thickness_mm", shape.thickness_mm),
        )

    def _diameter(self) -> Figure:
        option = self.option
        return figure_of(
            work_diameter_mm,
            name="diameter_mm",
            diameter_mm=self._drawn("diameter_mm", option.element.diameter_mm),
            allowance_mm=_allowance("allowance_mm", option.allowances.on_diameter),
        )

    def _envelope(self) -> Figure:
        element, diameter = self.option.element, self.option.shape.diameter_mm
        front, back = (profile(surface=surface, rim_mm=element.diameter_mm / 2) for surface in (element.front, element.back))
        return figure_of(
            between_planes_mm,
            name="envelope_mm",
            centre_thickness_mm=self._drawn("centre_thickness_mm", element.centre_thickness_mm),
            hindmost_mm=self._extreme("back", back, diameter / 2),
            foremost_mm=self._extreme("front", front, diameter / 2),
        )

    def _extreme(self, side: str, face: Profile, height_mm: float) -> Figure:
        """The least sagitta of the front, or the greatest of the back, between the vertex and the edge of the blank."""
        name, which = ("hindmost_mm", "greatest") if side == "back" else ("foremost_mm", "least")
        return decided(
            name,
            face.sag_range_mm(height_mm)[side == "back"],
            f"the {which} sagitta between the vertex and the edge of the blank",
            unit="mm",
            alternatives=(given("at_the_vertex_mm", 0.0, "mm", source="by definition"), self._at_the_edge(side, face, height_mm)),
        )

    def _at_the_edge(self, side: str, face: Profile, height_mm: float) -> Figure:
        name, surface, height = "at_the_edge_mm", face.surface, min(height_mm, face.curved_to_mm)
        conic = given("sag_of_conic_mm", 0.0, "mm", source="the face has no radius")
        if surface.radius_mm is not None:
            radius = given("radius_mm", surface.radius_mm, "mm", at=f"/prescription/elements/{self.position}/{side}/radius_mm")
            conic = figure_of(
                sag_of_conic_mm,
                radius_mm=radius,
                conic=given("conic", surface.conic, source="the face as it is worked"),
                height_mm=given("height_mm", height, "mm", source="the edge of the blank, or where the curve ends before it"),
            )
        if not surface.asphere:
            return conic.model_copy(update={"name": name})
        within = given("height_mm", min(height, face.rim_mm), "mm", source="as far as the terms are drawn: the finished rim")
        terms = [
            figure_of(
                aspheric_term_mm,
                coefficient=given("coefficient", a, source="the drawing"),
                order=given("order", int(order), source="the drawing"),
                height_mm=within,
            )
            for order, a in surface.asphere.items()
        ]
        return figure_of(sag_with_terms_mm, name=name, unit="mm", sag_of_conic_mm=conic, terms_mm=terms)

    def masses(self) -> tuple[Figure, ...]:
        """Mass of the blank, of the finished element, of a piece of stock and of what is bought for each blank."""
        option = self.option
        mass = figure_of(
            mass_g, name="mass_g", volume_mm3=self._own("volume_mm3", option.shape.volume_mm3), density_g_cm3=_density(self.glass)
        )
        bought = figure_of(
            bought_per_blank_g,
            piece_mass_g=self._piece_mass(option),
            blanks_per_piece=self._own("blanks_per_piece", option.blanks_per_piece),
        )
        finished = self._own("finished_mass_g", self.finished_mass_g)
        return (
            mass,
            self._finished(),
            figure_of(removed_share, finished_mass_g=finished, mass_g=self._own("mass_g", option.mass_g)),
            figure_of(bought_per_gram_finished, bought_per_blank_g=bought, finished_mass_g=finished),
        )

    def _finished(self) -> Figure:
        if self.checked.mass_g is None:
            volume = self._checked("volume_mm3", self.checked.volume_mm3)
            return figure_of(mass_g, name="finished_mass_g", volume_mm3=volume, density_g_cm3=_density(self.glass))
        return given("finished_mass_g", self.checked.mass_g, "g", at=f"/check/elements/{self.position}/mass_g")

    def _piece_mass(self, option: BlankOption) -> Figure:
        """Mass of one piece of a stock row as bought [g]."""
        density, stock, ref = _density(self.glass), option.stock, Rates.ref("stock_forms", option.stock)
        if stock.form in PLATE_FORMS:
            sides: Inputs = {
                name: column(name, getattr(stock, name), "mm", ref) for name in ("length_mm", "width_mm", "thickness_mm")
            }
            volume = figure_of(block_volume_mm3, **sides)
        elif stock.form == "pressing":
            volume = given("volume_mm3", option.shape.volume_mm3, "mm3", source=ONE_BLANK)
        else:
            volume = figure_of(
                disc_volume_mm3,
                name="volume_mm3",
                rate_row=ref,
                diameter_mm=given("diameter_mm", stock.diameter_mm or 0.0, "mm"),
                thickness_mm=given("thickness_mm", depth_mm(stock=stock), "mm"),
            )
        return figure_of(mass_g, name="piece_mass_g", volume_mm3=volume, density_g_cm3=density)

    def yields(self) -> tuple[Figure, ...]:
        """Discs out of a plate, plates out of a piece, blanks out of a piece, and the share of a plate that they cover."""
        option, yielded = self.option, self.option.yielded
        blanks = figure_of(
            blanks_of_a_piece,
            name="blanks_per_piece",
            discs_per_plate=self._own("discs_per_plate", yielded.discs_per_plate),
            plates_per_slab=self._own("plates_per_slab", yielded.plates),
        )
        if option.stock.form == "pressing":
            pressed = {
                "discs_per_plate": yielded.discs_per_plate,
                "plates_per_slab": yielded.plates,
                "utilisation": yielded.utilisation,
            }
            return (*(given(name, value, source=ONE_BLANK) for name, value in pressed.items()), blanks)
        plates = figure_of(
            plates_in_depth,
            name="plates_per_slab",
            depth_mm=column("depth_mm", depth_mm(stock=option.stock), "mm", Rates.ref("stock_forms", option.stock)),
            skin_mm=_allowance("skin_mm", option.allowances.skin),
            kerf_mm=_allowance("kerf_mm", option.allowances.saw_kerf),
            thickness_mm=self._own("thickness_mm", option.shape.thickness_mm),
        )
        return self._discs(), plates, blanks, self._utilisation()

    def _discs(self) -> Figure:
        option, stock = self.option, self.option.stock
        discs, ref = option.yielded.discs_per_plate, Rates.ref("stock_forms", option.stock)
        if stock.form == "rod":
            return given("discs_per_plate", discs, source="a slice of rod is one blank")
        room: Inputs = {
            "clear_edge_mm": self._own("clear_edge_mm", option.allowances.clear_edge_mm, "basis/1/value"),
            "diameter_mm": self._own("diameter_mm", option.shape.diameter_mm),
            "gap_mm": self._own("gap_mm", option.allowances.gap_mm, "basis/0/value"),
        }
        if stock.form == "disc":
            slice_mm = column("slice_mm", stock.diameter_mm or 0.0, "mm", ref)
            if option.yielded.layout == "single":
                reason = "a slice that has room for one disc is one blank, ground down to the size where no cut fits around it"
                return decided("discs_per_plate", discs, reason, alternatives=(slice_mm, *room.values()))
            alternatives = [figure_of(discs_at_most_in_a_slice, slice_mm=slice_mm, **room)]
        else:
            sides: Inputs = {name: given(name, getattr(stock, name), "mm") for name in ("length_mm", "width_mm")}
            alternatives = [
                figure_of(function, rate_row=ref, **sides, **room) for function in (discs_in_square_rows, discs_at_most)
            ]
        reason = "the best layout found by rows of every kind and a search; square rows and the bound of every layout beside it"
        return decided("discs_per_plate", discs, reason, alternatives=alternatives)

    def _utilisation(self) -> Figure:
        option, stock = self.option, self.option.stock
        ref = Rates.ref("stock_forms", stock)
        discs = self._own("discs_per_plate", option.yielded.discs_per_plate)
        diameter = self._own("diameter_mm", option.shape.diameter_mm)
        if stock.form in PLATE_FORMS:
            sides: Inputs = {name: given(name, getattr(stock, name), "mm") for name in ("length_mm", "width_mm")}
            return figure_of(
                plate_utilisation, name="utilisation", rate_row=ref, discs_per_plate=discs, diameter_mm=diameter, **sides
            )
        slice_mm = column("slice_mm", stock.diameter_mm or 0.0, "mm", ref)
        return figure_of(slice_utilisation, name="utilisation", discs_per_plate=discs, diameter_mm=diameter, slice_mm=slice_mm)

    def losses(self) -> tuple[Figure, ...]:
        """The share of the bought glass lost at the saw, and of what is left at the core drill; none of a pressing."""
        option = self.option
        if option.stock.form == "pressing":
            return ()
        sawn = figure_of(
            lost_in_sawing_share,
            plates_per_slab=self._own("plates_per_slab", option.yielded.plates),
            thickness_mm=self._own("thickness_mm", option.shape.thickness_mm),
            depth_mm=column("depth_mm", depth_mm(stock=option.stock), "mm", Rates.ref("stock_forms", option.stock)),
        )
        return sawn, figure_of(lost_in_coring_share, utilisation=self._own("utilisation", option.yielded.utilisation))

    def elsewhere(self, other: BlankOption) -> Figure:
        """What a finished gram takes in another form of stock."""
        blanks = given(
            "blanks_per_piece", other.blanks_per_piece, source=f"the plan of cutting {other.stock.name}: discs of a plate, plates of a piece"
        )  # fmt: skip
        bought = figure_of(bought_per_blank_g, piece_mass_g=self._piece_mass(other), blanks_per_piece=blanks)
        return figure_of(
            bought_per_gram_finished,
            name="bought_per_gram_finished_elsewhere",
            bought_per_blank_g=bought,
            finished_mass_g=self._own("finished_mass_g", self.finished_mass_g),
            rate_row=Rates.ref("stock_forms", other.stock),
        )

    def _own(self, name: str, value: float, place: str = "") -> Figure:
        return given(name, value, unit_by_name(name), at=f"/elements/{self.position}/blank/{place or name}")

    def _drawn(self, name: str, value: float) -> Figure:
        return given(name, value, unit_by_name(name), at=f"/prescription/elements/{self.position}/{name}")

    def _checked(self, name: str, value: float) -> Figure:
        return given(name, value, unit_by_name(name), at=f"/check/elements/{self.position}/{name}")


def _gap(allowances: Allowances) -> Figure:
    return figure_of(
        gap_mm, core_kerf_mm=_allowance("core_kerf_mm", allowances.core_kerf), web_mm=_allowance("web_mm", allowances.web)
    )


def _clear_edge(allowances: Allowances) -> Figure:
    margin = _allowance("edge_margin_mm", allowances.edge_margin)
    return figure_of(clear_edge_mm, skin_mm=_allowance("skin_mm", allowances.skin), edge_margin_mm=margin)


def _allowance(name: str, row: AllowanceRow) -> Figure:
    return column(name, row.allowance_mm, "mm", Rates.ref("allowances", row))


def _density(glass: GlassRow) -> Figure:
    return column("density_g_cm3", density_of(glass), "g/cm3", Rates.ref("glasses", glass))
