"""What the head of a column says: its quantity, which face, in which unit; in English, German, French and the usual short forms."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from decimal import Decimal

from services.desk.intake.units import MM_PER, mm_per
from shared_schemas.prescription import Surface

ORDERS = tuple(str(order) for order in range(4, 21, 2))

NAMES = {
    "surface": "surface surf srf s # no nr number num surface_number surface_no surf_no surface_# surf_# type_of_row flache flachen flachennr flachen_nr "
    "flache_nr fl_nr fl face dioptre surface_n n_surface no_surface nr_flache pos position item zeile row idx index_of_surface",
    "element": "element element_name element_no lens lens_name lens_no part linse linsen linse_nr glied bauteil teil lentille elt elem optik "
    "component bezeichnung designation repere",
    "radius": "radius r roc rad radius_of_curvature curvature_radius radii krummungsradius kruemmungsradius krummungsradien radien rayon "
    "rayon_de_courbure rayons rc rdy bending_radius",
    "curvature": "curvature curv c cv cuy krummung kruemmung courbure 1_r",
    "thickness": "thickness t th thk thick thi center_thickness centre_thickness central_thickness ct spacing separation distance axial_distance "
    "dicke mittendicke scheitelabstand abstand dicke_abstand abstand_dicke mitteldicke md_dicke d_mitte epaisseur epaisseur_au_centre epaisseur_centre d "
    "ep ec distance_axiale espacement thickness_distance thickness_separation thickness_spacing thickness_gap center_thk d_achse linsendicke thickness_airspace",
    "gap": "gap air_gap airgap air_space airspace air_spacing air luftabstand luftspalt luft abstand_danach gap_after space_after gap_to_next "
    "air_gap_after distance_to_next separation_after espace_air intervalle ecart air_apres",
    "glass": "glass material medium glass_type glass_name glas glassorte glasart glas_material material_glas werkstoff verre materiau matiere "
    "type_de_verre type_verre mat gla substrate glass_material medium_behind material_behind",
    "index": "n nd n_d ne n_e index refractive_index brechzahl brechungsindex indice indice_de_refraction",
    "abbe": "v vd v_d ve v_e vnumber v_number abbe abbe_number abbezahl abbe_zahl constringence nombre_d_abbe nu",
    "clear": "clear_diameter clear_dia clear_aperture ca clear_ap cd effective_diameter free_diameter optical_diameter clear_aperture_diameter "
    "clear_aperture_dia freier_durchmesser freie_offnung optisch_freier_durchmesser opt_durchmesser wirksamer_durchmesser frei freier_dia dia_frei "
    "freier_o lichter_durchmesser lichte_offnung diametre_utile diametre_libre ouverture_utile ouverture_libre diam_utile diam_libre dia_utile "
    "eff_dia eff_diameter dia_clear usable_aperture usable_diameter polished_diameter diameter_clear dia_clear_aperture diameter_free durchmesser_frei d_frei o_frei ca_dia effektiver_durchmesser optical_dia",
    "clear_semi": "clear_semi_diameter semi_diameter semidiameter semi_aperture semi_dia clear_radius half_aperture clear_semi_aperture half_diameter "
    "halber_durchmesser halbdurchmesser freier_halbdurchmesser halbe_offnung demi_diametre demi_ouverture demi_diametre_utile clear_semi_dia semi_diam semi_diameter_clear "
    "half_dia",
    "outer": "diameter outer_diameter od dia mechanical_diameter mech_dia mechanical_dia outer_dia edge_diameter finished_diameter md aussendurchmesser "
    "aussen_durchmesser aussen_dia dia_aussen randdurchmesser durchmesser da d_aussen linsendurchmesser diametre diametre_exterieur diametre_externe diam_ext "
    "diametre_ext dia_ext dia_exterieur dia_externe dia_outer outer_diam outside_dia dia_glas dia_out diam lens_diameter diameter_outer durchmesser_aussen physical_diameter full_diameter glass_diameter outside_diameter overall_diameter diam_exterieur edge_dia "
    "lens_dia aussen_o o_aussen fassungsdurchmesser mech_diameter diametre_mecanique",
    "outer_semi": "outer_semi_diameter mechanical_semi_diameter mech_semi_diameter mechanical_semi_dia outer_radius mech_semi_dia edge_semi_diameter",
    "aperture": "aperture sd offnung ouverture ap",
    "conic": "conic k conic_constant cc konische_konstante kegelschnittkonstante konus constante_conique conique kappa con_const konik",
    "units": "unit units einheit einheiten unite unites",
    "comment": "comment comments note notes remark remarks bemerkung bemerkungen kommentar anmerkung anmerkungen hinweis remarque remarques commentaire "
    "commentaires info other sonstiges specification spec specs anforderung requirements",
    "side": "side seite cote surface_side",
    "type": "type typ surface_type surf_type shape form_type art flachentyp flachenart forme_de_surface",
    "coating": "coating coat coatings beschichtung vergutung schicht belag verspiegelung entspiegelung traitement revetement couche ar_coating ar arc "
    "coating_spec traitement_antireflet antireflet beschichtung_vergutung",
    "form": "form surface_form form_error form_tolerance form_deviation passe passfehler formfehler formtoleranz forme tolerance_de_forme 3 iso_10110_5 "
    "figure_tolerance passe_irreg power_irregularity power_irr pow_irr power_irreg formabweichung fringes newton",
    "power": "power pow power_error test_plate_fit radius_fringes passe_power spherical_error sagittafehler puissance",
    "irregularity": "irregularity irreg irr surface_figure figure flatness asphericity_error irregularitat unregelmassigkeit irregularite wavefront_error "
    "surface_accuracy accuracy ebenheit",
    "surface_quality": "surface_quality scratch_dig scratchdig s_d sd_quality quality s_q sq surface_imperfections imperfections oberflachenqualitat sauberkeit "
    "oberflachenfehler oberflachenunvollkommenheiten qualite_de_surface rayures_piqures aspect etat_de_surface 5 cosmetics cosmetic defauts_d_aspect",
    "texture": "texture roughness surface_roughness rauheit rauigkeit rauhigkeit oberflachentextur rugosite finish surface_finish rq rms_roughness polish "
    "politur",
    "laser_damage": "laser_damage lidt laser_damage_threshold damage_threshold zerstorschwelle laserfestigkeit seuil_de_dommage 6",
    "centring": "centring centering centration centre_error zentrierung zentrierfehler zentriertoleranz centrage tilt surface_tilt 4 decenter "
    "centring_tolerance centering_tolerance",
    "wedge": "wedge keil keilfehler coin etv edge_thickness_variation runout run_out tir",
    "diameter_tolerance": "diameter_tolerance dia_tol diameter_tol od_tol tol_diameter tol_dia durchmessertoleranz tol_durchmesser toleranz_durchmesser "
    "tolerance_diametre dia_tolerance od_tolerance tol_od toleranz_dia",
    "thickness_tolerance": "thickness_tolerance ct_tol thickness_tol tol_thickness tol_ct dickentoleranz toleranz_dicke tol_dicke tolerance_epaisseur "
    "center_thickness_tolerance centre_thickness_tolerance ct_tolerance tol_ep t_tol tol_t thk_tol",
    "radius_tolerance": "radius_tolerance radius_tol r_tol tol_radius tol_r radientoleranz toleranz_radius tolerance_rayon",
    "bubbles": "bubbles inclusions bubbles_inclusions blasen bulles blasen_einschlusse 1_",
    "inhomogeneity": "inhomogeneity homogeneity striae inhomogenitat homogenitat schlieren homogeneite 2_",
    "stress_birefringence": "stress_birefringence stress birefringence spannungsdoppelbrechung spannung birefringence_sous_contrainte",
    "edge_thickness": "edge_thickness et edge_thk randdicke epaisseur_au_bord epaisseur_bord eb",
    "focal_length": "focal_length efl f effl focal brennweite distance_focale focale bfl back_focal_length element_focal_length element_power",
    "sag": "sag sagitta pfeilhohe fleche",
    "mass": "mass weight gewicht masse poids mass_g weight_g volume volumen",
    "quantity": "quantity qty pcs pieces stuckzahl stuck menge anzahl quantite qte stk",
}  # fmt: skip
"""Heads by quantity, common practice in tables of lenses; written without accents."""

QUANTITY = {name: kind for kind, names in NAMES.items() for name in names.split()}
FACE_WORDS = {
    "front": "front 1 vorne vorn vorderflache vorder vorderseite avant s1 r1 links left first f1 face1 face_1 surface1 side1 side_1 flache1 flache_1 surface_1 s_1 anterieur lhs a",
    "back": "back 2 rear hinten ruckflache ruckseite hinter arriere s2 r2 rechts right second f2 face2 face_2 surface2 side2 side_2 flache2 flache_2 surface_2 s_2 posterieur rhs b",
}  # fmt: skip
FACES = {word: face for face, words in FACE_WORDS.items() for word in words.split()}
BY_FACE = ("radius", "curvature", "clear", "clear_semi", "conic", "term", "coating", "form", "power", "irregularity", "surface_quality",
           "texture", "laser_damage", "radius_tolerance", "outer", "outer_semi", "aperture", "sag", "odd_term", "comment", "type")  # fmt: skip
"""Quantities of which each of two faces may have its own column."""

MEANINGS = ("coating", "form", "power", "irregularity", "surface_quality", "texture", "laser_damage", "centring", "wedge", "diameter_tolerance",
            "thickness_tolerance", "radius_tolerance", "bubbles", "inhomogeneity", "stress_birefringence")  # fmt: skip
"""Kinds of columns whose cells are no plain numbers."""

OF_FACE = (
    *tuple(kind for kind in MEANINGS if kind in Surface.model_fields),
    "power",
    "irregularity",
    "surface_quality",
    "radius_tolerance",
)
NOT_NEEDED = {
    "edge_thickness": "the edge follows from radii, thickness and diameter",
    "focal_length": "the focal length follows from the surfaces",
    "sag": "the sagitta follows from radius and diameter",
    "mass": "the mass follows from the glass and the shape",
}
LENGTHS = ("radius", "thickness", "gap", "clear", "clear_semi", "outer", "outer_semi", "aperture", "curvature")
GEOMETRY = ("radius", "curvature")
SEEN = ("surface", "radius", "curvature", "thickness", "glass", "clear", "clear_semi", "outer", "outer_semi", "aperture")
DOUBLED = {"clear_semi": "clear", "outer_semi": "outer"}

LONGEST = 120
"""No head of a column has more characters."""

_WORDS_OF_UNITS = "|".join(sorted((re.escape(word) for word in MM_PER), key=len, reverse=True))
UNIT_AT_END = re.compile(
    rf"""[\s_,/:;-]*(?:[(\[]\s*(?:in\s+)?(?:1\s*/\s*)?(?P<u1>{_WORDS_OF_UNITS})\s*(?:\^?\s*[-−⁻]?\s*[0-9¹²³]*)\s*[)\]]|"""
    rf"""(?<=[\s_,/])(?:in\s+|en\s+|per_|1/)?(?P<u2>mm|cm|µm|um|in\.?|inch|inches|zoll|pouces?|")(?:\^?[-−⁻][0-9¹]*|-1)?)\s*$"""
)
"""A unit of length at the end of a head: `Radius (mm)`, `Radius in mm`, `R [inch]`, `c (1/mm)`, `radius_mm`."""

OTHER_UNIT = re.compile(r"[(\[]\s*(?P<unit>[^()\[\]]{1,20})\s*[)\]]\s*$")
TERM = re.compile(
    r"(?:asph(?:ere|eric|are|arisch)?_?|coeff?(?:icient)?_?|coef_?)?(?:a|alpha|c|ad)_?([0-9]{1,2})|([0-9]{1,2})(?:th|st|nd|rd)(?:_order)?(?:_term)?|r_?\^?_?([0-9]{1,2})(?:_term)"
)
TERM_BY_LETTER = {"4": ("ad", "4th"), "6": ("ae",), "8": ("af",), "10": ("ag",)}


@dataclass(frozen=True)
class Head:
    """One column: its kind, as it is written, which face, mm per unit that it states (`None`: none), the order of an aspheric term, another unit."""

    kind: str
    written: str
    face: str = ""
    unit_mm: Decimal | None = None
    order: int = 0
    semi: bool = False
    other_unit: str = ""

    @property
    def of_element(self) -> bool:
        """Whether it can stand only in a table of elements."""
        return bool(self.face)


def spelled(text: str) -> str:
    """A head without accents, marks and capitals, its words joined by one underscore."""
    text = text.replace("\u00df", "ss").replace("\u1e9e", "ss")
    text = re.sub(r"[\u00f8\u00d8\u2300\u2205]", " dia ", text.replace("\u03bb", "lambda"))
    text = "".join(mark for mark in unicodedata.normalize("NFKD", text) if not unicodedata.combining(mark)).lower()
    text = (
        text.replace("ae", "a").replace("oe", "o").replace("ue", "u")
        if re.search(r"(?:ae|oe|ue)(?:n|s|f|ch|r|t|h|g|m|l)", text) and _german(text)
        else text
    )
    return re.sub(r"[^a-z0-9#]+", "_", text).strip("_")


def _german(text: str) -> bool:
    return any(
        word in text
        for word in ("flaech", "krue", "krum", "durchm", "oeff", "mueh", "verguet", "ausse", "rueck", "stueck", "schaerf")
    )


def head_of(written: str) -> Head | None:
    """What a column of that head holds; `None` where the head says nothing known."""
    if len(written) > LONGEST:
        return None
    shown = " ".join(written.split())
    text = shown.lower().replace("\u2033", '"').replace("μ", "µ").replace("⁻¹", "-1").rstrip(" .:*")
    unit_mm, other = None, ""
    unit = UNIT_AT_END.search(text)
    if unit is not None and unit.start() > 0:
        unit_mm = mm_per(unit["u1"] or unit["u2"])
        text = text[: unit.start()]
    elif (extra := OTHER_UNIT.search(text)) is not None and extra.start() > 0:
        other, text = extra["unit"], text[: extra.start()]
    if not re.search(r"[^\W\d]|[#\u2300]|[0-9]\s*/", text):
        return None
    head = (
        Head("thickness", "")
        if text.strip() == "d" and shown.lstrip().startswith("d")
        else _known(spelled(text)) or _with_face(text)
    )
    if other and (
        head is None or head.kind in LENGTHS
    ):  # of a length something in brackets is a unit nobody knows, or says which length
        head = _known(spelled(f"{text} {other}")) or _with_face(f"{text} {other}")
        other = ""
    if head is None:
        return None
    kind = "outer" if shown.startswith("D") and spelled(text) == "d" else DOUBLED.get(head.kind, head.kind)
    return replace(head, kind=kind, written=shown, unit_mm=unit_mm, other_unit=other, semi=head.kind in DOUBLED)


def _known(name: str) -> Head | None:
    term = TERM.fullmatch(name)
    if term is not None and int(order := term[1] or term[2] or term[3]) >= 3:
        return Head("term" if order in ORDERS else "odd_term", "", order=int(order))
    kind = QUANTITY.get(name)
    return Head(kind, "") if kind is not None else None


def _with_face(text: str) -> Head | None:
    """A head with a word or figure for the front or the back face in it: `R1`, `Coating front`, `Radius (back)`, `CA 2`."""
    words = spelled(text).split("_")
    glued = re.fullmatch(r"([a-z]+?)_?(1|2)", words[0]) if len(words) == 1 else None
    if glued is not None:
        words = [glued[1], glued[2]]
    last_glued = re.fullmatch(r"([a-z]{2,}?)(1|2)", words[-1])
    if len(words) > 1 and last_glued is not None and words[-1] not in FACES:
        words = [*words[:-1], last_glued[1], last_glued[2]]
    for take in (2, 1):
        for start in range(len(words) - take + 1):
            face = FACES.get("_".join(words[start : start + take]))
            rest = [*words[:start], *words[start + take :]]
            if face is None:
                continue
            if words[start : start + take] in (["r1"], ["r2"]) and not rest:
                return Head("radius", "", face=face)
            rest = [
                word for word in rest if word not in ("surface", "face", "side", "of", "the", "flache", "seite", "der", "surf", "s")
            ] or rest
            known = _known("_".join(rest)) if rest else None
            if known is not None and known.kind in BY_FACE:
                return replace(known, face=face)
    return None
