"""A lens prescription: elements front to back, a space between neighbours, surfaces as on an ISO 10110 drawing."""

from __future__ import annotations

import re
from operator import not_
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from shared_schemas.base import HIGHEST_INDEX, NO_CONTROLS, Contract, Fault, Name, Number, Positive, Text, refuse_if_any

MOST_ELEMENTS = 60
LARGEST_LENGTH_MM = 10_000.0

Length = Annotated[float, Field(strict=True, gt=0, le=LARGEST_LENGTH_MM)]
Wavelength = Annotated[float, Field(strict=True, ge=150, le=15_000)]
Indication = Annotated[str, Field(min_length=1, max_length=80, pattern=NO_CONTROLS)]
"""An ISO 10110 indication as it is written on the drawing, such as `3/3(0.5)`."""


Reflected = Annotated[float, Field(strict=True, gt=0, lt=1)]


class CoatingDemand(Contract):
    """What a coating is to do, in place of its name: the shop takes the cheapest stack of its own that does it.

    In air, the mean of both polarisations is at most `reflectance_max_share`, or of a mirror at least `reflectance_min_share`, at
    every wavelength of `band_nm` (from, to; both the same for one line), at `angle_deg` of incidence.
    """

    reflectance_max_share: Annotated[Reflected | None, Field(exclude_if=not_)] = None
    reflectance_min_share: Annotated[Reflected | None, Field(exclude_if=not_)] = None
    band_nm: tuple[Wavelength, Wavelength]
    angle_deg: Annotated[float, Field(strict=True, ge=0, lt=90)] = 0.0

    @model_validator(mode="after")
    def _one_limit_over_a_band_that_goes_up(self) -> CoatingDemand:
        if (self.reflectance_max_share is None) == (self.reflectance_min_share is None):
            fault = Fault(
                "reflectance_max_share",
                reason="a coating is to reflect at most a share, or a mirror at least one",
                figure=self.reflectance_max_share,
                limit="reflectance_max_share or reflectance_min_share, one of the two",
                remedy="leave out the one that is not meant",
            )
            refuse_if_any(self, [fault])
        if self.band_nm[0] > self.band_nm[1]:
            fault = Fault(
                "band_nm",
                reason="the band ends before it begins",
                figure=list(self.band_nm),
                limit="from, to",
                remedy=f"write [{self.band_nm[1]:g}, {self.band_nm[0]:g}]",
            )
            refuse_if_any(self, [fault])
        return self

    @property
    def mirror(self) -> bool:
        """Whether it is asked to reflect."""
        return self.reflectance_min_share is not None

    @property
    def limit_share(self) -> float:
        """The share that is asked for, whichever way."""
        limit = self.reflectance_min_share if self.mirror else self.reflectance_max_share
        assert limit is not None
        return limit

    def __str__(self) -> str:
        """The demand as a drawing has it."""
        first, last = self.band_nm
        band = f"at {first:g} nm" if first == last else f"{first:g} to {last:g} nm"
        sign = ">=" if self.mirror else "<="
        return f"R {sign} {100 * self.limit_share:.3g} % {band}" + (f", {self.angle_deg:g} deg" if self.angle_deg else "")


DEMAND_IN_WORDS = re.compile(
    r"(?:7/|\(λ\))?\s*R\s*(?P<sign><=|>=|<|>|≤|≥)\s*(?P<percent>[\d.]+)\s*%\s*(?:at\s+|from\s+)?"
    r"(?P<first>[\d.]+)(?:\s*(?:to|-|–|\.\.\.)\s*(?P<last>[\d.]+))?\s*nm(?:\s*[,@]?\s*(?P<angle>[\d.]+)\s*(?:deg|°))?",
    re.IGNORECASE,
)
"""A demand as a drawing has it behind the symbol of ISO 10110-9, such as `R < 0.5 % 450 to 650 nm, 15 deg`; common practice."""


def _demand_in_words(written: Any) -> Any:
    """A demand written as on a drawing as the fields that it means; anything else, a name too, as it is."""
    read = DEMAND_IN_WORDS.fullmatch(written.strip()) if isinstance(written, str) else None
    if read is None:
        return written
    try:
        percent, first, angle = float(read["percent"]), float(read["first"]), float(read["angle"] or 0)
        last = float(read["last"] or first)
    except ValueError:
        return written
    limit = "reflectance_min_share" if read["sign"] in (">", ">=", "≥") else "reflectance_max_share"
    return {limit: round(percent / 100, 12), "band_nm": [first, last], "angle_deg": angle}


class Surface(Contract):
    """One face of an element.

    `radius_mm` is positive when the centre of curvature lies behind the surface, `null` for plano. `conic` is k
    (0 a sphere, -1 a paraboloid); `asphere` holds the even terms of ISO 10110-12, order to coefficient [mm^(1-order)].
    `coating` is a name of the rate table `coatings`, or what the coating is to do, as a document or as a drawing writes it
    (`R <= 0.5 % 450 to 650 nm, 15 deg`).
    """

    radius_mm: Annotated[float, Field(strict=True, ge=-1e7, le=1e7)] | None
    clear_diameter_mm: Length
    conic: Number = 0.0
    asphere: dict[Annotated[str, Field(pattern=r"^(4|6|8|10|12|14|16|18|20)$")], Number] = Field(default_factory=dict)
    form: Indication | None = None
    imperfections: Indication | None = None
    texture: Indication | None = None
    laser_damage: Indication | None = None
    coating: Annotated[Name | CoatingDemand | None, BeforeValidator(_demand_in_words)] = None

    @model_validator(mode="after")
    def _the_surface_reaches_its_clear_diameter(self) -> Surface:
        faults = []
        if self.radius_mm == 0:
            faults.append(
                Fault(
                    "radius_mm",
                    reason="a radius of 0 has no surface",
                    figure=0.0,
                    limit="not 0",
                    remedy="write null for a plano face",
                )
            )
        elif self.radius_mm is not None:
            reach = self._largest_semi_diameter_mm()
            if self.clear_diameter_mm / 2 > reach:
                faults.append(
                    Fault(
                        "radius_mm",
                        reason=f"a radius of {self.radius_mm:g} mm (conic {self.conic:g}) ends {reach:g} mm from the "
                        f"axis and cannot reach the clear semi-diameter of {self.clear_diameter_mm / 2:g} mm",
                        figure=self.radius_mm,
                        limit=self.clear_diameter_mm / 2,
                        remedy=f"a radius of at least {self.clear_diameter_mm / 2:g} mm, or a clear diameter of at "
                        f"most {2 * reach:g} mm; look for a slipped decimal point",
                    )
                )
        refuse_if_any(self, faults)
        return self

    def _largest_semi_diameter_mm(self) -> float:
        """Where the conic ends: |R|/sqrt(1+k) for k > -1, nowhere otherwise (ISO 10110-12 form, from memory)."""
        assert self.radius_mm is not None
        return abs(self.radius_mm) / (1 + self.conic) ** 0.5 if self.conic > -1 else float("inf")


class IndexGlass(Contract):
    """A glass known only by its index and Abbe number: it is checked, but not priced."""

    nd: Annotated[float, Field(strict=True, ge=1.0, le=HIGHEST_INDEX)]
    vd: Annotated[float, Field(strict=True, ge=5.0, le=150.0)]


class Tolerances(Contract):
    """Tolerances of one element; what is missing takes the default of ISO 10110-11, and a finding says so."""

    diameter_mm: tuple[Number, Number] | None = None
    centre_thickness_mm: Positive | None = None
    centring: Indication | None = None

    @model_validator(mode="after")
    def _upper_is_above_lower(self) -> Tolerances:
        if self.diameter_mm is not None and self.diameter_mm[0] <= self.diameter_mm[1]:
            refuse_if_any(
                self,
                [
                    Fault(
                        "diameter_mm",
                        reason="the upper limit of the diameter is not above the lower",
                        figure=list(self.diameter_mm),
                        limit="upper above lower",
                        remedy="write [upper, lower], as [0.0, -0.02]",
                    )
                ],
            )
        return self


class Element(Contract):
    """One piece of glass. `glass` is a catalogue name, a six- or nine-digit glass code, or an index and Abbe number."""

    name: Annotated[str, Field(min_length=1, max_length=20, pattern=r"^[^/~\s\x00-\x1f\x7f]+$")]
    glass: Name | IndexGlass
    diameter_mm: Length
    centre_thickness_mm: Length
    front: Surface
    back: Surface
    tolerances: Tolerances = Tolerances()
    stress_birefringence: Indication | None = None
    bubbles: Indication | None = None
    inhomogeneity: Indication | None = None

    @model_validator(mode="after")
    def _clear_diameters_lie_within_the_diameter(self) -> Element:
        faults = [
            Fault(
                face,
                "clear_diameter_mm",
                reason=f"the clear diameter of {surface.clear_diameter_mm:g} mm is larger than the element's "
                f"diameter of {self.diameter_mm:g} mm",
                figure=surface.clear_diameter_mm,
                limit=self.diameter_mm,
                remedy=f"a clear diameter of at most {self.diameter_mm:g} mm, or a larger element",
            )
            for face, surface in (("front", self.front), ("back", self.back))
            if surface.clear_diameter_mm > self.diameter_mm
        ]
        refuse_if_any(self, faults)
        return self


class Space(Contract):
    """What lies between two neighbours: an air gap on the axis [mm], or cement."""

    gap_mm: Annotated[float, Field(strict=True, ge=0, le=LARGEST_LENGTH_MM)] | None = None
    cemented: bool = False

    @model_validator(mode="after")
    def _either_a_gap_or_cement(self) -> Space:
        if self.cemented == (self.gap_mm is not None):
            refuse_if_any(
                self,
                [
                    Fault(
                        "gap_mm",
                        reason="a space is an air gap or cement, one of the two",
                        figure=self.gap_mm,
                        limit="gap_mm or cemented",
                        remedy='write {"gap_mm": 1.5} or {"cemented": true}',
                    )
                ],
            )
        return self


class Stop(Contract):
    """The aperture stop: a distance behind the back vertex of element number `after_element` (0: before the first)."""

    after_element: Annotated[int, Field(strict=True, ge=0, le=MOST_ELEMENTS)]
    distance_mm: Annotated[float, Field(strict=True, ge=-LARGEST_LENGTH_MM, le=LARGEST_LENGTH_MM)] = 0.0
    diameter_mm: Length


BarrelMaterial = Literal["aluminium", "brass", "stainless_steel", "titanium"]
"""Metals that a barrel is drawn in."""


class Barrel(Contract):
    """The cell that the lens is mounted in."""

    material: BarrelMaterial
    length_mm: Length
    outer_diameter_mm: Length
    engraved_characters: Annotated[int, Field(strict=True, ge=0, le=1000)] = 0


class Prescription(Contract):
    """A lens to be made. Lengths in mm, angles in degrees; `object_distance_mm` null is an object at infinity.

    With `first_article` the first lens is measured whole, and the record is delivered with the lot.
    """

    title: Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)]
    wavelength_nm: Wavelength = 587.5618
    elements: Annotated[tuple[Element, ...], Field(min_length=1, max_length=MOST_ELEMENTS)]
    spaces: Annotated[tuple[Space, ...], Field(max_length=MOST_ELEMENTS - 1)] = ()
    stop: Stop | None = None
    barrel: Barrel | None = None
    entrance_pupil_diameter_mm: Length | None = None
    field_half_angle_deg: Annotated[float, Field(strict=True, ge=0, lt=90)] | None = None
    object_distance_mm: Positive | None = None
    transmitted_wavefront: Indication | None = None
    assembly_imperfections: Indication | None = None
    first_article: Annotated[bool, Field(strict=True, exclude_if=not_)] = False
    remarks: Text = ""

    @model_validator(mode="after")
    def _the_parts_fit_each_other(self) -> Prescription:
        faults = []
        wanted = len(self.elements) - 1
        if len(self.spaces) != wanted:
            faults.append(
                Fault(
                    "spaces",
                    reason=f"{len(self.elements)} elements have {wanted} spaces between them, not {len(self.spaces)}",
                    figure=len(self.spaces),
                    limit=wanted,
                    remedy="one space between each two neighbours",
                )
            )
        names: dict[str, int] = {}
        for position, element in enumerate(self.elements):
            if element.name in names:
                faults.append(
                    Fault(
                        "elements",
                        position,
                        "name",
                        reason=f"the name {element.name} is taken by element {names[element.name] + 1}",
                        figure=element.name,
                        limit="each name once",
                        remedy="give each element a name of its own",
                    )
                )
            names.setdefault(element.name, position)
        if self.stop is not None and self.stop.after_element > len(self.elements):
            faults.append(
                Fault(
                    "stop",
                    "after_element",
                    reason=f"the stop lies behind element {self.stop.after_element}, the lens has {len(self.elements)}",
                    figure=self.stop.after_element,
                    limit=len(self.elements),
                    remedy=f"a number from 0 to {len(self.elements)}",
                )
            )
        refuse_if_any(self, faults)
        return self

    def cemented_groups(self) -> tuple[tuple[Element, ...], ...]:
        """Elements front to back, those that cement joins together in one tuple."""
        groups: list[list[Element]] = [[self.elements[0]]]
        for space, element in zip(self.spaces, self.elements[1:], strict=True):
            if space.cemented:
                groups[-1].append(element)
            else:
                groups.append([element])
        return tuple(tuple(group) for group in groups)


__all__ = [
    "LARGEST_LENGTH_MM",
    "MOST_ELEMENTS",
    "Barrel",
    "CoatingDemand",
    "Element",
    "IndexGlass",
    "Prescription",
    "Space",
    "Stop",
    "Surface",
    "Tolerances",
]
