"""The sheet in German."""

from __future__ import annotations

from services.quoting.sheet.words.gists_german import GISTS
from shared_schemas.lead_times import SoonerKind
from shared_schemas.quote import InTime

# The page as a whole.
TITLE = "Angebot"
NUMBER = "{number}, Revision {revision}"
PAGE_OF = "Seite {page} von {pages}"
YOUR_REFERENCE, YOUR_TERMS = "Ihr Zeichen", "Ihre Einkaufsbedingungen"
DATE, VALID_UNTIL = "Datum", "Gültig bis"
NO_SELLER = "Entwurf: Der Anbieter hat noch keinen Briefkopf hinterlegt."
TRIAL = "Probe: beruht auf Zahlen, die nicht die dieses Betriebs sind."
NOT_THE_LATEST = "Revision {latest} ist die neueste; diese bleibt, wie sie war."
ACCEPTED = "Angenommen{ordered} am {day}, laut {by}."
DECLINED = "Abgelehnt am {day}, laut {by}."
ORDERED = " über {quantity} Stück"
EXPIRED = "Abgelaufen: gültig war es bis {day}."
PHONE, TAX_ID = "Telefon {phone}", "USt-IdNr. {tax_id}"
TERMS, PAYMENT, DELIVERY_TERMS, TAX, VALIDITY_HEAD = "Bedingungen", "Zahlung", "Lieferung", "Steuer", "Gültigkeit"
VALIDITY = "Beträge in {currency}, gültig bis {day} für das hier beschriebene Objektiv. Eine andere Zeichnung oder Stückzahl braucht eine neue Revision."
SIGN_SHOP = "Für den Anbieter: Name, Datum, Unterschrift"
SIGN_CUSTOMER = "Für den Kunden: bestellte Stückzahl, Name, Datum, Unterschrift"
ACCEPTANCE = "Bestellung"
ACCEPT_HERE = "Hier unterschreiben und die Seite zurücksenden, oder bis {day} online antworten:"
FOOT = (
    "Die Zahlen sind die des Angebots mit der Prüfsumme (SHA-256 seines kanonischen JSON) {digest}; weichen Blatt und Angebot voneinander ab, "
    "gilt das Angebot."
)
MAIL_TEXT = "Im Anhang finden Sie unser Angebot {number} für {title}. Es ist gültig bis {day}."
MAIL_ANSWER = "Hier können Sie bestellen oder absagen:"
IN_ENGLISH = "(auf Englisch)"

# The lens.
LENS = "Das Objektiv"
SECTION_OF_LENS = "Schnitt durch {title}, maßstäblich: {elements}, mit Achse, Maßen in mm und Strahlen des axialen Bündels."
ELEMENT, GLASS, DIAMETER, THICKNESS, CENTRING, GLASS_QUALITY = (
    "Linse", "Glas", ">Durchmesser, mm", ">Mittendicke, mm", "Zentrierung 4/", "Glasqualität",
)  # fmt: skip
FACE_HEADS = ("Linse", "Fläche", ">Radius, mm", ">Freies ⌀, mm", "Passe 3/", "Fehler 5/", "Schicht", "Weiteres")
FACES = {"front": "vorn", "back": "hinten"}
PLANE, NO_COATING = "plan", "keine"
STATED_AS = "{glass} (angegeben als {stated})"
IS_DEFAULT = "{mark} nicht angegeben: Vorgabe der ISO 10110-11."
LEGEND = (
    "Radien sind positiv, wenn der Krümmungsmittelpunkt hinter der Fläche liegt; das Licht kommt von links. "
    "Passe, Oberflächenfehler und Zentrierung wie auf der Zeichnung angegeben (ISO 10110)."
)
FOCAL_LENGTH, F_NUMBER, BACK_FOCUS, LENGTH = (
    "Brennweite {figure} mm", "f/{figure}", "Schnittweite {figure} mm", "Länge vom ersten zum letzten Scheitel {figure} mm",
)  # fmt: skip
FIRST_ORDER = "Bei {wavelength} nm: {figures}."
AFOCAL = "afokal"
CEMENTED = "{before} und {after} verkittet"
GAP = "{before} bis {after} {gap} mm"
BETWEEN = "Zwischen den Linsen, auf der Achse: {gaps}."
STOP = "Blende: ⌀ {diameter} mm, {distance} mm {place}."
STOP_LABEL = "Blende"
BEHIND = "hinter dem letzten Scheitel von {element}"
FROM_FIRST = "vom ersten Scheitel"
BARREL = "Gefasst in einem Tubus aus {material}, ⌀ {diameter} × {length} mm{engraved}."
METALS = {"aluminium": "Aluminium", "brass": "Messing", "stainless_steel": "Edelstahl", "steel": "Stahl", "titanium": "Titan"}
ENGRAVED = ", {count} Zeichen graviert"
WHOLE_LENS = "Am ganzen Objektiv: {indications}."
DELIVERED_WITH = "Mit jedem Objektiv geliefert: {parts}."
FREIGHT = "Fracht im Preis: {terms}."
FIRST_ARTICLE = "Das erste Objektiv wird vor den übrigen ganz vermessen; das Protokoll liegt der Lieferung bei."
DRAWING_REMARKS = "Bemerkungen auf der Zeichnung: {remarks}"

# Prices and dates.
PRICES = "Preise in {currency}"
QUANTITY, UNIT_PRICE, TOTAL, LEAD_TIME, SHIPS, IN_TIME_HEAD = (
    ">Stückzahl", ">Stückpreis", ">Gesamt", ">Lieferzeit", ">Versand bis", ">Zum Bedarfstag",
)  # fmt: skip
SPARE_PART_HEADS = (">Objektive", "Ersatzteil", ">Stück", ">Stückpreis", ">Betrag, im Gesamtpreis")
AFTER_PROTOTYPES_HEADS = (">Stückzahl, nach den Prototypen", ">Gesamt mit Werkzeugen", ">Lieferzeit ab deren Freigabe")
DELIVERY_HEADS = (">Stückzahl", ">Zusammen geliefert", ">Gewünscht bis", ">Zur Hälfte fertig am", ">9 von 10 am")
PLUS_TOOLS = "Zusätzlich, einmalig: Werkzeuge, {amount} {currency} (unten einzeln aufgeführt)."
DAYS_MEANT = "Lieferzeiten in Kalendertagen ab Bestellung; das Datum gilt für eine Bestellung am Tag dieses Angebots. Neun von zehn solcher Bestellungen gehen bis dahin ab."
SCHEDULE = "Termine"
SCHEDULE_OF = "Balken von der Bestellung bis zum Versandtag, je Stückzahl, mit einer Marke je Woche."
SCHEDULE_MEANT = "Der volle Balken endet, wo die Hälfte solcher Bestellungen abgeht, der offene, wo neun von zehn abgegangen sind; Marken sind Wochen ab Bestellung."
SCHEDULE_DAYS = "{days}, {day}"
DECIDES = "Die meiste Zeit brauchen bei {quantity} Stück: {things}."
DECIDES_ONE = "{what} ({days})"
DELIVERY_FOR = "{what} für {part}"
STEP_OF = "{step}, {part}{face}"
OF_FACE, WHOLE = ", {face}", "ganzes Objektiv"
SPARE_TIME = "Zeitreserve"
OPERATIONS: dict[str, str] = {
    "saw": "Sägen", "wax": "Aufwachsen", "core": "Kernbohren", "melt_off": "Abschmelzen", "press_blank": "Vorbereiten der Presslinge",
    "generate": "Fräsen", "block": "Aufblocken", "fine_grind": "Feinschleifen", "polish": "Polieren", "deblock": "Abblocken",
    "centre": "Zentrieren", "bevel": "Facettieren", "clean": "Reinigen", "inspect": "Prüfen", "coat": "Beschichten", "cement": "Kitten",
    "blacken_edge": "Randschwärzen", "engrave": "Gravieren", "assemble": "Montage", "align": "Justage", "final_test": "Endprüfung",
    "pack": "Verpacken",
}  # fmt: skip
IN_TIME: dict[InTime, str] = {"yes": "ja", "with_expedite": "als Eilauftrag", "with_changes": "mit Änderungen", "no": "nein"}
SOONER = "Früher, gegen Aufpreis in {currency}"
CHARGE, SOONER_BY, HOW_SOONER = ">Aufpreis", ">Früher um", "Wie"
EXPEDITED = "durchgehend als Eilauftrag"
SOONER_KINDS: dict[SoonerKind, str] = {
    "priority": "Vorrang in jeder Warteschlange",
    "overtime": "Mehrarbeit",
    "faster_glass": "schnellere Glaslieferung",
    "outside": "ein Teil der Arbeit außer Haus",
    "moving_work": "vor anderer Arbeit, wenn diese warten kann",
}
BY_AGREEMENT = "nach Absprache"
CHARGE_MEANT = "Der Aufpreis gilt für die ganze Stückzahl, zusätzlich zum Gesamtpreis."
TOOLS = "Werkzeuge"
TOOLS_INCLUDED = "Die Preise enthalten diese Werkzeuge: {tools}."
TOOL_FOR = "{tool} für {part}"
TOOLING = "Werkzeuge, einmalig zusätzlich zu den Preisen, in {currency}"
TOOLING_HEADS = ("Werkzeug", "Für", ">Betrag")
ALL_TOOLS = "Alle Werkzeuge zusammen"
ONE_DAY, SOME_DAYS = "{count} Tag", "{count} Tage"

# Names that the shop gives to things it makes and buys, as far as they have words.
THINGS: dict[str, str] = {
    "radius tool": "Radienwerkzeug", "block": "Tragkörper", "test plate": "Probeglas", "centring chuck": "Zentrierglocke",
    "coating fixture": "Beschichtungshalter", "trial run": "Probecharge", "glass": "Glas", "cement": "Kitt", "barrel": "Tubus",
    "spacer": "Abstandsring", "retaining ring": "Schraubring", "stop plate": "Blende", "transport case": "Transportkoffer",
    "bulk tray": "Sammeltablett", "presentation box": "Schachtel", "box": "Schachtel", "places to": "Plätze bis", "to": "bis",
    "aluminium": "Aluminium", "brass": "Messing", "stainless steel": "Edelstahl", "titanium": "Titan", "lens": "Objektiv",
}  # fmt: skip

# What stands beside the price.
ASSUMED = "Angenommen, bitte bestätigen"
FROM_WHAT_YOU_SENT = "Bitte bestätigen: {what}."
UNSTATED = (
    "Entwurfswellenlänge {wavelength} nm. Flächen ohne genannte Schicht bleiben unbeschichtet. "
    "Anforderungen, die weder Zeichnung noch Blatt nennen, gehören nicht zu diesem Angebot."
)
GLASS_BY_DEFAULT = "Glasqualität nach Vorgabe der ISO 10110-11, soweit es eine gibt ({what}): {names}."
QUALITIES = {"stress birefringence": "Spannungsdoppelbrechung", "bubbles": "Blasen", "inhomogeneity": "Inhomogenität"}
RELAXATIONS = "Was gelockert werden könnte und was das spart, in {currency}"
RELAXATION_HEADS = ("Toleranz", "Wo", ">Jetzt", ">Stattdessen", ">Spart je Stück", ">Bei", "Das heißt")
TOLERANCES: dict[str, str] = {
    "centre thickness": "Mittendicke", "irregularity": "Unregelmäßigkeit", "power": "Passe", "centring": "Zentrierung",
    "cementing centring": "Zentrierung beim Kitten", "alignment": "Justage", "imperfection grade": "Stufe der Oberflächenfehler",
    "diameter": "Durchmesser", "coating": "Schicht", "quantity, to fill a block": "Stückzahl für einen vollen Tragkörper", "radius": "Radius",
}  # fmt: skip
FRINGES = "Ringe"
SAVED_ONCE = "einmal gespart, an den Werkzeugen"
THE_ORDER = "die Bestellung"
SOONER_DAYS, LATER_DAYS = "{days} früher", "{days} später"
TOLERANCE_OF = "{tolerance} von {place}"
TOGETHER = "Zusammen gewährt ({named}) sparen sie {saving} je Stück bei {quantity}{days}."
TOGETHER_DAYS = ", und das Objektiv kommt {days}"
OFFERS = "Radien nahe einem vorhandenen Probeglas, in {currency}"
OFFER_HEADS = ("Wo", ">Radius, mm", ">Stattdessen, mm", ">Brennweite ändert sich um", ">Spart einmalig")
OFFER_AND = "Und"
TO_LOOK_AT = "Zu beachten"
HANDLING = "Beim Umgang mit dem Objektiv"
WHAT_WOULD_DO = "Abhilfe: {remedy}"
THE_GLASS = "Das Glas"
PLACES: dict[str, str] = {
    "the lens": "das Objektiv", "between": "zwischen", "and": "und", "front": "vorn", "back": "hinten", "glass": "Glas",
    "diameter": "Durchmesser", "centre thickness": "Mittendicke", "centring": "Zentrierung", "form": "Passe", "imperfections": "Oberflächenfehler",
    "coating": "Schicht", "radius": "Radius", "clear diameter": "freier Durchmesser", "fringe spacings": "Streifenabstände", "arcmin": "Winkelminuten",
    "barrel": "Tubus", "stop": "Blende", "wavelength": "Wellenlänge", "cemented": "verkittet", "texture": "Textur",
}  # fmt: skip
ALIKE = "{names} zusammen, die gleich sind"
FINDINGS: dict[str, str] = {
    "tolerance-defaulted": "Für {places} nicht angegeben, also nach Vorgabe der ISO 10110-11: {figures}.",
    "glass-lead": "{glass} ({places}) enthält Blei: Bitte prüfen, ob die Regeln für gefährliche Stoffe es am Einsatzort erlauben und wie das Objektiv zu entsorgen ist. {remedy}",
    "glass-soft": "{glass} ({places}) ist weich und bekommt beim Anfassen und Reinigen leicht Kratzer.",
    "glass-stains": "{glass} ({places}) fleckt oder verwittert: Unbeschichtete Flächen trocken halten, Fingerabdrücke und Wasser sofort abwischen.",
    "glass-expands": "{glass} ({places}) dehnt sich bei Wärme stark aus: langsam erwärmen und abkühlen.",
    "glass-heat-shock": "{glass} ({places}) springt bei plötzlichem Temperaturwechsel: langsam erwärmen und abkühlen, kein kaltes Wasser an ein warmes Teil.",
    "glass-dissolves": "{glass} ({places}) löst sich in Wasser: trocken halten, Fingerabdrücke und Atem sofort abwischen.",
    "glass-cleaves": "{glass} ({places}) spaltet entlang von Gitterebenen: keine Stöße, keine Punktlasten in der Fassung.",
    "glass-hazard": "{glass} ({places}): Staub und Abfall sind gefährlich. Nicht schleifen, schneiden oder brechen; für die Entsorgung gelten die örtlichen Regeln.",
    "glass-long-lead": "Das Glas braucht {figure} Tage, bis es da ist.",
    "coating-to-be-tried": "Eine neue Schicht muss erprobt werden, bevor sie zugesagt werden kann. {message}",
    "coating-promise-missed": "Auf diesem Glas reflektiert die Schicht bis zu {figure}, mehr als die {limit}, die sie halten soll. {remedy}",
    "mirror-promise-missed": "Der Spiegel reflektiert mindestens {figure}, weniger als die {limit}, die er halten soll. {remedy}",
    "supplied-material-lost": "{message} Verlorenes beigestelltes Material wird nicht ersetzt. {remedy}",
}

# The page on which a customer answers.
ANSWER = "Ihre Antwort"
YOUR_QUANTITY, YOUR_NAME, YOUR_ORDER, YOUR_NOTE = (
    "Stückzahl",
    "Ihr Name",
    "Ihre Bestellnummer (kann leer bleiben)",
    "Eine Bemerkung (kann leer bleiben)",
)
TO_ORDER, TO_DECLINE = "Bestellen", "Absagen"
ORDER_MEANS = "Eine Bestellung ist zu den genannten Bedingungen verbindlich. Es folgt keine weitere Rückfrage."
QUANTITY_OF = "{quantity} zu je {unit}, zusammen {total} {currency}"
THANKS_ORDERED, THANKS_DECLINED = (
    "Danke. Ihre Bestellung über {quantity} Stück ist festgehalten.",
    "Danke. Ihre Antwort ist festgehalten.",
)
STANDS = "Dieses Angebot wurde schon beantwortet, und diese Antwort gilt. Für eine Änderung wenden Sie sich bitte an den Anbieter."
SUPERSEDED = "Eine neuere Revision hat dieses Angebot ersetzt. Bitte beantworten Sie diese, oder fragen Sie beim Anbieter danach."
ENDED = {"cancelled": "Die Bestellung wurde storniert.", "completed": "Die Bestellung wurde abgeschlossen."}
NO_ANSWER_HERE = "Dieses Angebot kann hier zurzeit nicht beantwortet werden. Bitte wenden Sie sich an den Anbieter."
EXPIRED_ASK = "Bitte fragen Sie den Anbieter nach einer neuen Revision."
MEND_QUANTITY, MEND_NAME, MEND_TEXT = (
    "Bitte wählen Sie eine Stückzahl.",
    "Bitte tragen Sie Ihren Namen ein.",
    "Bitte kürzen Sie Ihre Angaben: höchstens 200 Zeichen für Name und Nummer, 2000 für die Bemerkung, ohne Steuerzeichen.",
)
UNKNOWN_CODE = "Unter dieser Adresse gibt es kein Angebot. Bitte prüfen Sie, ob die ganze Adresse des Links übernommen wurde."
TOO_OFTEN = "Von hier wurden zu viele Adressen versucht. Bitte in {seconds} Sekunden noch einmal."

__all__ = ["GISTS"]
