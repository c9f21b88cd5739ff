"""Letters and pasted lines. All invented."""

from __future__ import annotations

from tests.unit.desk.first_try.in_columns import DOUBLET, TRIPLET
from tests.unit.desk.first_try.sample import Piece, Sample, letter

LETTERS: tuple[Sample, ...] = (
    letter(
        "pasted columns.txt",
        """Surf   Radius     Thickness   Glass    Diameter
(mm)   (mm)       (mm)                 (mm)
1      37.40      5.90        N-SK4    30.0
2      -341.48    12.93                30.0
3      -42.65     2.50        N-SF2    22.0
4      36.40      11.85                22.0
5      204.52     5.90        N-SK4    24.0
6      -37.05     77.4                 24.0
""",
        lens=TRIPLET,
    ),
    letter(
        "pasted from a page.txt",
        """| Surface | Radius (mm) | Thickness (mm) | Glass | Diameter (mm) |
|---------|-------------|----------------|-------|---------------|
| 1 | 61.47 | 6.0 | N-BK7 | 25.4 |
| 2 | -44.64 | 2.5 | SF5 | 25.4 |
| 3 | -129.94 | | | 25.4 |
""",
        lens=DOUBLET,
    ),
    letter(
        "a doublet by mail.txt",
        """Hi,

could you quote a cemented doublet, dia 25.4 mm:
R1 61.47, R2 -44.64, R3 -129.94, CT1 6.0, CT2 2.5 mm, N-BK7 / SF5
10/50/200 pcs

Thanks
Ines
""",
        lens=DOUBLET, holds={"quantities": [10, 50, 200]},
    ),
    letter(
        "a singlet by mail.txt",
        """Please quote a plano-convex lens
Glass: N-BK7
Diameter: 25.4 mm
R1: 51.68 mm
R2: plano
CT: 5.3 mm
Quantity: 20
""",
        lens=(Piece("N-BK7", 51.68, None, 5.3, 25.4),), holds={"quantities": [20]},
    ),
    letter(
        "Anfrage.txt",
        """Sehr geehrte Damen und Herren,
bitte um Angebot für eine Linse:
Glas: N-BK7
Durchmesser: 25,4 mm
R1: 51,68 mm
R2: plan
Mittendicke: 5,3 mm
Stückzahl: 20
""",
        lens=(Piece("N-BK7", 51.68, None, 5.3, 25.4),), holds={"quantities": [20]},
    ),
    Sample(
        "a letter with headers.eml",
        b"""From: Ines <ines@hartmoor.example>
To: sales@tarn.example
Subject: RFQ 2026-118 singlet
Date: Mon, 30 Nov 2026 09:12:00 +0000
MIME-Version: 1.0
Content-Type: text/plain; charset=utf-8

Glass: N-BK7
Diameter: 25.4 mm
R1: 51.68 mm
R2: plano
CT: 5.3 mm
Quantity: 20
""",
        lens=(Piece("N-BK7", 51.68, None, 5.3, 25.4),), holds={"quantities": [20]},
    ),
    letter(
        "no lens in it.txt",
        """Dear Tom,

thanks for the visit last week. We will come back to you on the coating question after the board has met.

Best regards
Ines
""",
        refused="lens",
    ),
    letter(
        "too loose to read.txt",
        "We need a few achromats, about an inch across and f = 100 or so, in the usual glasses. What would that cost?\n",
        refused="lens",
    ),
)  # fmt: skip
