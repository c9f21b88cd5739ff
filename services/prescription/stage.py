"""First station: checks the prescription of a traveller."""

from services.chassis.pipeline import Stage
from services.prescription.domain.check import check

STAGE = Stage(task="prescription.check", reads=("job",), run=check)
