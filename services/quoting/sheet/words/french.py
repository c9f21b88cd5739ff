"""The sheet in French."""

from __future__ import annotations

from services.quoting.sheet.words.gists_french import GISTS
from shared_schemas.lead_times import SoonerKind
from shared_schemas.quote import InTime

# The page as a whole.
TITLE = "Offre"
NUMBER = "{number}, révision {revision}"
PAGE_OF = "Page {page} sur {pages}"
YOUR_REFERENCE, YOUR_TERMS = "Votre référence", "Vos conditions d’achat"
DATE, VALID_UNTIL = "Date", "Valable jusqu’au"
NO_SELLER = "Projet : l’offrant n’a pas encore saisi d’en-tête."
TRIAL = "Essai : repose sur des chiffres qui ne sont pas ceux de cet atelier."
NOT_THE_LATEST = "La révision {latest} est la dernière ; celle-ci reste telle quelle."
ACCEPTED = "Acceptée{ordered} le {day}, selon {by}."
DECLINED = "Refusée le {day}, selon {by}."
ORDERED = " pour {quantity} pièces"
EXPIRED = "Expirée : elle était valable jusqu’au {day}."
PHONE, TAX_ID = "Téléphone {phone}", "N° TVA {tax_id}"
TERMS, PAYMENT, DELIVERY_TERMS, TAX, VALIDITY_HEAD = "Conditions", "Paiement", "Livraison", "Taxe", "Validité"
VALIDITY = "Montants en {currency}, valables jusqu’au {day} pour l’objectif décrit ici. Un autre plan ou une autre quantité demande une nouvelle révision."
SIGN_SHOP = "Pour l’atelier : nom, date, signature"
SIGN_CUSTOMER = "Pour le client : quantité commandée, nom, date, signature"
ACCEPTANCE = "Commande"
ACCEPT_HERE = "Signez ici et renvoyez la page, ou répondez en ligne jusqu’au {day} :"
FOOT = "Les chiffres sont ceux de l’offre dont l’empreinte (SHA-256 de son JSON canonique) est {digest} ; si cette feuille en diffère, c’est l’offre qui fait foi."
MAIL_TEXT = "Veuillez trouver ci-joint notre offre {number} pour {title}. Elle est valable jusqu’au {day}."
MAIL_ANSWER = "Vous pouvez commander ou décliner ici :"
IN_ENGLISH = "(en anglais)"

# The lens.
LENS = "L’objectif"
SECTION_OF_LENS = "Coupe de {title}, à l’échelle : {elements}, avec l’axe, les cotes en mm et les rayons du faisceau axial."
ELEMENT, GLASS, DIAMETER, THICKNESS, CENTRING, GLASS_QUALITY = (
    "Lentille", "Verre", ">Diamètre, mm", ">Épaisseur au centre, mm", "Centrage 4/", "Qualité du verre",
)  # fmt: skip
FACE_HEADS = ("Lentille", "Face", ">Rayon, mm", ">⌀ utile, mm", "Forme 3/", "Défauts 5/", "Traitement", "Autres")
FACES = {"front": "avant", "back": "arrière"}
PLANE, NO_COATING = "plane", "aucun"
STATED_AS = "{glass} (indiqué {stated})"
IS_DEFAULT = "{mark} non indiqué : valeur par défaut de l’ISO 10110-11."
LEGEND = (
    "Un rayon est positif si le centre de courbure est derrière la face ; la lumière vient de la gauche. "
    "Forme, défauts de surface et centrage comme indiqués sur le plan (ISO 10110)."
)
FOCAL_LENGTH, F_NUMBER, BACK_FOCUS, LENGTH = (
    "distance focale {figure} mm", "f/{figure}", "tirage arrière {figure} mm", "longueur du premier au dernier sommet {figure} mm",
)  # fmt: skip
FIRST_ORDER = "À {wavelength} nm : {figures}."
AFOCAL = "afocal"
CEMENTED = "{before} et {after} collées"
GAP = "{before} à {after} {gap} mm"
BETWEEN = "Entre les lentilles, sur l’axe : {gaps}."
STOP = "Diaphragme : ⌀ {diameter} mm, {distance} mm {place}."
STOP_LABEL = "diaphragme"
BEHIND = "derrière le dernier sommet de {element}"
FROM_FIRST = "depuis le premier sommet"
BARREL = "Monté dans un barillet en {material}, ⌀ {diameter} × {length} mm{engraved}."
METALS = {
    "aluminium": "aluminium",
    "brass": "laiton",
    "stainless_steel": "acier inoxydable",
    "steel": "acier",
    "titanium": "titane",
}
ENGRAVED = ", {count} caractères gravés"
WHOLE_LENS = "Pour l’objectif entier : {indications}."
DELIVERED_WITH = "Livré avec chaque objectif : {parts}."
FREIGHT = "Transport compris dans le prix : {terms}."
FIRST_ARTICLE = "Le premier objectif est mesuré en entier avant les autres ; son relevé accompagne le lot."
DRAWING_REMARKS = "Remarques du plan : {remarks}"

# Prices and dates.
PRICES = "Prix en {currency}"
QUANTITY, UNIT_PRICE, TOTAL, LEAD_TIME, SHIPS, IN_TIME_HEAD = (
    ">Quantité", ">Prix unitaire", ">Total", ">Délai", ">Expédié le", ">Pour le jour voulu",
)  # fmt: skip
SPARE_PART_HEADS = (">Objectifs", "Pièce de rechange", ">Pièces", ">Prix unitaire", ">Montant, dans le total")
AFTER_PROTOTYPES_HEADS = (">Quantité, après les prototypes", ">Total, outillage compris", ">Délai dès leur approbation")
DELIVERY_HEADS = (">Quantité", ">Livrés ensemble", ">Voulu pour le", ">Prêt une fois sur deux le", ">9 fois sur 10 le")
PLUS_TOOLS = "En plus, une seule fois : outillage, {amount} {currency} (détaillé plus bas)."
DAYS_MEANT = "Les délais sont en jours calendaires dès la commande ; la date vaut pour une commande le jour de cette offre. Neuf commandes sur dix partent d’ici là."
SCHEDULE = "Délais"
SCHEDULE_OF = "Barres de la commande au jour d’expédition, par quantité, une marque par semaine."
SCHEDULE_MEANT = "La barre pleine finit quand la moitié de ces commandes est partie, la barre vide quand neuf sur dix le sont ; les marques sont des semaines dès la commande."
SCHEDULE_DAYS = "{days}, {day}"
DECIDES = "Ce qui prend le plus de temps, pour {quantity} pièces : {things}."
DECIDES_ONE = "{what} ({days})"
DELIVERY_FOR = "{what} pour {part}"
STEP_OF = "{step}, {part}{face}"
OF_FACE, WHOLE = ", {face}", "l’objectif entier"
SPARE_TIME = "réserve de temps"
OPERATIONS: dict[str, str] = {
    "saw": "sciage", "wax": "collage à la cire", "core": "carottage", "melt_off": "décollage", "press_blank": "préparation des ébauches moulées",
    "generate": "ébauchage", "block": "blocage", "fine_grind": "doucissage", "polish": "polissage", "deblock": "déblocage", "centre": "centrage",
    "bevel": "chanfreinage", "clean": "nettoyage", "inspect": "contrôle", "coat": "traitement", "cement": "collage", "blacken_edge": "noircissement du bord",
    "engrave": "gravure", "assemble": "montage", "align": "réglage", "final_test": "essai final", "pack": "emballage",
}  # fmt: skip
IN_TIME: dict[InTime, str] = {"yes": "oui", "with_expedite": "en urgence", "with_changes": "avec changements", "no": "non"}
SOONER = "Plus tôt, contre supplément en {currency}"
CHARGE, SOONER_BY, HOW_SOONER = ">Supplément", ">Plus tôt de", "Comment"
EXPEDITED = "en urgence de bout en bout"
SOONER_KINDS: dict[SoonerKind, str] = {
    "priority": "en tête de chaque file",
    "overtime": "heures supplémentaires",
    "faster_glass": "verre livré plus vite",
    "outside": "une partie du travail faite ailleurs",
    "moving_work": "avant d’autres travaux, s’ils peuvent attendre",
}
BY_AGREEMENT = "à convenir"
CHARGE_MEANT = "Le supplément vaut pour toute la quantité, en plus de son total."
TOOLS = "Outillage"
TOOLS_INCLUDED = "Les prix comprennent cet outillage : {tools}."
TOOL_FOR = "{tool} pour {part}"
TOOLING = "Outillage, facturé une fois en plus des prix, en {currency}"
TOOLING_HEADS = ("Outil", "Pour", ">Montant")
ALL_TOOLS = "Tout l’outillage"
ONE_DAY, SOME_DAYS = "{count} jour", "{count} jours"

# Names that the shop gives to things it makes and buys, as far as they have words.
THINGS: dict[str, str] = {
    "radius tool": "outil de rayon", "block": "balle", "test plate": "calibre", "centring chuck": "cloche de centrage",
    "coating fixture": "support de traitement", "trial run": "essai de traitement", "glass": "verre", "cement": "colle", "barrel": "barillet",
    "spacer": "entretoise", "retaining ring": "bague filetée", "stop plate": "diaphragme", "transport case": "mallette de transport",
    "bulk tray": "plateau", "presentation box": "boîte", "box": "boîte", "places to": "places jusqu’à", "to": "jusqu’à",
    "aluminium": "aluminium", "brass": "laiton", "stainless steel": "acier inoxydable", "titanium": "titane", "lens": "objectif",
}  # fmt: skip

# What stands beside the price.
ASSUMED = "Supposé, à confirmer"
FROM_WHAT_YOU_SENT = "À confirmer : {what}."
UNSTATED = (
    "Longueur d’onde de calcul {wavelength} nm. Les faces sans traitement nommé restent nues. "
    "Les exigences que ni le plan ni cette feuille ne nomment ne font pas partie de l’offre."
)
GLASS_BY_DEFAULT = "Qualité du verre par défaut de l’ISO 10110-11, là où elle existe ({what}) : {names}."
QUALITIES = {"stress birefringence": "biréfringence de contrainte", "bubbles": "bulles", "inhomogeneity": "inhomogénéité"}
RELAXATIONS = "Ce qui pourrait être relâché, et ce que cela épargne, en {currency}"
RELAXATION_HEADS = ("Tolérance", "Où", ">Maintenant", ">À la place", ">Épargne par pièce", ">Pour", "C’est-à-dire")
TOLERANCES: dict[str, str] = {
    "centre thickness": "épaisseur au centre", "irregularity": "irrégularité", "power": "courbure", "centring": "centrage",
    "cementing centring": "centrage au collage", "alignment": "réglage", "imperfection grade": "grade des défauts de surface",
    "diameter": "diamètre", "coating": "traitement", "quantity, to fill a block": "quantité, pour remplir une balle", "radius": "rayon",
}  # fmt: skip
FRINGES = "franges"
SAVED_ONCE = "épargné une fois, sur l’outillage"
THE_ORDER = "la commande"
SOONER_DAYS, LATER_DAYS = "{days} plus tôt", "{days} plus tard"
TOLERANCE_OF = "{tolerance} de {place}"
TOGETHER = "Accordés ensemble ({named}) ils épargnent {saving} par pièce pour {quantity}{days}."
TOGETHER_DAYS = ", et l’objectif vient {days}"
OFFERS = "Rayons proches d’un calibre disponible, en {currency}"
OFFER_HEADS = ("Où", ">Rayon, mm", ">À la place, mm", ">La focale change de", ">Épargne une fois")
OFFER_AND = "Et"
TO_LOOK_AT = "À examiner"
HANDLING = "Précautions d’emploi de l’objectif"
WHAT_WOULD_DO = "Remède : {remedy}"
THE_GLASS = "Le verre"
PLACES: dict[str, str] = {
    "the lens": "l’objectif", "between": "entre", "and": "et", "front": "avant", "back": "arrière", "glass": "verre", "diameter": "diamètre",
    "centre thickness": "épaisseur au centre", "centring": "centrage", "form": "forme", "imperfections": "défauts de surface",
    "coating": "traitement", "radius": "rayon", "clear diameter": "diamètre utile", "fringe spacings": "interfranges", "arcmin": "minutes d’arc",
    "barrel": "barillet", "stop": "diaphragme", "wavelength": "longueur d’onde", "cemented": "collage", "texture": "texture",
}  # fmt: skip
ALIKE = "{names} ensemble, qui sont pareilles"
FINDINGS: dict[str, str] = {
    "tolerance-defaulted": "Non indiqué pour {places}, donc par défaut de l’ISO 10110-11 : {figures}.",
    "glass-lead": "{glass} ({places}) contient du plomb : vérifiez que les règles sur les substances dangereuses l’admettent là où l’objectif sert, et comment l’éliminer. {remedy}",
    "glass-soft": "{glass} ({places}) est tendre et se raye facilement à la prise en main et au nettoyage.",
    "glass-stains": "{glass} ({places}) se tache ou s’altère : gardez sèches les faces nues, essuyez aussitôt traces de doigts et eau.",
    "glass-expands": "{glass} ({places}) se dilate beaucoup à la chaleur : chauffez et refroidissez lentement.",
    "glass-heat-shock": "{glass} ({places}) se fend lors d’un changement brusque de température : chauffez et refroidissez lentement, pas d’eau froide sur une pièce chaude.",
    "glass-dissolves": "{glass} ({places}) se dissout dans l’eau : gardez-le au sec, essuyez aussitôt traces de doigts et buée.",
    "glass-cleaves": "{glass} ({places}) se clive selon les plans de son réseau : pas de chocs, pas de charges ponctuelles dans la monture.",
    "glass-hazard": "{glass} ({places}) : poussière et déchets sont dangereux. Ne pas meuler, couper ni casser ; les règles locales décident de l’élimination.",
    "glass-long-lead": "Le verre met {figure} jours à arriver.",
    "coating-to-be-tried": "Un nouveau traitement doit être essayé avant d’être promis. {message}",
    "coating-promise-missed": "Sur ce verre le traitement réfléchit jusqu’à {figure}, plus que les {limit} qu’il doit tenir. {remedy}",
    "mirror-promise-missed": "Le miroir réfléchit au moins {figure}, moins que les {limit} qu’il doit tenir. {remedy}",
    "supplied-material-lost": "{message} Ce qui est perdu du matériel fourni n’est pas remplacé. {remedy}",
}

# The page on which a customer answers.
ANSWER = "Votre réponse"
YOUR_QUANTITY, YOUR_NAME, YOUR_ORDER, YOUR_NOTE = (
    "Quantité",
    "Votre nom",
    "Votre numéro de commande (facultatif)",
    "Une remarque (facultative)",
)
TO_ORDER, TO_DECLINE = "Commander", "Décliner"
ORDER_MEANS = "Une commande engage aux conditions ci-dessus. Il n’y aura pas d’autre question."
QUANTITY_OF = "{quantity} à {unit} pièce, {total} {currency} en tout"
THANKS_ORDERED, THANKS_DECLINED = (
    "Merci. Votre commande de {quantity} pièces est enregistrée.",
    "Merci. Votre réponse est enregistrée.",
)
STANDS = "Cette offre a déjà reçu une réponse, qui reste valable. Pour la changer, adressez-vous au vendeur."
SUPERSEDED = "Une révision plus récente remplace cette offre. Répondez à celle-là, ou demandez-la au vendeur."
ENDED = {"cancelled": "La commande a été annulée.", "completed": "La commande a été exécutée."}
NO_ANSWER_HERE = "On ne peut pas répondre ici à cette offre pour le moment. Adressez-vous au vendeur."
EXPIRED_ASK = "Demandez une nouvelle révision au vendeur."
MEND_QUANTITY, MEND_NAME, MEND_TEXT = (
    "Choisissez une quantité.",
    "Indiquez votre nom.",
    "Raccourcissez vos indications : 200 signes au plus pour le nom et le numéro, 2000 pour la remarque, sans caractères de commande.",
)
UNKNOWN_CODE = "Il n’y a pas d’offre à cette adresse. Vérifiez que l’adresse entière du lien a été reprise."
TOO_OFTEN = "Trop d’adresses ont été essayées d’ici. Réessayez dans {seconds} secondes."

__all__ = ["GISTS"]
