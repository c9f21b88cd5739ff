"""The check report: can this lens be made, and what does each surface demand?"""

from __future__ import annotations

from operator import not_
from typing import Annotated, Any, Literal

from pydantic import AliasChoices, BeforeValidator, Field

from shared_schemas.base import Contract, Name, Pointer, Text
from shared_schemas.figure import Figure
from shared_schemas.prescription import CoatingDemand

Severity = Literal["note", "care", "stop"]
Makeable = Literal["yes", "with_care", "no"]
Audience = Literal["shop", "customer", "both"]
SheetSection = Literal["assumed", "to look at", "handling"]


def _with_hyphens(code: object) -> object:
    return code.replace("_", "-") if isinstance(code, str) else code


class FieldChange(Contract):
    """What a field would be: a JSON pointer into the prescription, and the value."""

    pointer: Pointer
    becomes: Any


class Finding(Contract):
    """Something an estimator would say. `figure` is what was found, `limit` what it is held against, `unit` of both.

    `changes` is the remedy field by field, where the check can say it so: a slip of a typist that is taken back.

    Quotes that were stored before place and remedy had the names they have in problems are read by the names they had then.
    """

    code: Annotated[Name, BeforeValidator(_with_hyphens)]
    severity: Severity
    pointer: Pointer = Field(validation_alias=AliasChoices("pointer", "where"))
    message: Text
    figure: float | str | None = None
    limit: float | str | None = None
    unit: str = ""
    source: Text = ""
    remedy: Text | None = Field(None, validation_alias=AliasChoices("remedy", "repair"))
    changes: Annotated[tuple[FieldChange, ...], Field(exclude_if=not_)] = ()


class FindingKind(Contract):
    """What a finding code stands for: how grave it is, what it means, where the rule comes from, and who is to read it.

    `customer_words` is what the customer's sheet says, in the section `sheet_section`: the finding's own `{message}`, `{figure}`,
    `{limit}` and `{remedy}` are filled in; words that name `{places}` are said once for all the places they are true of.
    """

    code: Name
    severity: Severity
    meaning: Text
    source: Text
    audience: Audience
    customer_words: Text | None = None
    sheet_section: SheetSection | None = None


class FindingKindList(Contract):
    """Every kind of finding that a check or a quote can make; there is one page of them."""

    items: tuple[FindingKind, ...]
    next: str | None = None


class FirstOrder(Contract):
    """Paraxial figures at the prescription's wavelength; `None` where the lens has none (afocal, a telecentric pupil).

    Front focus, front principal plane and entrance pupil count from the first vertex, back focus, back principal plane, exit
    pupil and image from the last; all positive behind it. `numerical_aperture` is n'u' of the marginal ray on the image
    side, `aperture_from` says what the aperture was taken from. Ray heights are two for every element, front and back; those
    of the chief ray belong to the stated field.
    """

    wavelength_nm: float
    focal_length_mm: float | None
    back_focus_mm: float | None
    front_focus_mm: float | None
    f_number: float | None
    length_mm: float
    entrance_pupil_diameter_mm: float | None
    entrance_pupil_position_mm: float | None = None
    exit_pupil_diameter_mm: float | None = None
    exit_pupil_position_mm: float | None = None
    petzval_radius_mm: float | None = None
    principal_plane_front_mm: float | None = None
    principal_plane_back_mm: float | None = None
    numerical_aperture: float | None = None
    working_f_number: float | None = None
    image_distance_mm: float | None = None
    magnification: float | None = None
    aperture_from: Text = ""
    marginal_heights_mm: tuple[float, ...] = ()
    chief_heights_mm: tuple[float, ...] = ()
    basis: tuple[Figure, ...] = ()


class SurfaceCheck(Contract):
    """One face: its shape, and the demands of its tolerances resolved into figures.

    `power_fringes` and `irregularity_fringes` are fringe spacings at 546.07 nm; `imperfection_grade_mm` is the grade A
    of ISO 10110-7, `planned_grade_mm` the one that time is planned by, for all of its number. `defaulted` names the demands that were not on the drawing and took the default of ISO 10110-11.
    `best_fit_radius_mm` is that of the sphere through the vertex from which an aspheric face departs least within its clear
    diameter, `aspheric_departure_um` peak to valley and `aspheric_slope_mrad` at its steepest. `centre_offset_mm` is how far
    the centring tolerance lets the centre of curvature lie off the axis. `bevel_width_mm` is the least and the most that is
    usual, `None` where no bevel is needed or usual; `seat_width_mm` the flat or step outside the curve.
    `focal_length_per_radius` is the change of the whole lens's focal length with this radius [mm/mm], `None` for plano or afocal.
    `roughness_nm` is the limit of Rq, `micro_defects` how many a polishing grade leaves in 10 mm, by ISO 10110-8 and where stated.
    """

    sag_mm: float
    semi_diameter_mm: float
    semi_diameter_to_radius: float
    aspheric: bool
    power_fringes: float
    irregularity_fringes: float
    imperfection_count: int
    imperfection_grade_mm: float
    coating: str | CoatingDemand | None
    defaulted: tuple[str, ...] = ()
    best_fit_radius_mm: float | None = None
    aspheric_departure_um: float | None = None
    aspheric_slope_mrad: float | None = None
    centre_offset_mm: float | None = None
    bevel_width_mm: tuple[float, float] | None = None
    seat_width_mm: float = 0.0
    focal_length_per_radius: float | None = None
    roughness_nm: float | None = None
    micro_defects: float | None = None
    planned_grade_mm: float | None = None
    basis: tuple[Figure, ...] = ()


class GlassQuality(Contract):
    """What is asked of the glass itself, stated or by default: stress [nm/cm], bubbles, classes of inhomogeneity and striae.

    `None` where neither drawing nor standard states it; `defaulted` names what took the default of ISO 10110-11.
    """

    stress_nm_per_cm: float | None
    bubble_count: int | None
    bubble_grade_mm: float | None
    inhomogeneity_class: int | None
    striae_class: int | None
    defaulted: tuple[str, ...] = ()


class ElementCheck(Contract):
    """One element. `glass` is the catalogue name it was resolved to, `None` for a glass that the rates do not know.

    `centre_of_gravity_mm` counts from the front vertex. The centring tolerance, a tilt of one face, is told again as the
    wedge it makes: difference of edge thickness over the diameter, deviation of a beam (half the cone that it describes when
    the part is turned), and decentre of the optical axis, which only a lens with a focal length has.
    """

    name: str
    glass: str | None
    refractive_index: float
    work_diameter_mm: float
    edge_thickness_mm: float
    edge_thickness_at_work_diameter_mm: float
    volume_mm3: float
    density_g_cm3: float | None
    mass_g: float | None
    diameter_to_thickness: float
    centring_z: float
    sag_front_mm: float
    sag_back_mm: float
    front: SurfaceCheck
    back: SurfaceCheck
    diameter_tolerance_mm: float
    centre_thickness_tolerance_mm: float
    centring_tolerance_arcmin: float
    glass_quality: GlassQuality | None = None
    defaulted: tuple[str, ...] = ()
    focal_length_mm: float | None = None
    centre_of_gravity_mm: float | None = None
    centres_apart_mm: float | None = None
    wedge_edge_difference_mm: float | None = None
    wedge_deviation_arcmin: float | None = None
    wedge_decentre_mm: float | None = None
    basis: tuple[Figure, ...] = ()


class SpaceCheck(Contract):
    """What lies between two neighbours: air with its spacer, or cement.

    Gaps are parallel to the axis. A spacer touches each face midway between its clear diameter and the rim, its length is that
    between the two circles; `None` where it has none. Cement: mismatch of the faces in fringe spacings at 546.07 nm, and the shear
    strain of a film for a change of temperature, where the expansion of both glasses is known.
    """

    cemented: bool
    gap_at_axis_mm: float
    gap_at_clear_mm: float
    gap_at_rim_mm: float
    spacer_length_mm: float | None = None
    spacer_front_contact_mm: float | None = None
    spacer_back_contact_mm: float | None = None
    mismatch_fringes: float | None = None
    expansion_difference_1e6_per_k: float | None = None
    film_shift_um: float | None = None
    film_shear_strain: float | None = None
    basis: tuple[Figure, ...] = ()


class ImageSpot(Contract):
    """The image of a far point, or of one at the stated distance, by exact rays at the stated aperture.

    `rms_spot_mm` is the RMS radius at the best focus, `best_focus_mm` its place behind the last vertex and
    `from_paraxial_focus_mm` how far that is from the paraxial one; `None` where no ray arrives or they leave parallel.
    """

    field_deg: float
    rms_spot_mm: float | None
    best_focus_mm: float | None
    from_paraxial_focus_mm: float | None
    rays_lost_share: float
    basis: tuple[Figure, ...] = ()


class CheckReport(Contract):
    """What the prescription stage says: whether the lens can be made, its first order, each element, every finding.

    Each part carries in `basis` the figures that explain its own, by the names of its fields; their pointers are those of a quote,
    in which this report stands at `/check`.
    `assembly_imperfection_grade_mm` is the grade that `15/` allows the cemented faces, `None` where it is not stated.
    """

    makeable: Makeable
    first_order: FirstOrder
    elements: tuple[ElementCheck, ...]
    findings: tuple[Finding, ...]
    spaces: tuple[SpaceCheck, ...] = ()
    images: tuple[ImageSpot, ...] = ()
    assembly_imperfection_grade_mm: float | None = None
