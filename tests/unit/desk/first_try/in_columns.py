"""Tables with a row a surface or an element, in the shapes and languages that customers have. Lenses without a source are invented."""

from __future__ import annotations

from tests.unit.desk.first_try.sample import Piece, Sample, table

DOUBLET = (Piece("N-BK7", 61.47, -44.64, 6.0, 25.4), Piece("SF5", -44.64, -129.94, 2.5, 25.4))
TRIPLET = (
    Piece("N-SK4", 37.40, -341.48, 5.90, 30.0),
    Piece("N-SF2", -42.65, 36.40, 2.50, 22.0),
    Piece("N-SK4", 204.52, -37.05, 5.90, 24.0),
)
"""Radii, thicknesses and gaps: W. Smith, Modern Optical Engineering, 4th ed., p. 118-119; diameters invented."""
SINGLET = (Piece("N-BK7", 51.68, None, 5.3, 25.4),)

OF_TRIPLET = [
    ["1", "37.40", "5.90", "N-SK4", "30.0"],
    ["2", "-341.48", "12.93", "", "30.0"],
    ["3", "-42.65", "2.50", "N-SF2", "22.0"],
    ["4", "36.40", "11.85", "", "22.0"],
    ["5", "204.52", "5.90", "N-SK4", "24.0"],
    ["6", "-37.05", "77.4", "", "24.0"],
]
HEADS = ["Surface", "Radius (mm)", "Thickness (mm)", "Material", "Diameter (mm)"]


def changed(row: int, column: int, text: str) -> list[list[str]]:
    """The rows of the triplet with another text in one cell."""
    return [[text if (i, j) == (row, column) else cell for j, cell in enumerate(line)] for i, line in enumerate(OF_TRIPLET)]


PER_SURFACE: tuple[Sample, ...] = (
    table("triplet.csv", [HEADS, *OF_TRIPLET], lens=TRIPLET, assumed=("5, 25, 100",)),
    table(
        "Zeichnung 4711.csv",
        [["Fläche", "Radius [mm]", "Dicke [mm]", "Glas", "Durchmesser [mm]"],
         ["1", "61,47", "6,0", "N-BK7", "25,4"], ["2", "-44,64", "2,5", "SF5", "25,4"], ["3", "-129,94", "", "", "25,4"]],
        by=";", encoding="latin-1", newline="\r\n", lens=DOUBLET,
    ),
    table(
        "objectif.csv",
        [["Dioptre", "Rayon (mm)", "Épaisseur (mm)", "Verre", "Diamètre (mm)"],
         ["1", "61,47", "6", "N-BK7", "25,4"], ["2", "-44,64", "2,5", "SF5", "25,4"], ["3", "-129,94", "", "air", "25,4"]],
        by=";", lens=DOUBLET,
    ),
    table(
        "listing.tsv",
        [["Surf", "Type", "Radius", "Thickness", "Glass", "Semi-Diameter"],
         ["OBJ", "STANDARD", "Infinity", "Infinity", "", "0"],
         ["1", "STANDARD", "37.40", "5.90", "N-SK4", "15.0"],
         ["2", "STANDARD", "-341.48", "12.93", "", "15.0"],
         ["3", "STANDARD", "-42.65", "2.50", "N-SF2", "11.0"],
         ["4", "STANDARD", "36.40", "2.0", "", "11.0"],
         ["STO", "STANDARD", "Infinity", "9.85", "", "10.3"],
         ["6", "STANDARD", "204.52", "5.90", "N-SK4", "12.0"],
         ["7", "STANDARD", "-37.05", "77.405", "", "12.0"],
         ["IMA", "STANDARD", "Infinity", "", "", "18.2"]],
        by="\t", lens=tuple(Piece(p.glass, p.front_mm, p.back_mm, p.thickness_mm) for p in TRIPLET), assumed=("all lengths are in mm",),
        holds={"prescription/spaces/1/gap_mm": 11.85, "prescription/elements/0/front/clear_diameter_mm": 30.0, "prescription/stop/diameter_mm": 20.6},
    ),
    table(
        "inches.csv",
        [["Surf", "Radius (in)", "Thickness (in)", "Glass", "Dia (in)"],
         ["1", "2.0346", "0.2087", "N-BK7", "1.000"], ["2", "inf", "", "", "1.000"]],
        lens=(Piece("N-BK7", 51.67884, None, 5.30098, 25.4),),
    ),
    table(
        "no unit.csv",
        [["Surf", "Radius", "Thickness", "Glass", "Diameter"], ["1", "2.0346", "0.2087", "N-BK7", "1.000"], ["2", "plano", "", "", "1.000"]],
        asks=("unit",), answers={"unit": "inch"}, lens=(Piece("N-BK7", 51.67884, None, 5.30098, 25.4),),
    ),
    table(
        "curvatures.csv",
        [["Surface", "Curvature (1/mm)", "Thickness (mm)", "Glass", "Diameter (mm)"],
         ["1", "0.02", "5.0", "N-BK7", "25"], ["2", "0", "", "", "25"]],
        lens=(Piece("N-BK7", 50.0, None, 5.0, 25.0),),
    ),
    table(
        "with a title.csv",
        [["Hartmoor Instruments - RFQ 2026-118", "", "", "", ""], ["Objective, 50 mm f/2", "", "", "", ""], ["", "", "", "", ""],
         HEADS, *OF_TRIPLET],
        lens=TRIPLET,
    ),
    table(
        "heads in two rows.csv",
        [["Surface", "Radius", "Thickness", "Material", "Diameter"], ["", "[mm]", "[mm]", "", "[mm]"], *OF_TRIPLET],
        lens=TRIPLET,
    ),
    table("from a spreadsheet.csv", [HEADS, *OF_TRIPLET], encoding="utf-8-sig", newline="\r\n", lens=TRIPLET),
    table("unicode text.txt", [HEADS, *OF_TRIPLET], by="\t", encoding="utf-16", newline="\r\n", lens=TRIPLET),
    table(
        "thousands.csv",
        [HEADS, ["1", "1,234.5", "4.0", "N-BK7", "30.0"], ["2", "-85.00", "", "", "30.0"]],
        lens=(Piece("N-BK7", 1234.5, -85.0, 4.0, 30.0),),
    ),
    table(
        "Tausender.csv",
        [["Fläche", "Radius/mm", "Dicke/mm", "Glas", "Ø/mm"], ["1", "1.234,5", "4,0", "N-BK7", "30,0"], ["2", "-85,00", "", "", "30,0"]],
        by=";", lens=(Piece("N-BK7", 1234.5, -85.0, 4.0, 30.0),),
    ),
    table(
        "minus signs.csv",
        [HEADS, ["1", "61.47", "6.0", "N-BK7", "25.4"], ["2", "−44.64", "2.5", "SF5", "25.4"], ["3", "–129.94", "", "", "25.4"]],
        lens=DOUBLET,
    ),
    table(
        "units in cells.csv",
        [["#", "R", "d", "Glass", "Dia"], ["1", "61.47 mm", "6.0 mm", "N-BK7", "25.4 mm"], ["2", "-44.64 mm", "2.5 mm", "SF5", "25.4 mm"],
         ["3", "-129.94 mm", "", "", "25.4 mm"]],
        lens=DOUBLET,
    ),
    table(
        "asphere.csv",
        [["Surface", "Radius (mm)", "Conic", "A4", "A6", "Thickness (mm)", "Glass", "Clear diameter (mm)"],
         ["1", "22.5", "-0.6", "1.2e-6", "-3E-9", "7.0", "N-BK7", "24"], ["2", "flat", "", "", "", "", "", "22"]],
        lens=(Piece("N-BK7", 22.5, None, 7.0),),
        holds={"prescription/elements/0/front/conic": -0.6, "prescription/elements/0/front/asphere/4": 1.2e-6,
               "prescription/elements/0/front/asphere/6": -3e-9},
    ),
    table(
        "glass codes.csv",
        [HEADS, ["1", "61.47", "6.0", "517642", "25.4"], ["2", "-44.64", "2.5", "673322", "25.4"], ["3", "-129.94", "", "", "25.4"]],
        lens=(Piece("517642", 61.47, -44.64, 6.0, 25.4), Piece("673322", -44.64, -129.94, 2.5, 25.4)),
    ),
    table(
        "glass by index.csv",
        [HEADS, ["1", "50", "5", "1.5168/64.17", "25"], ["2", "inf", "", "", "25"]],
        lens=(Piece({"nd": 1.5168, "vd": 64.17}, 50.0, None, 5.0, 25.0),),
    ),
    table(
        "both diameters.csv",
        [["Surface", "Radius (mm)", "Thickness (mm)", "Glass", "Clear aperture (mm)", "Outer diameter (mm)"],
         ["1", "50", "5", "N-BK7", "23", "25"], ["2", "-50", "", "", "22", "25"]],
        lens=(Piece("N-BK7", 50.0, -50.0, 5.0, 25.0),),
        holds={"prescription/elements/0/front/clear_diameter_mm": 23.0, "prescription/elements/0/back/clear_diameter_mm": 22.0},
    ),
)  # fmt: skip

WITH_FAULTS: tuple[Sample, ...] = (
    table("lost radius.csv", [HEADS, *changed(3, 1, "")], asks=("radius",), answers={"radius": "36.40"}, lens=TRIPLET),
    table("lost thickness.csv", [HEADS, *changed(2, 2, "")], asks=("thick",), answers={"thick": "2.50"}, lens=TRIPLET),
    table("slipped decimal.csv", [HEADS, *changed(0, 1, "374.0")], asks=("slip",), lens=TRIPLET, rays=True),
    table("lost minus.csv", [HEADS, *changed(2, 1, "42.65")], asks=("slip",), lens=TRIPLET, rays=True),
    table("letter O.csv", [HEADS, *changed(4, 1, "2O4.52")], asks=("2O4.52",), answers={"2O4.52": "204.52"}, lens=TRIPLET),
    table("question mark.csv", [HEADS, *changed(4, 2, "5.9?")], asks=("5.9?",), answers={"5.9?": "5.9"}, lens=TRIPLET),
    table("glass misspelt.csv", [HEADS, *changed(2, 3, "N-SF22")], asks=("N-SF22",), answers={"N-SF22": "N-SF2"}, lens=TRIPLET),
    table(
        "two radii.csv",
        [["Surface", "Radius (mm)", "Radius (mm)", "Thickness (mm)", "Glass", "Diameter (mm)"],
         ["1", "61.47", "61.50", "6.0", "N-BK7", "25.4"], ["2", "-44.64", "-44.70", "", "", "25.4"]],
        refused="twice",
    ),
    table(
        "unknown column.csv",
        [[*HEADS, "Blob factor"], ["1", "50", "5", "N-BK7", "25", "17.3"], ["2", "-50", "", "", "25", "4"]],
        asks=("Blob factor",), answers={"Blob factor": "not_needed"}, lens=(Piece("N-BK7", 50.0, -50.0, 5.0, 25.0),),
    ),
    table(
        "two lenses.csv",
        [HEADS, *OF_TRIPLET, ["", "", "", "", ""], ["Second lens", "", "", "", ""], HEADS,
         ["1", "50", "5", "N-BK7", "25"], ["2", "-50", "", "", "25"]],
        asks=("which",), answers={"which": ""}, lens=TRIPLET,
    ),
    table(
        "point and comma.csv",
        [HEADS, ["1", "61.47", "6,0", "N-BK7", "25.4"], ["2", "-44.64", "", "", "25,4"]],
        by=";", asks=("6,0", "25,4"), answers={"6,0": "6.0", "25,4": "25.4"}, lens=(Piece("N-BK7", 61.47, -44.64, 6.0, 25.4),),
    ),
    table(
        "price list.csv", [["Article", "Price", "Stock"], ["Screw M3", "0.12", "400"], ["Washer", "0.02", "900"]],
        refused="no table of a lens",
    ),
    table("heads alone.csv", [HEADS], refused="no element"),
)  # fmt: skip
