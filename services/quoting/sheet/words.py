"""Every word that the customer's sheet says of itself: headings, heads of tables, sentences with the places that are filled in.

Another language is another table like this one, and the customer's words in the catalogue of findings (`shared_schemas/finding_kinds.py`).
A head that begins with > has its figures to the right.
"""

from __future__ import annotations

from shared_schemas.lead_times import SoonerKind
from shared_schemas.quote import InTime

# The page as a whole.
LANGUAGE = "en"
TITLE = "Quotation"
NUMBER = "{number}, revision {revision}"
YOUR_REFERENCE, YOUR_CONTACT, YOUR_TERMS = "Your reference", "Contact", "Your purchase terms"
DATE, VALID_UNTIL, FOR, QUANTITIES = "Date", "Valid until", "For", "Quantities"
TRIAL = "Trial: rests on figures that are not this shop's."
NOT_THE_LATEST = "Revision {latest} is the latest; this one is kept as it was."
DECIDED = {
    "accepted": "Accepted{ordered} on {day:%Y-%m-%d}, as {by} said.",
    "declined": "Declined{ordered} on {day:%Y-%m-%d}, as {by} said.",
}
ORDERED = " for {quantity:,}"
EXPIRED = "Expired: it was valid until {day}."
VALIDITY = "Amounts are in {currency} (ISO 4217) and hold until {day} for the lens as described above. Another drawing or quantity needs a new revision."
SIGN_SHOP = "For the shop: name, date, signature"
SIGN_CUSTOMER = "For the customer: quantity ordered, name, date, signature"
FOOT = (
    "Quotation {number}, revision {revision}, calculated on {day} with rate revision {rates}. This sheet shows figures of the quote whose "
    "digest (SHA-256 of its canonical JSON) is {digest}; where the sheet and that quote differ, the quote decides."
)

# The lens.
LENS = "The lens"
SECTION_OF_LENS = "Section of the lens, to scale"
ELEMENT, GLASS, DIAMETER, THICKNESS, CENTRING, GLASS_QUALITY = (
    "Element", "Glass", ">Diameter, mm", ">Centre thickness, mm", "Centring 4/", "Glass quality",
)  # fmt: skip
FACE_HEADS = ("Element", "Face", ">Radius, mm", ">Clear ⌀, mm", "Form 3/", "Imperfections 5/", "Coating", "Further")
FACES = {"front": "front", "back": "back"}
PLANE, NO_COATING = "plane", "none"
STATED_AS = "{glass} (stated as {stated})"
IS_DEFAULT = "{mark} not stated: default of ISO 10110-11."
LEGEND = (
    "Radii are positive where the centre of curvature lies behind the face; light comes from the left. "
    "Form, imperfections and centring as indicated on the drawing (ISO 10110)."
)
FOCAL_LENGTH, F_NUMBER, BACK_FOCUS, LENGTH = (
    "focal length {:.2f} mm", "f/{:.2f}", "back focus {:.2f} mm", "length from first to last vertex {:.2f} mm",
)  # fmt: skip
FIRST_ORDER = "At {wavelength:.10g} nm: {figures}."
AFOCAL = "afocal"
CEMENTED = "{before} to {after} cemented"
GAP = "{before} to {after} {gap:.10g} mm"
BETWEEN = "Between elements, on the axis: {gaps}."
STOP = "Stop: ⌀ {diameter:.10g} mm, {distance:.10g} mm {place}."
BEHIND = "behind the last vertex of {element}"
FROM_FIRST = "from the first vertex"
BARREL = "Mounted in a barrel of {material}, ⌀ {diameter:.10g} x {length:.10g} mm{engraved}."
ENGRAVED = ", {count} characters engraved"
WHOLE_LENS = "Of the whole lens: {indications}."
DELIVERED_WITH = "Delivered with each lens: {parts}."
FREIGHT = "Carriage in the price: {terms}."
FIRST_ARTICLE = "The first lens is measured whole before the rest, and its record comes with the lot."
DRAWING_REMARKS = "Remarks on the drawing: {remarks}"

# Prices and dates.
PRICES = "Prices, in {currency}"
QUANTITY, UNIT_PRICE, TOTAL, IN_TIME_HEAD = ">Quantity", ">Unit price", ">Total", ">By the day needed"
SPARE_PART_HEADS = (">Quantity of lenses", "Spare part", ">Pieces", ">Unit price", ">Amount, in the total")
AFTER_PROTOTYPES_HEADS = (
    ">Quantity, after the prototypes",
    ">Total, tools with it",
    ">Half ready in, from their release",
    ">9 in 10 within",
)
DELIVERY_HEADS = (">Quantity", ">Delivered together", ">Wanted by", ">Half ready on", ">9 in 10 on")
DATES = (">Half ready in", ">8 in 10 within", ">9 in 10 within", ">Ships")
DAYS_MEANT = (
    "Days are calendar days from the order; half, eight and nine of ten such orders ship within them. The date is that of nine in ten, for an order "
    "on the day of this quotation."
)
DECIDES = "What decides the date, for {quantity:,}"
DECIDES_MEANT = (
    "Bars are the days that each takes of the way to the date, waiting included, on average, cut into weeks; at the right, in how many of a hundred "
    "such orders the date waits for it."
)
DELIVERY_FOR = "{what} for {part}"
STEP_OF = "{step} of {part}{face}"
OF_FACE, WHOLE = ", {face}", "the whole lens"
SPARE_TIME = "spare time"
DECIDES_IN, BAR_DAYS = "{share:.0%}", "{days} days"
IN_TIME: dict[InTime, str] = {"yes": "yes", "with_expedite": "if expedited", "with_changes": "with changes", "no": "no"}
SOONER = "Sooner, for an additional charge, in {currency}"
CHARGE, SOONER_BY = ">Additional charge", ">Sooner by"
WITH_ONE_THING, SHIPS = "With one thing alone", ">Ships"
SOONER_KINDS: dict[SoonerKind, str] = {
    "priority": "first in every queue",
    "overtime": "overtime",
    "faster_glass": "glass by faster delivery",
    "outside": "part of the work done elsewhere",
    "moving_work": "before other work, if that can wait",
}
BY_AGREEMENT = "by agreement"
CHARGE_MEANT = "The charge is for the whole quantity, on top of its total."
TOOLS = "Tools"
TOOLS_INCLUDED = "The prices include these tools: {tools}."
TOOL_FOR = "{tool} for {part}"
TOOLING = "Tooling, charged once in addition to the prices, in {currency}"
TOOLING_HEADS = ("Tool", "For", ">Charge")
ALL_TOOLS = "All tools together"
ONE_DAY, SOME_DAYS = "{count:,} day", "{count:,} days"

# What stands beside the price.
ASSUMED = "Assumed"
FROM_WHAT_YOU_SENT = "Please confirm: {what}."
UNSTATED = (
    "Design wavelength {wavelength:.10g} nm. Faces without a coating named stay uncoated. "
    "Demands that neither the drawing states nor this sheet names are not part of this offer."
)
GLASS_BY_DEFAULT = "Glass quality by default of ISO 10110-11, where it has one ({what}): {names}."
RELAXATIONS = "What could be relaxed, and what it saves, in {currency}"
RELAXATION_HEADS = ("Tolerance", "Where", ">Now", ">Instead", ">Saves a piece", ">Of", "Which means")
FRINGES = "fringes"
SAVED_ONCE = "saved once, of the tooling"
THE_ORDER = "the order"
SOONER_DAYS, LATER_DAYS = "{days} sooner", "{days} later"
TOLERANCE_OF = "{tolerance} of {place}"
TOGETHER = "Granted together ({named}) these save {saving} a piece of {quantity:,}{days}."
TOGETHER_DAYS = " and the lens comes {days}"
OFFERS = "Radii near a test plate in hand, in {currency}"
OFFER_HEADS = ("Where", ">Radius, mm", ">Instead, mm", ">Focal length changes by", ">Saves once")
OFFER_AND = "And"
TO_LOOK_AT = "To look at"
HANDLING = "To mind when the lens is handled"
WHAT_WOULD_DO = "What would do: {remedy}"
THE_GLASS = "The glass"
