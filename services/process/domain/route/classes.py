"""How hard an element is to work, in classes: that of its glass, and of the tightest tolerance that each operation answers to.

Minutes are learned by these classes. Both are those of the rate tables: the ISO 12844 class by which `grinding` has its rows, and the classes
of `tolerance_classes`. Ranges of hardness in `polishing` are no classes: they move when a row is edited.
"""

from __future__ import annotations

from services.process.domain.element_work import ElementWork
from services.process.domain.faces.removal import grindability_of
from services.process.domain.route.knees import Demand
from shared_schemas.operation_kinds import OPERATIONS, OperationName
from shared_schemas.operations import FaceClass, PartClasses, ToleranceClass
from shared_schemas.rates import GlassRow, RateMissing, Rates, ToleranceClassRow

FROM_LOOSEST: tuple[ToleranceClass, ...] = ("commercial", "precision", "high_precision")
ROUNDING = 1.0001
"""A figure that is that of a class to the fourth digit is in it, as drawings round."""


def classes_of(work: ElementWork, rates: Rates) -> PartClasses:
    """The classes of an element; an operation that no tolerance slows has none."""
    named = {operation for row in rates.tolerance_classes for operation in row.operations}
    found = []
    for operation in sorted(named, key=list(OPERATIONS).index):
        if OPERATIONS[operation].shapes_face:
            found += [FaceClass(operation=operation, face=face.face, tolerance=tightest_class(operation, work.demands_on(face), rates))
                      for face in work.faces]  # fmt: skip
        else:
            found.append(FaceClass(operation=operation, tolerance=tightest_class(operation, work.all_demands, rates)))
    return PartClasses(part=work.part, glass=glass_class(work.glass), tolerances=tuple(found))


def glass_class(glass: GlassRow) -> str:
    """The ISO 12844 class of a glass, as `HG3`; nothing where neither it nor what it is fitted from is known."""
    try:
        return f"HG{grindability_of(glass).hg}"
    except RateMissing:
        return ""


def tightest_class(operation: OperationName, demands: tuple[Demand, ...], rates: Rates) -> ToleranceClass:
    """The class of the tightest of the tolerances that an operation answers to; commercial where there is none."""
    rows = {row.attribute: row for row in rates.tolerance_classes if operation in row.operations}
    classes = [class_of(rows[demand.attribute], demand.figure) for demand in demands if demand.attribute in rows]
    return max(classes, key=FROM_LOOSEST.index, default="commercial")


def class_of(row: ToleranceClassRow, figure: float) -> ToleranceClass:
    """The class that a figure needs: the loosest is also that of any figure beyond it."""
    if figure <= row.high_precision * ROUNDING:
        return "high_precision"
    return "precision" if figure <= row.precision * ROUNDING else "commercial"
