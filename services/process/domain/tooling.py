"""Which tools are missing: one-off charges for radius tools, test plates, chucks and coating fixtures not yet owned."""

from __future__ import annotations

from collections.abc import Sequence

from services.process.domain.element_work import ElementWork
from shared_schemas.figure import Figure
from shared_schemas.operations import Tooling
from shared_schemas.rates import RateMissing, Rates, ToolingRow


def tooling_for(elements: Sequence[ElementWork], rates: Rates) -> tuple[Tooling, ...]:
    """Charges for every tool that no owned one is near enough to; one for each radius or diameter.

    Notes: an asphere has no test plate; its figure is measured otherwise.
    """
    found: list[Tooling] = []
    seen: set[tuple[str, float]] = set()
    for work in elements:
        wanted: list[tuple[str, float, str]] = []
        for face in work.faces:
            if face.radius_mm is not None:
                kinds = ("radius_tool",) if face.aspheric else ("radius_tool", "test_plate")
                wanted += [(kind, face.radius_mm, f"R {face.radius_mm:g} of the {face.face}") for kind in kinds]
        wanted.append(("centring_chuck", work.diameter_mm, f"diameter {work.diameter_mm:g}"))
        if any(face.coating is not None for face in work.faces):
            wanted.append(("coating_fixture", work.diameter_mm, f"diameter {work.diameter_mm:g}"))
        for kind, size, what in wanted:
            if (kind, size) not in seen and not is_owned(kind, size, rates):
                found.append(_charge(kind, size, what, work, rates))
            seen.add((kind, size))
    return tuple(found)


def is_owned(kind: str, size_mm: float, rates: Rates) -> bool:
    """Whether the shop owns a tool that serves: a radius within its reach, or a diameter from its own up to a fifth smaller."""
    for row in rates.tooling:
        if row.kind != kind or not row.owned:
            continue
        if row.radius_mm is not None and abs(row.radius_mm - size_mm) <= row.reach_share * size_mm:
            return True
        if row.radius_mm is None and row.diameter_mm is not None and 0.8 * row.diameter_mm <= size_mm <= row.diameter_mm:
            return True
    return False


def _new(kind: str, rates: Rates) -> ToolingRow:
    for row in rates.tooling:
        if row.kind == kind and not row.owned:
            return row
    raise RateMissing("tooling", f"a new {kind.replace('_', ' ')}", tuple(row.name for row in rates.tooling if not row.owned))


def _charge(kind: str, size_mm: float, what: str, work: ElementWork, rates: Rates) -> Tooling:
    row = _new(kind, rates)
    return Tooling(
        name=f"{kind.replace('_', ' ')} {size_mm:g} mm",
        part=work.name,
        reason=f"{what} of {work.name}: none owned is near enough",
        charge=row.charge,
        lead_days=row.lead_days,
        basis=(Figure(name="charge", value=row.charge, rate_row=Rates.ref("tooling", row)),),
    )
