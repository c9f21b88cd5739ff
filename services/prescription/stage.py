"""The prescription stage of the pipeline."""

from __future__ import annotations

from services.chassis.pipeline import Stage
from services.prescription.domain.check import check

STAGE = Stage(task="prescription.check", reads=("job",), run=check)
