"""The glass stage of the pipeline."""

from __future__ import annotations

from services.chassis.pipeline import Stage
from services.glass.domain.plan import plan_blanks

STAGE = Stage(task="glass.plan_blanks", reads=("job", "check"), run=plan_blanks)
