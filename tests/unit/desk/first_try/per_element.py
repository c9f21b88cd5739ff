"""Tables with a row an element, or a column an element, with tolerances and coatings as customers write them. All invented."""

from __future__ import annotations

from tests.unit.desk.first_try.in_columns import DOUBLET
from tests.unit.desk.first_try.sample import Piece, Sample, table

PER_ELEMENT: tuple[Sample, ...] = (
    table(
        "elements.csv",
        [["Lens", "R1", "R2", "CT", "Glass", "OD", "CA"], ["A", "51.68", "plano", "5.3", "N-BK7", "25.4", "22.9"],
         ["B", "-40.2", "40.2", "2.0", "N-SF11", "20", "18"]],
        asks=("what lies between A and B",), answers={"what lies between": "4.5"},
        lens=(Piece("N-BK7", 51.68, None, 5.3, 25.4), Piece("N-SF11", -40.2, 40.2, 2.0, 20.0)),
    ),
    table(
        "Linsen.csv",
        [["Linse", "R1 [mm]", "R2 [mm]", "Mittendicke [mm]", "Glas", "Durchmesser [mm]", "Stück"], ["L1", "51,68", "plan", "5,3", "N-BK7", "25,4", "50"]],
        by=";", lens=(Piece("N-BK7", 51.68, None, 5.3, 25.4),), holds={"quantities": [50]},
    ),
    table(
        "tolerances.csv",
        [["Lens", "R1 (mm)", "R2 (mm)", "CT (mm)", "CT tol", "Glass", "Dia (mm)", "Dia tol", "S-D", "Irregularity", "Centration"],
         ["L1", "51.68", "-51.68", "5.3", "±0.05", "N-BK7", "25.4", "+0/-0.02", "40-20", "λ/4", "1'"]],
        lens=(Piece("N-BK7", 51.68, -51.68, 5.3, 25.4),),
        holds={"prescription/elements/0/tolerances/centre_thickness_mm": 0.05, "prescription/elements/0/tolerances/diameter_mm": [0.0, -0.02]},
    ),
    table(
        "ISO indications.csv",
        [["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)", "Form", "Centring", "Imperfections"],
         ["L1", "51.68", "-51.68", "5.3", "N-BK7", "25.4", "3/3(0.5)", "4/1'", "5/2x0.16"]],
        lens=(Piece("N-BK7", 51.68, -51.68, 5.3, 25.4),),
        holds={"prescription/elements/0/front/form": "3/3(0.5)", "prescription/elements/0/back/imperfections": "5/2x0.16",
               "prescription/elements/0/tolerances/centring": "4/1'"},
    ),
    table(
        "coatings in words.csv",
        [["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)", "Coating S1", "Coating S2"],
         ["L1", "51.68", "-51.68", "5.3", "N-BK7", "25.4", "MgF2", "uncoated"]],
        lens=(Piece("N-BK7", 51.68, -51.68, 5.3, 25.4),), holds={"prescription/elements/0/front/coating": "ar-single"},
    ),
    table(
        "coating in a comment.csv",
        [["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)", "Comment"],
         ["L1", "51.68", "-51.68", "5.3", "N-BK7", "25.4", "AR R<0.5% 450-650 nm both sides"]],
        lens=(Piece("N-BK7", 51.68, -51.68, 5.3, 25.4),),
        holds={"prescription/elements/0/front/coating/reflectance_max_share": 0.005,
               "prescription/elements/0/back/coating/band_nm": [450.0, 650.0]},
    ),
    table(
        "convex and concave.csv",
        [["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)"], ["L1", "61.47 CX", "44.64 CX", "6.0", "N-BK7", "25.4"]],
        lens=(Piece("N-BK7", 61.47, -44.64, 6.0, 25.4),),
    ),
    table(
        "signs by side.csv",
        [["Element", "Shape", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)"],
         ["L1", "biconvex", "61.47", "44.64", "6.0", "N-BK7", "25.4"]],
        asks=("biconvex",), answers={"biconvex": ""}, lens=(Piece("N-BK7", 61.47, -44.64, 6.0, 25.4),),
    ),
    table(
        "lost thickness of an element.csv",
        [["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)"], ["L1", "61.47", "-44.64", "", "N-BK7", "25.4"]],
        asks=("thick",), answers={"thick": "6.0"}, lens=(Piece("N-BK7", 61.47, -44.64, 6.0, 25.4),),
    ),
    table(
        "turned round.csv",
        [["", "L1", "L2"], ["Glass", "N-BK7", "SF5"], ["R1 (mm)", "61.47", "-44.64"], ["R2 (mm)", "-44.64", "-129.94"],
         ["CT (mm)", "6.0", "2.5"], ["Diameter (mm)", "25.4", "25.4"]],
        lens=DOUBLET, asks=("cement",), answers={"cement": ""},
    ),
    table(
        "quantities above.csv",
        [["RFQ", "2026-77"], ["Customer", "Hartmoor Instruments"], ["Qty", "10/50/200 pcs"], [],
         ["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)"], ["L1", "51.68", "-51.68", "5.3", "N-BK7", "25.4"]],
        lens=(Piece("N-BK7", 51.68, -51.68, 5.3, 25.4),),
        holds={"quantities": [10, 50, 200], "customer": "Hartmoor Instruments", "reference": "2026-77"},
    ),
    table(
        "quantities below.csv",
        [["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)"], ["L1", "51.68", "-51.68", "5.3", "N-BK7", "25.4"], [],
         ["Quantities", "25, 100"], ["Delivery by", "2027-03-01"]],
        lens=(Piece("N-BK7", 51.68, -51.68, 5.3, 25.4),), holds={"quantities": [25, 100], "needed_by": "2027-03-01"},
    ),
    table(
        "fused silica.csv",
        [["Element", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Diameter (mm)"], ["W1", "PL", "PL", "3.0", "fused silica", "25.4"]],
        lens=(Piece("fused silica", None, None, 3.0, 25.4),),
    ),
)  # fmt: skip
