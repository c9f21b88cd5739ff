"""The route of a cemented group."""

from __future__ import annotations

from dataclasses import replace

from services.process.domain.element_work import ElementWork
from services.process.domain.inspection import inspect_group
from services.process.domain.operation_lines import Line, line, of_same_row
from services.process.domain.rate_rows import cementing_for
from shared_schemas.figure import Figure
from shared_schemas.operations import Consumed, Operation, Route
from shared_schemas.rates import CementingRow, Rates


def group_name(elements: tuple[ElementWork, ...]) -> str:
    """A group is called by its elements: `L1+L2`."""
    return "+".join(work.name for work in elements)


def group_route(elements: tuple[ElementWork, ...], rates: Rates, *, blackened: bool) -> Route:
    """Clean, join, cure, blacken the edge for a barrel, inspect. The tightest centring of the elements says how they are joined."""
    tightest = min(work.centring_arcmin for work in elements)
    row = cementing_for(rates, tightest)
    return Route(
        part=group_name(elements),
        kind="cemented_group",
        consumes=tuple(Consumed(part=work.name) for work in elements),
        operations=(
            line("clean", rates).as_operation(),
            _join(row, tightest, len(elements) - 1, rates).as_operation(),
            _cure(row, rates),
            *((line("blacken_edge", rates).as_operation(),) if blackened else ()),
            inspect_group(elements, rates).as_operation(),
        ),
    )


def _join(row: CementingRow, centring_arcmin: float, faces: int, rates: Rates) -> Line:
    minutes = row.minutes_per_face * faces

    def why() -> tuple[Figure, ...]:
        ref = Rates.ref("cementing", row)
        inputs = (
            of_same_row("minutes per face", row.minutes_per_face, "min"),
            Figure(name="faces", value=faces, source="the prescription: one between two elements"),
            Figure(name="centring", value=centring_arcmin, unit="arcmin", source="the check report, tightest of the group"),
        )
        formula = "minutes per face x faces; the plainest way that is fine enough for the centring"
        return (Figure(name="each", value=minutes, unit="min", formula=formula, inputs=inputs, rate_row=ref),)

    return line(
        "cement", rates, each_min=minutes, extra_setup_min=row.setup_min, consumables=row.consumables_per_piece, run_basis=why
    )


def _cure(row: CementingRow, rates: Rates) -> Operation:
    """Under the lamp, unattended but for loading. The loss of cementing is in the join; curing loses nothing more."""
    ref = Rates.ref("cementing", row)
    cure = line(
        "cement", rates, batch_size=row.cure_batch, run_min=row.cure_min, attended_share=row.cure_attended_share,
        run_basis=lambda: (Figure(name="run", value=row.cure_min, unit="min", formula="full cure", rate_row=ref),),
        batch_basis=lambda: Figure(name="batch_size", value=row.cure_batch, rate_row=ref),
    )  # fmt: skip
    done = replace(cure, setup_min=0.0, yield_share=1.0, batch_loss=0.0).as_operation()
    return done.model_copy(update={"basis": done.basis[1:3]})
