"""Allowances: what is left on a blank for later operations, and what sawing and coring cut away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from services.optics.body import Body, edge_thickness_mm
from services.optics.law import law
from shared_schemas.blanks import BlankForm
from shared_schemas.rates import AllowanceRow, RateMissing, Rates

Kind = Literal["on_diameter", "per_face", "saw_kerf", "core_kerf", "web", "edge_margin", "skin"]
KINDS: tuple[Kind, ...] = get_args(Kind)

NO_EDGE_MM = 1e-9
"""An edge that is no thicker is a knife."""


@law
def gap_mm(*, core_kerf_mm: float, web_mm: float) -> float:
    """Distance [mm] between neighbouring discs in a plate: each has its own cut around it, and a web stands between.

    Equation: 2 * core_kerf_mm + web_mm
    Source: common practice.
    """
    return 2 * core_kerf_mm + web_mm


@law
def clear_edge_mm(*, skin_mm: float, edge_margin_mm: float) -> float:
    """Distance [mm] that discs keep from the edge of a plate: the slab's skin is on it, and a margin is kept.

    Equation: skin_mm + edge_margin_mm
    Source: common practice.
    """
    return skin_mm + edge_margin_mm


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
        """Distance [mm] between neighbouring discs in a plate."""
        return gap_mm(core_kerf_mm=self.core_kerf.allowance_mm, web_mm=self.web.allowance_mm)

    @property
    def clear_edge_mm(self) -> float:
        """Distance [mm] that discs keep from the edge of a plate."""
        return clear_edge_mm(skin_mm=self.skin.allowance_mm, edge_margin_mm=self.edge_margin.allowance_mm)


@dataclass(frozen=True)
class DiameterAllowance:
    """The allowance on the diameter: the usual row, the row that is taken, and the edge [mm] at the work diameter with each."""

    usual: AllowanceRow
    usual_edge_mm: float
    taken: AllowanceRow
    edge_mm: float

    @property
    def holds(self) -> bool:
        """Whether the lens has an edge while it is ground and polished."""
        return self.edge_mm > NO_EDGE_MM


def diameter_allowance(*, body: Body, form: BlankForm | None, rates: Rates) -> DiameterAllowance:
    """What is left on the diameter of an element: the usual allowance, or the largest smaller one with which its edge holds.

    Where the edge holds with none the smallest is told. Raises `RateMissing` where no row has the usual one.
    Notes: the edge is that at the work diameter, D + a.
    Source: common practice; convex lenses with thin edges are cut near to their size, or pressed.
    """
    size_mm = 2 * body.rim_mm
    usual = allowance_row(kind="on_diameter", form=form, diameter_mm=size_mm, rows=rates.allowances)
    smaller = [
        row
        for row in rates.allowances
        if row.kind == "on_diameter_small" and _covers(row, form, size_mm) and row.allowance_mm < usual.allowance_mm
    ]
    rows = [usual, *sorted(smaller, key=lambda row: -row.allowance_mm)]
    work_mm = (work_diameter_mm(diameter_mm=size_mm, allowance_mm=row.allowance_mm) for row in rows)
    edges_mm = [edge_thickness_mm(body=body, height_mm=wide / 2) for wide in work_mm]
    taken = next((i for i, edge in enumerate(edges_mm) if edge > NO_EDGE_MM), len(rows) - 1)
    return DiameterAllowance(usual, edges_mm[0], rows[taken], edges_mm[taken])


def allowance_row(*, kind: Kind, form: BlankForm | None, diameter_mm: float, rows: tuple[AllowanceRow, ...]) -> AllowanceRow:
    """The row of a kind for a finished diameter [mm], over its lower size and up to its upper one.

    A row for the form goes before a row for any form. Raises `RateMissing` where no row covers the diameter.
    """
    fitting = [row for row in rows if row.kind == kind and _covers(row, form, diameter_mm)]
    for wanted in (form, None):
        for row in fitting:
            if row.form == wanted:
                return row
    known = tuple(row.name for row in rows if row.kind == kind)
    raise RateMissing("allowances", f"{kind} of {f'a {form}' if form else 'any blank'} at a diameter of {diameter_mm:g} mm", known)


@law
def work_diameter_mm(*, diameter_mm: float, allowance_mm: float) -> float:
    """Diameter [mm] at which an element is ground and polished: the finished one and the allowance for centring.

    Equation: diameter_mm + allowance_mm
    Source: common practice.
    """
    return diameter_mm + allowance_mm


def _covers(row: AllowanceRow, form: BlankForm | None, diameter_mm: float) -> bool:
    return row.form in (form, None) and row.diameter_over_mm < diameter_mm <= row.diameter_up_to_mm


def allowances_for(*, form: BlankForm, body: Body, rates: Rates) -> Allowances:
    """All allowances for an element in one form, that on the diameter so that its edge holds; raises `RateMissing`."""
    others = (kind for kind in KINDS if kind != "on_diameter")
    rows = {kind: allowance_row(kind=kind, form=form, diameter_mm=2 * body.rim_mm, rows=rates.allowances) for kind in others}
    return Allowances(on_diameter=diameter_allowance(body=body, form=form, rates=rates).taken, **rows)


def largest_diameter_mm(*, kind: Kind, rates: Rates) -> float:
    """Finished diameter [mm] up to which the shop has an allowance of a kind; 0 where it has none."""
    return max((row.diameter_up_to_mm for row in rates.allowances if row.kind == kind), default=0.0)


def largest_finished_diameter_mm(*, rates: Rates) -> float:
    """Finished diameter [mm] up to which the shop has allowances of every kind; beyond it no blank is cut."""
    return min(largest_diameter_mm(kind=kind, rates=rates) for kind in KINDS)
