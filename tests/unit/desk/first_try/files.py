"""Every file of the first try, workbooks and files that are none among them."""

from __future__ import annotations

import json

from tests.unit.desk.first_try.in_columns import DOUBLET, HEADS, OF_TRIPLET, PER_SURFACE, TRIPLET, WITH_FAULTS
from tests.unit.desk.first_try.letters import LETTERS
from tests.unit.desk.first_try.per_element import PER_ELEMENT
from tests.unit.desk.first_try.sample import Piece, Sample, workbook

NUMBERS = [[float(cell) if cell.replace(".", "").lstrip("-").isdigit() else cell for cell in row] for row in OF_TRIPLET]

WORKBOOKS: tuple[Sample, ...] = (
    workbook("triplet.xlsx", {"Lens": [HEADS, *NUMBERS]}, lens=TRIPLET),
    workbook(
        "with other sheets.xlsx",
        {"Cover": [["Hartmoor Instruments"], ["RFQ 2026-118"]], "Lens": [["Objective, 50 mm f/2"], [], HEADS, *NUMBERS],
         "Prices": [["Item", "Price"], ["Mount", 12.5]]},
        lens=TRIPLET, assumed=("Cover", "Prices"),
    ),
    workbook("two lenses.xlsx", {"Front": [HEADS, *NUMBERS], "Rear": [HEADS, *NUMBERS]}, asks=("which",), answers={"which": ""}, lens=TRIPLET),
    workbook(
        "formulas.xlsx", {"Lens": [HEADS, ["1", "=2*18.7", 5.9, "N-SK4", 30.0], ["2", -341.48, "", "", 30.0]]}, refused="calculates",
    ),
    workbook("parts list.xlsx", {"Parts": [["Item", "Drawing", "Pieces"], ["Barrel", "T-100", 4]]}, refused="no table of a lens"),
    workbook("elements.xlsx", {"L": [["Lens", "R1 (mm)", "R2 (mm)", "CT (mm)", "Glass", "Dia (mm)", "Qty"],
                                     ["L1", 51.68, "plano", 5.3, "N-BK7", 25.4, 40]]},
             lens=(Piece("N-BK7", 51.68, None, 5.3, 25.4),), holds={"quantities": [40]}),
)  # fmt: skip

NOT_TABLES: tuple[Sample, ...] = (
    Sample("photo.png", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, refused="picture"),
    Sample("drawing.pdf", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n<<>>\n", refused="PDF"),
    Sample("old.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), refused="save it as XLSX"),
    Sample("archive.zip", b"PK\x03\x04" + bytes(200), refused="workbook"),
    Sample("empty.csv", b"", refused="empty"),
    Sample("blank.csv", b"\n \n,,,\n", refused="no table"),
    Sample("large.csv", b"1,2,3\n" * 3_600_000, refused="MiB"),
    Sample("broken.json", b'{"prescription": {', refused="JSON"),
)

DOCUMENTS: tuple[Sample, ...] = (
    Sample(
        "prescription.json",
        json.dumps(
            {
                "title": "doublet",
                "elements": [
                    {"name": f"L{i}", "glass": piece.glass, "diameter_mm": piece.diameter_mm, "centre_thickness_mm": piece.thickness_mm,
                     "front": {"radius_mm": piece.front_mm, "clear_diameter_mm": 23.0}, "back": {"radius_mm": piece.back_mm, "clear_diameter_mm": 23.0}}
                    for i, piece in enumerate(DOUBLET, start=1)
                ],
                "spaces": [{"cemented": True}],
            }
        ).encode(),
        lens=DOUBLET,
        assumed=("5, 25, 100",),
    ),
)  # fmt: skip

FILES: tuple[Sample, ...] = (
    *PER_SURFACE,
    *WITH_FAULTS,
    *PER_ELEMENT,
    *LETTERS,
    *WORKBOOKS,
    *NOT_TABLES,
    *DOCUMENTS,
)
