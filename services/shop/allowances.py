"""Allowances: what is left on a blank for later operations, and what sawing and coring cut away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from services.optics.law import law
from shared_schemas.blanks import BlankForm
from shared_schemas.rates import AllowanceRow, RateMissing, Rates

Kind = Literal["on_diameter", "per_face", "saw_kerf", "core_kerf", "web", "edge_margin", "skin"]
KINDS: tuple[Kind, ...] = get_args(Kind)


@dataclass(frozen=True)
class Allowances:
    """The rows that hold for one finished diameter in one form of stock."""

    on_diameter: AllowanceRow
    per_face: AllowanceRow
    saw_kerf: AllowanceRow
    core_kerf: AllowanceRow
    web: AllowanceRow
    edge_margin: AllowanceRow
    skin: AllowanceRow

    @property
    def gap_mm(self) -> float:
        """Distance [mm] between neighbouring discs in a plate: each has its own cut around it, and a web stands between."""
        return 2 * self.core_kerf.allowance_mm + self.web.allowance_mm

    @property
    def clear_edge_mm(self) -> float:
        """Distance [mm] that discs keep from the edge of a plate: the slab's skin is on it, and a margin is kept."""
        return self.skin.allowance_mm + self.edge_margin.allowance_mm


def allowance_row(*, kind: Kind, form: BlankForm, diameter_mm: float, rows: tuple[AllowanceRow, ...]) -> AllowanceRow:
    """The row of a kind for a finished diameter [mm], over its lower size and up to its upper one.

    A row for the form goes before a row for any form. Raises `RateMissing` where no row covers the diameter.
    """
    fitting = [
        row
        for row in rows
        if row.kind == kind and row.form in (form, None) and row.diameter_over_mm < diameter_mm <= row.diameter_up_to_mm
    ]
    for wanted in (form, None):
        for row in fitting:
            if row.form == wanted:
                return row
    known = tuple(row.name for row in rows if row.kind == kind)
    raise RateMissing("allowances", f"{kind} of a {form} at a diameter of {diameter_mm:g} mm", known)


@law
def work_diameter_mm(*, diameter_mm: float, allowance_mm: float) -> float:
    """Diameter [mm] at which an element is ground and polished: the finished one and the allowance for centring.

    Equation: diameter_mm + allowance_mm
    Source: common practice.
    """
    return diameter_mm + allowance_mm


def allowances_for(*, form: BlankForm, diameter_mm: float, rates: Rates) -> Allowances:
    """All allowances for a finished diameter [mm] in one form; raises `RateMissing`."""
    rows = rates.allowances
    return Allowances(**{kind: allowance_row(kind=kind, form=form, diameter_mm=diameter_mm, rows=rows) for kind in KINDS})


def largest_finished_diameter_mm(*, rates: Rates) -> float:
    """Finished diameter [mm] up to which the shop has allowances of every kind; beyond it no blank is cut."""
    return min(max((row.diameter_up_to_mm for row in rates.allowances if row.kind == kind), default=0.0) for kind in KINDS)
