"""What is looked at between the operations of a route: chips, witness, coated faces, faces to be joined.

These lines rest on the rates alone, and so are remembered: they come back with every tolerance that is tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from services.optics.law import decided
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.inspection import Look, inspect_line, rows_of
from services.process.domain.route.knees import NO_DEMANDS
from services.process.domain.route.lines import Line, Work, line, lot_of
from shared_schemas.operations import Face
from shared_schemas.rates import InForce, Rates

Lines = tuple[Line, ...]


def look_for_chips(face: FaceWork, rates: Rates) -> Lines:
    """A look at the machine for chips of generating, before a piece is blocked with others; none where the rates have none."""
    return _look(("chips",), 1, "chips", face.face, InForce(rates))


def look_at_coated(work: ElementWork, rates: Rates) -> Lines:
    """The look at coated faces after the last run; none where the rates have none."""
    return _look(("coated", "coating"), sum(face.coating is not None for face in work.faces), "coated", None, InForce(rates))


def look_before_cementing(elements: Sequence[ElementWork], rates: Rates) -> Lines:
    """The faces to be joined once more, under the microscope; none where the rates have none."""
    return _look(("joined",), 2 * (len(elements) - 1), "microscope", None, InForce(rates))


def measure_witness(run: Line, rates: Rates) -> Lines:
    """The witness piece of a coating run, measured when the run is over; none where the rates have none."""
    return _witness(run.batch_size, run.face, InForce(rates))


@lru_cache(maxsize=256)
def _look(kinds: tuple[str, ...], faces: int, method: str, face: Face | None, in_force: InForce) -> Lines:
    looks = [Look(row, faces if row.per == "face" else 1) for row in rows_of(in_force.rates).usual(*kinds)]
    return (inspect_line(looks, (), NO_DEMANDS, in_force.rates, method=method, face=face),) if looks else ()


@lru_cache(maxsize=256)
def _witness(pieces: int, face: Face | None, in_force: InForce) -> Lines:
    rows = [row for row in rows_of(in_force.rates).by_kind.get("coating", ()) if row.per == "lot"]
    if not rows:
        return ()
    of_run = lot_of([(row.name, row.minutes, Rates.ref("inspection", row)) for row in rows], "for the run")
    size = decided("batch_size", pieces, "one witness stands for all pieces of its run", source="common practice")
    work = Work(of_batch=of_run, batch_size=pieces, why_size=lambda: size)
    return (line("inspect", in_force.rates, work, method="witness", face=face),)
