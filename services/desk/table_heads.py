"""What a column of a table of surfaces holds: the names the trade gives it, and the unit its head or the table states."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

COLUMNS = ("surface", "radius_mm", "thickness_mm", "glass", "clear_diameter_mm", "diameter_mm")
ORDERS = ("4", "6", "8", "10", "12", "14", "16", "18", "20")
MM_PER_INCH = Decimal("25.4")

NAMES = {
    "surface": "surface surf srf s # no nr number surface_number surf_no surface_no surf_# type_of_row",
    "element": "element element_name lens lens_name part",
    "radius": "radius r roc rad radius_of_curvature curvature_radius r_mm",
    "curvature": "curvature curv c cv cuy",
    "thickness": "thickness t th thick thi center_thickness centre_thickness ct spacing separation distance axial_distance",
    "glass": "glass material medium glass_type glass_name mat gla",
    "clear_diameter": "clear_diameter clear_dia clear_aperture ca clear_ap cd effective_diameter free_diameter optical_diameter",
    "clear_semi_diameter": "clear_semi_diameter semi_diameter semidiameter semi_aperture sd semi_dia clear_radius half_aperture clear_semi_aperture",
    "diameter": "diameter outer_diameter od dia mechanical_diameter mech_dia mechanical_dia outer_dia edge_diameter finished_diameter md",
    "semi": "outer_semi_diameter mechanical_semi_diameter mech_semi_diameter mechanical_semi_dia outer_radius",
    "conic": "conic k conic_constant cc",
    "comment": "comment comments note notes remark remarks",
}
"""Heads by quantity, common practice in tables of surfaces."""

QUANTITY = {name: quantity for quantity, names in NAMES.items() for name in names.split()}
UNITS = {"mm": False, "millimetre": False, "millimeter": False, "millimetres": False, "millimeters": False,
         "in": True, "inch": True, "inches": True, '"': True}  # fmt: skip
"""Words for a unit of length, and whether it is the inch."""

UNIT_AT_END = re.compile(
    r"[\s_,/]*(?:[(\[]\s*(?:1/)?(?P<u1>[a-z\"]+)\s*(?:\^?-?[0-9]*)?\s*[)\]]|(?<=[\s_])(?:per_|1/)?(?P<u2>mm|in|inch|inches))\s*$"
)


@dataclass(frozen=True)
class Head:
    """One column: the quantity, whether the head itself states inches (`None`: it states nothing), the order of an aspheric term."""

    column: str
    written: str
    inches: bool | None = None
    kind: str = ""
    order: int = 0


@dataclass(frozen=True)
class Scale:
    """How a number of one column becomes the figure of the prescription."""

    inverted: bool = False
    doubled: bool = False
    inches_to_the: int = 0

    def figure(self, value: float, *, inches: bool) -> float:
        """The figure in mm. A radius is one over a curvature; a term of order n is in length to the 1-n."""
        if self.inverted:
            value = 1 / value
        factor = MM_PER_INCH if inches else Decimal(1)
        if self.inches_to_the == 1:
            return float(Decimal(repr(value)) * factor * (2 if self.doubled else 1))
        return value * float(factor) ** self.inches_to_the


COLUMN_OF = {
    "radius": ("radius_mm", Scale(inches_to_the=1)),
    "curvature": ("radius_mm", Scale(inverted=True, inches_to_the=1)),
    "thickness": ("thickness_mm", Scale(inches_to_the=1)),
    "clear_diameter": ("clear_diameter_mm", Scale(inches_to_the=1)),
    "clear_semi_diameter": ("clear_diameter_mm", Scale(doubled=True, inches_to_the=1)),
    "diameter": ("diameter_mm", Scale(inches_to_the=1)),
    "semi": ("diameter_mm", Scale(doubled=True, inches_to_the=1)),
    "conic": ("conic", Scale()),
}


def head_of(written: str) -> Head | None:
    """What a column of that head holds; `None` where the head says nothing known."""
    text = written.strip().lower().replace("\u2033", '"')
    inches: bool | None = None
    unit = UNIT_AT_END.search(text)
    if unit is not None and unit.start() > 0 and (unit["u1"] or unit["u2"]) in UNITS:
        inches = UNITS[unit["u1"] or unit["u2"]]
        text = text[: unit.start()]
    name = re.sub(r"[\s_\-./]+", "_", text.replace("\u00f8", "dia")).strip("_")
    term = re.fullmatch(r"(?:asph(?:ere)?_?|coeff?_?)?a_?([0-9]{1,2})|([0-9]{1,2})th(?:_order)?(?:_term)?", name)
    if term is not None and (term[1] or term[2]) in ORDERS:
        order = term[1] or term[2]
        return Head(f"a{order}", written.strip(), inches, "term", int(order))
    if name in ("unit", "units"):
        return Head("units", written.strip())
    quantity = QUANTITY.get(name)
    if quantity is None:
        return None
    column = COLUMN_OF[quantity][0] if quantity in COLUMN_OF else quantity
    return Head(column, written.strip(), inches, quantity)


def scale_of(head: Head) -> Scale:
    """How the numbers under a head become figures."""
    if head.kind == "term":
        return Scale(inches_to_the=1 - head.order)
    return COLUMN_OF[head.kind][1]
