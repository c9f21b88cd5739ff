"""What a line says of the order: reference, contact, papers, packing, terms, how the lenses are delivered."""

from __future__ import annotations

import re
from collections.abc import Callable

from services.desk.intake.days import read_day
from services.desk.intake.quantities import NUMBER, PIECES, PROTOTYPE, SPARE, read_quantities
from services.desk.intake.reading import Reading, asked, tidy

MAIL = re.compile(r"[\w.+-]+@[\w-]+(?:\.[\w-]+)+")
PHONE = re.compile(r"(?:tel\.?|phone|fon|telefon|mobil\w*|cell|tél\.?|fax)?\s*:?\s*\+?[0-9][0-9\s()/.-]{6,}[0-9]", re.IGNORECASE)
FIRST_ARTICLE = re.compile(
    r"(?:with |mit |avec |including |incl\.? )?(?:a |an )?(?:first[\s-]?article(?: inspection)?(?: report)?|fair?\b|fai report|erstmuster(?:prüfbericht|prüfung)?|erstmusterprüfbericht \(?empb\)?|empb|contrôle premier article|premier article)"
    r"(?: inspection| report| required| needed| erforderlich| gewünscht| requis)*",
    re.IGNORECASE,
)
PAPERS: dict[str, re.Pattern[str]] = {
    name: re.compile(words, re.IGNORECASE)
    for name, words in {
        "certificate of conformity": r"\bc\.?\s?o\.?\s?c\.?(?![\w])|c of c|certificate of (?:conformity|conformance|compliance)|konformitätserklärung|konformitätsbescheinigung|certificat de conformité|\brohs\b|\breach\b",
        "material certificate": r"(?<![\d.])3\.1(?![\d.])\s*(?:cert\w*|zeugnis|abnahme\w*|certificat|nach|per)?|en\s?10204|abnahmeprüfzeugnis|material cert\w*|glass cert\w*|melt (?:sheet|data|cert\w*)|schmelz(?:zeugnis|daten)"
        r"|werkszeugnis|werkstoffzeugnis|certificat matière",
        "measuring report": r"(?:measur(?:ing|ement)|test|inspection|interferogra\w*) (?:report|protocol)|interferograms?|messprotokoll\w*|prüfprotokoll\w*|messbericht|prüfbericht|rapport de (?:mesure|contrôle)|test data",
        "special packing": r"individual(?:ly)?[\s-]?(?:pack\w*|wrapp\w*|box\w*|bag\w*)|pack\w* individually|einzeln verpackt|einzelverpack\w*|emball\w* individuel\w*|clean[\s-]?room pack\w*|reinraumverpack\w*|pet-?g (?:box|tray)\w*"
        r"|membrane box\w*|gel[\s-]?pa[ck]\w*|vacuum[\s-]?(?:pack|seal)\w*|double bag\w*|special packing|sonderverpackung",
    }.items()
}
"""Papers and packing by the names of the rate table `operations` as it is delivered."""

AROUND = re.compile(
    r"(?<![\w])(?:with|and|please|incl\w*|including|required|requested|needed|must be|to be|supplied|delivered|provide|include|report|reports|certificates?|cert\.?|per|according to|acc\.? to|to|for|each|lot|batch|lens|lenses|a|an|the|is|are|of"
    r"|mit|und|bitte|inkl\.?|erforderlich|gewünscht|beifügen|nach|zu|jedem|los|avec|et|requis|exigé|un|une|le|la|selon|repeat|repeats?|re-?order|nachbestellung|wiederholung|order|wie|same as|as|en|din|iso|type|boxes|box|trays?|in|lieferung|every)(?![\w])"
    r"|[\s,.;:/&+()-]",
    re.IGNORECASE,
)
"""Words around a paper, a packing or an earlier quote that add nothing."""

PURCHASE_TERMS = re.compile(
    r".*(?:\b(?:exw|fca|fob|cif|cpt|cip|dap|ddp|dpu)\b|\bnet\s?[0-9]{2}|[0-9]{2} days net|[0-9]{1,3} tage netto|payment terms?|zahlungs(?:ziel|bedingung\w*)|incoterms?|conditions de paiement|skonto|purchase terms|general terms).*",
    re.IGNORECASE,
)
REPEATS = re.compile(r".*\b(?P<number>Q-[0-9]{4}-[0-9]{6,12})\b.*", re.IGNORECASE)
REPEAT_WORDS = re.compile(
    r".*\b(?:repeat|re-?order|same as (?:last|before|previous)|wie (?:zuletzt|gehabt)|nachbestellung|wiederholung\w*|réassort)\b.*",
    re.IGNORECASE,
)
SPLIT = re.compile(
    r".*\b(?:split deliver\w*|partial deliver\w*|call[\s-]?off\w*|abruf\w*|teillieferung\w*|livraisons? partielles?|in [0-9]+ (?:lots|deliveries|lieferungen))\b.*",
    re.IGNORECASE,
)
SUPPLIED = re.compile(
    r".*(?:customer[\s-]supplied|supplied by (?:us|the customer|customer)|provided by (?:us|customer)|we (?:will )?(?:supply|provide|send)|free issue|consigned|beistell\w*|beigestellt|kundenseitig|wir (?:stellen|liefern)|fourni\w* par (?:nous|le client)).*",
    re.IGNORECASE,
)
QUANTITY_LINE = re.compile(
    rf"(?:(?:qty|quantit(?:y|ies)|menge|mengen|stückzahl(?:en)?|anzahl|quantités?|lots?|losgröße|price breaks?|volumes?)\b.*[0-9].*)|.*(?<![\w.,]){NUMBER}\s*{PIECES}(?![\w]).*|.*(?:{PROTOTYPE})(?![\w]).*[0-9].*|.*[0-9].*(?:{SPARE}|{PROTOTYPE})(?![\w]).*"
    rf"|{NUMBER}(?:\s*[/;]\s*{NUMBER}){{2,}}",
    re.IGNORECASE,
)
DAY_LINE = re.compile(
    r".*(?:\b(?:needed|required|wanted|due|deliver(?:y|ed)?|ship(?:ment|ped)?|liefer\w*|termin\w*|livraison|need date|no later than|spätestens|deadline)\b).*(?:[0-9]|asap|urgent|dringend).*"
    r"|(?:by|bis|avant|until|vor)\s+.*[0-9].*|(?:in|within|innerhalb)\s+[0-9]+\s+(?:days?|weeks?|months?|tagen?|wochen?|monaten?)|(?:kw|cw|week|woche)\s?[0-9]{1,2}.*|asap|urgent|dringend",
    re.IGNORECASE,
)
REFERENCE = re.compile(
    r"(?:(?:your |our |my |ihre |unsere |votre |notre )?(?:ref(?:erence)?|referenz|référence|rfq|inquiry|enquiry|anfrage|demande|po|p/o|order|bestellung|part|drawing|dwg|zeichnung|artikel|plan|item|projekt|project|offer|angebot)"
    r"\b(?:[\s-]?(?:no|nr|number|num|nummer|n°|#))?\.?)\s*[:#=]?\s*(?P<value>(?=[\w./-]*[0-9])[\w./-]{2,60})",
    re.IGNORECASE,
)
CONTACT = re.compile(
    r"(?:contact|attn|attention|ansprechpartner(?:in)?|kontakt|buyer|einkäufer(?:in)?|requested by|z\.?\s?hd\.?)\s*[:=]\s*(?P<value>.{2,200})",
    re.IGNORECASE,
)
CUSTOMER = re.compile(r"(?:customer|company|firma|kunde|client|société)\s*[:=]\s*(?P<value>.{2,200})", re.IGNORECASE)
CURRENCY = re.compile(
    r"(?:please )?(?:quote |prices? |preise? |offer |angebot |prix |currency|währung|devise|all prices)\s*(?:in|:|en|=)*\s*(?P<value>EUR|USD|CHF|GBP|JPY|€|\$|£|euros?|us dollars?)\b\.?",
    re.IGNORECASE,
)
CURRENCIES = {"€": "EUR", "$": "USD", "£": "GBP", "euro": "EUR", "euros": "EUR", "us dollar": "USD", "us dollars": "USD"}


def read_order(text: str) -> Reading | None:
    """What a line says of the order, by fields of a request (`quantities`, `needed_by`, `reference`, `prescription.first_article`); `None` where it says nothing of it."""
    spelled = tidy(text).strip(" .-*•")
    for read in (_of_a_quote, _papers, _keyed):
        reading = read(spelled)
        if reading is not None:
            return reading
    if QUANTITY_LINE.fullmatch(spelled):
        quantities = read_quantities(spelled)
        if not quantities.asks or not DAY_LINE.fullmatch(spelled):
            return quantities
    return read_day(spelled) if DAY_LINE.fullmatch(spelled) else None


def _of_a_quote(spelled: str) -> Reading | None:
    quote = REPEATS.fullmatch(spelled)
    if quote is not None:
        return Reading(
            {"repeats": quote["number"].upper()}, rule=f"{spelled} is taken as a repeat of the order of {quote['number'].upper()}"
        )
    questions: tuple[tuple[re.Pattern[str], str], ...] = (
        (REPEAT_WORDS, "which quote does it repeat? Its number is repeats, as Q-2026-000123"),
        (SPLIT, "how many are delivered on which days? They are deliveries, pieces and day each"),
        (SUPPLIED, "what does the customer supply, and for which element? It is supplied, with what and element"),
    )
    asks = next((asks for pattern, asks in questions if pattern.fullmatch(spelled)), None)
    return None if asks is None else asked(f"{spelled}: {asks}")


def _papers(spelled: str) -> Reading | None:
    if FIRST_ARTICLE.fullmatch(spelled):
        return Reading({"prescription.first_article": True})
    if PURCHASE_TERMS.fullmatch(spelled):
        return Reading({"purchase_terms": spelled})
    named = [name for name, pattern in PAPERS.items() if pattern.search(spelled)]
    if not named:
        return None
    rest = spelled
    for name in named:
        rest = PAPERS[name].sub(" ", rest)
    rule = f"{spelled} asks for {' and '.join(named)}, own operations of the rates"
    return Reading({"own_operations": named}, rule=rule, left=_left(rest))


def _left(rest: str) -> str:
    """The words that are not only around a paper or a number of a quote."""
    return " ".join(AROUND.sub(" ", rest).split())


def _keyed(spelled: str) -> Reading | None:
    keys: tuple[tuple[str, re.Pattern[str], Callable[[str], str]], ...] = (
        ("contact", CONTACT, str.strip),
        ("customer", CUSTOMER, str.strip),
        ("currency", CURRENCY, lambda value: CURRENCIES.get(value.lower(), value.upper())),
        ("reference", REFERENCE, str.strip),
    )
    for field, pattern, made in keys:
        found = pattern.fullmatch(spelled)
        if found is not None:
            return Reading({field: made(found["value"])})
    mail = MAIL.search(spelled)
    if mail is not None and not re.search(r"[0-9]+\s*(?:mm|pcs|nm)", spelled):
        return Reading({"contact": spelled[:200]})
    return None
