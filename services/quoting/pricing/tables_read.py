"""Which rate tables can have no part in the price of a lens, by what the lens is.

Where a draft changes only such tables, its price is today's without working anything out. A table that is not named here has a part in
every price. It is said by table, never by row: a new row, or a cheaper one, may be chosen where no row was before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from shared_schemas.prescription import Prescription


def _aspheric(lens: Prescription) -> bool:
    return any(face.asphere or face.conic != 0 for element in lens.elements for face in (element.front, element.back))


def _coated(lens: Prescription) -> bool:
    return any(face.coating is not None for element in lens.elements for face in (element.front, element.back))


def _cemented(lens: Prescription) -> bool:
    return any(space.cemented for space in lens.spaces)


def _mounted(lens: Prescription) -> bool:
    return lens.barrel is not None


READ_BY: Mapping[str, Callable[[Prescription], bool]] = {
    "aspheres": _aspheric,
    "pressed_aspheres": _aspheric,
    "coatings": _coated,
    "cementing": _cemented,
    "metals": _mounted,
    "turning": _mounted,
}
"""Tables that only some lenses are priced by, and which ones."""


def is_priced_by(tables: Iterable[str], lens: Prescription) -> bool:
    """Whether any of the tables may have a part in the price or the days of a lens."""
    return any(table not in READ_BY or READ_BY[table](lens) for table in tables)
