"""One plan of starts against a worked example counted exactly: two elements that are cemented, five good pairs wanted.

Element A survives with .90 and costs 60, B with .85 and costs 90; cementing succeeds with .92, and seven of ten failed pairs are taken apart
and cemented again, once. Figures computed with exact binomial sums, after Y. Gerchak and C. A. Yano, "Lot sizing in assembly systems with random
component yields", University of Michigan technical report, 1989, https://deepblue.lib.umich.edu/bitstream/handle/2027.42/8388/bbl2252.0001.001.txt
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from scipy.stats import nbinom

from services.quoting.costs.rework import kept_share, scrapped_batches
from services.quoting.pricing.joint_starts import Lot, job_of, joint_starts
from services.quoting.risk.losses import Losses
from services.quoting.risk.needs import good_at_least, need_of
from shared_schemas.operations import Consumed, Operation, Route

STEP = (
    Operation.model_validate(
        {
            "operation": "polish",
            "work_centre": "bench",
            "setup_min": 0,
            "batch_size": 1,
            "batch_min": 1,
            "yield": 1,
            "consumables": "0",
        }
    ),
)
ROUTES = (
    Route(part="A", kind="element", operations=STEP),
    Route(part="B", kind="element", operations=STEP),
    Route(part="A+B", kind="cemented_group", operations=STEP, consumes=(Consumed(part="A"), Consumed(part="B"))),
    Route(part="lens", kind="lens", operations=STEP, consumes=(Consumed(part="A+B"),)),
)
REWORKED, SCRAPPED = 0.97152, 0.92


def losses(cementing: float) -> dict[str, Losses]:
    return {"A": Losses(0.90), "B": Losses(0.85), "A+B": Losses(cementing), "lens": Losses(1.0)}


@pytest.mark.parametrize(
    ("starts", "reworked", "scrapped"),
    [((6, 6), 0.61995, 0.50613), ((7, 7), 0.85776, 0.76512), ((7, 8), 0.92232, 0.84891)],
)
def test_the_chance_of_five_pairs_is_that_of_the_worked_example(starts: tuple[int, int], reworked: float, scrapped: float) -> None:
    for cementing, expected in ((REWORKED, reworked), (SCRAPPED, scrapped)):
        of_parts = losses(cementing)
        job = job_of(routes=ROUTES, quantity=5, losses=of_parts)
        tails = {
            part: good_at_least(started=number, wanted=job.demand[part][0], losses=of_parts[part])
            for part, number in zip("AB", starts, strict=True)
        }
        assert job.chance_of(tails) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(
    ("confidence", "cementing", "starts", "chance"),
    [(0.90, SCRAPPED, (8, 8), 0.90387), (0.90, REWORKED, (7, 8), 0.92232), (0.95, REWORKED, (8, 8), 0.95453)],
)
def test_the_plan_is_the_cheapest_of_the_worked_example(
    confidence: float, cementing: float, starts: tuple[int, int], chance: float
) -> None:
    of_parts = losses(cementing)
    lots = [Lot("A", of_parts["A"], partial(np.multiply, 60.0)), Lot("B", of_parts["B"], partial(np.multiply, 90.0))]
    plan = joint_starts(routes=ROUTES, quantity=5, confidence=confidence, losses=of_parts, lots=lots)
    assert (plan.started["A"], plan.started["B"]) == starts
    assert plan.chance == pytest.approx(chance, abs=1e-5)


@pytest.mark.parametrize(("rework_share", "kept"), [(0.8, 0.97888), (0.7, 0.97152)])
def test_one_rework_leaves_what_the_worked_example_says(rework_share: float, kept: float) -> None:
    """Yield .92, rework that succeeds as often (computed)."""
    assert kept_share(yield_share=0.92, rework_share=rework_share, rework_yield=0.92) == pytest.approx(kept, abs=1e-5)
    assert scrapped_batches(batch_loss=0.01, rework_share=0.0, rework_yield=0.9) == 0.01


@pytest.mark.parametrize(("wanted", "share"), [(1, 0.7), (5, 0.92), (25, 0.97), (60, 0.9)])
def test_the_need_is_negative_binomial(wanted: int, share: float) -> None:
    """Against scipy's own distribution of the failures before the last success."""
    need = need_of(wanted=wanted, losses=Losses(share))
    assert need.mean == pytest.approx(wanted + nbinom.mean(wanted, share), rel=2e-5)
    spread = float(need.chance @ (need.pieces - need.mean) ** 2)
    assert spread == pytest.approx(nbinom.var(wanted, share), rel=0.03)
