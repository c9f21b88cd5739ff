"""Third station: plans the operations of a traveller."""

from services.chassis.pipeline import Stage
from services.process.domain.plan import plan_operations

STAGE = Stage(task="process.plan_operations", reads=("job", "check", "blanks"), run=plan_operations)
