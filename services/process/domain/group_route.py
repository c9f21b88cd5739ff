"""The route of a cemented group."""

from __future__ import annotations

from services.process.domain.element_work import ElementWork
from services.process.domain.operation_lines import line
from services.process.domain.rate_rows import cementing_for
from shared_schemas.figure import Figure
from shared_schemas.operations import Consumed, Operation, Route
from shared_schemas.rates import Rates


def group_name(elements: tuple[ElementWork, ...]) -> str:
    """A group is called by its elements: `L1+L2`."""
    return "+".join(work.name for work in elements)


def group_route(elements: tuple[ElementWork, ...], rates: Rates) -> Route:
    """Clean, join, cure, inspect. The tightest centring of the elements says how they are joined."""
    return Route(
        part=group_name(elements),
        kind="cemented_group",
        consumes=tuple(Consumed(part=work.name) for work in elements),
        operations=(line("clean", rates), *_cement(elements, rates), line("inspect", rates)),
    )


def _cement(elements: tuple[ElementWork, ...], rates: Rates) -> tuple[Operation, Operation]:
    tightest = min(work.centring_arcmin for work in elements)
    row = cementing_for(rates, tightest)
    faces = len(elements) - 1
    ref = Rates.ref("cementing", row)
    centring = Figure(name="centring", value=tightest, unit="arcmin")
    join = line(
        "cement", rates, each_min=row.minutes_per_face * faces, extra_setup_min=row.setup_min, consumables=row.consumables_per_piece,
        run_basis=(Figure(name="each", value=row.minutes_per_face * faces, unit="min", formula="minutes per face x faces", inputs=(centring,), rate_row=ref),),
        batch_basis=(Figure(name="pieces", value=1, formula="one at a time"),),
    )  # fmt: skip
    cure = line(
        "cement", rates, batch_size=row.cure_batch, run_min=row.cure_min, attended_share=0.05,
        run_basis=(Figure(name="run", value=row.cure_min, unit="min", formula="full cure under the lamp", rate_row=ref),),
        batch_basis=(Figure(name="cure batch", value=row.cure_batch, rate_row=ref),),
    )  # fmt: skip
    # The loss of cementing is in the join; curing loses nothing more.
    return join, cure.model_copy(update={"yield_share": 1.0, "batch_loss": 0.0, "setup_min": 0.0, "basis": cure.basis[1:3]})
