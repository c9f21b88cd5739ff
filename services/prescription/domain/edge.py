"""How thick is the edge, and what does the size of a lens ask of it?"""

from __future__ import annotations

from services.prescription.domain.sag import Profile


def edge_thickness_mm(*, front: Profile, back: Profile, centre_thickness_mm: float, height_mm: float) -> float:
    """Thickness along the axis at a height: CT - z1(y) + z2(y), with signed depths [mm]."""
    return centre_thickness_mm - front.sag_mm(height_mm) + back.sag_mm(height_mm)


def least_edge_mm(diameter_mm: float) -> float:
    """Edge thickness below which a lens of that diameter chips and flexes in work [mm].

    Source: practice ranges (1.0 mm up to 25 mm, 1.5 up to 50, 2 up to 100), from memory; a small lens may go to 0.3.
    """
    for up_to_mm, least_mm in ((6.0, 0.3), (25.0, 1.0), (50.0, 1.5), (100.0, 2.0)):
        if diameter_mm <= up_to_mm:
            return least_mm
    return 3.0
