"""Twelve lenses whose figures are kept: a change of a law shows here in every price it moves.

`python -m tests.laws.golden` prints what moved against the file; with `--write` the file is written anew.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from services.rates.domain.seed import seed_rates
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.chain import demo, published_triplet, quote_of, request_of, singlet

KEPT = Path(__file__).with_name("golden.json")


def lenses() -> dict[str, QuoteRequest]:
    """The demo, the published triplet and ten others, from 4 mm to 102 mm, plain and hard."""
    coated = {"coating": "ar-broadband"}
    loose = {"diameter_mm": [0.0, -0.1], "centre_thickness_mm": 0.2, "centring": "4/6'"}
    doublet = {
        "title": "large doublet",
        "elements": [
            *singlet(glass="N-BK7", diameter_mm=102.0, centre_thickness_mm=18.0, front_mm=310.0, back_mm=-220.0)["elements"],
            {
                **singlet(glass="N-SF2", diameter_mm=102.0, centre_thickness_mm=10.0, front_mm=-220.0, back_mm=-900.0)["elements"][
                    0
                ],
                "name": "L2",
            },
        ],
        "spaces": [{"cemented": True}],
    }
    return {
        "demo": demo(),
        "triplet": published_triplet(),
        "biconvex 25": request_of(singlet(imperfections="5/3x0.16"), (1, 4, 5, 10, 11, 25, 100, 1000)),
        "plano-convex 30": request_of(singlet(diameter_mm=30.0, front_mm=-30.0, back_mm=None, clear_mm=20.0), (5, 25)),
        "commercial plano-convex 25": request_of(
            singlet(front_mm=51.5, back_mm=None, form="3/8(2)", imperfections="5/5x0.4", tolerances=loose), (25, 100, 1000)
        ),
        "meniscus 20, dense flint": request_of(
            singlet(glass="N-SF6", diameter_mm=20.0, centre_thickness_mm=3.0, front_mm=22.0, back_mm=45.0, **coated)
        ),
        "biconcave 12, lead": request_of(
            singlet(glass="SF2", diameter_mm=12.0, centre_thickness_mm=2.0, front_mm=-18.0, back_mm=18.0, form="3/2(0.2)")
        ),
        "doublet 102": request_of(doublet, (1, 5, 25)),
        "asphere 40, conic -1": request_of(
            singlet(diameter_mm=40.0, centre_thickness_mm=10.0, front_mm=60.0, back_mm=None, conic=-1.0), (1, 5, 25)
        ),
        "window 50": request_of(singlet(diameter_mm=50.0, centre_thickness_mm=8.0, front_mm=None, back_mm=None, form="3/-(0.2)", **coated)),
        "small 4": request_of(
            singlet(diameter_mm=4.0, centre_thickness_mm=1.5, front_mm=6.0, back_mm=-6.0), (5, 100, 1000)
        ),
        "thin meniscus 60, yen": request_of(
            singlet(diameter_mm=60.0, centre_thickness_mm=3.6, front_mm=150.0, back_mm=140.0), (5, 25), currency="JPY"
        ),
    }  # fmt: skip


def figures_of(request: QuoteRequest, rates: Rates) -> dict[str, Any]:
    """What is kept of a quote: for every quantity its prices, lines, days and starts; the blanks; minutes and lenses on a block."""
    quote = quote_of(request, rates)
    return {
        "breaks": {
            str(one.quantity): {
                "unit_price": str(one.unit_price),
                "lines": {line.kind: str(line.amount) for line in one.lines},
                "days": [one.lead_time.p50_days, one.lead_time.p90_days],
                "starts": dict(one.start_quantities),
            }
            for one in quote.breaks
        },
        "blanks": {
            one.name: f"{one.blank.form} {one.blank.diameter_mm:.3f} x {one.blank.thickness_mm:.3f}" for one in quote.elements
        },
        "operations": {
            one.name: [
                f"{op.operation} {op.face or ''} {op.batch_size} {op.batch_min:.3f} {op.piece_min:.3f}" for op in one.operations
            ]
            for one in quote.elements
        },
    }


def differences(kept: Any, now: Any, where: str = "") -> list[str]:
    """Every place where two documents differ, with both figures."""
    if isinstance(kept, dict) and isinstance(now, dict):
        return [line for key in {**kept, **now} for line in differences(kept.get(key), now.get(key), f"{where}/{key}")]
    return [] if kept == now else [f"{where}: {kept} -> {now}"]


def main(*arguments: str) -> None:
    """Print what moved; write the file anew when asked to."""
    rates = seed_rates()
    now = {name: figures_of(request, rates) for name, request in lenses().items()}
    kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    sys.stdout.write("".join(f"{line}\n" for line in differences(kept, now)))
    if "--write" in arguments:
        KEPT.write_text(json.dumps(now, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
