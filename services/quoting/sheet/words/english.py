"""The sheet in English. A head that begins with > has its figures to the right."""

from __future__ import annotations

from shared_schemas.lead_times import SoonerKind
from shared_schemas.quote import InTime

# The page as a whole.
TITLE = "Quotation"
NUMBER = "{number}, revision {revision}"
PAGE_OF = "Page {page} of {pages}"
YOUR_REFERENCE, YOUR_TERMS = "Your reference", "Your purchase terms"
DATE, VALID_UNTIL = "Date", "Valid until"
NO_SELLER = "Draft: whoever offers this has not entered a letterhead."
TRIAL = "Trial: rests on figures that are not this shop's."
NOT_THE_LATEST = "Revision {latest} is the latest; this one is kept as it was."
ACCEPTED = "Accepted{ordered} on {day}, as {by} said."
DECLINED = "Declined on {day}, as {by} said."
ORDERED = " for {quantity}"
EXPIRED = "Expired: it was valid until {day}."
PHONE, TAX_ID = "Phone {phone}", "Tax id {tax_id}"
TERMS, PAYMENT, DELIVERY_TERMS, TAX, VALIDITY_HEAD = "Terms", "Payment", "Delivery", "Tax", "Validity"
VALIDITY = "Amounts are in {currency} and hold until {day} for the lens as described here. Another drawing or quantity needs a new revision."
SIGN_SHOP = "For the shop: name, date, signature"
SIGN_CUSTOMER = "For the customer: quantity ordered, name, date, signature"
ACCEPTANCE = "Order"
ACCEPT_HERE = "Sign here and send the page back, or answer online until {day}:"
FOOT = "Figures are those of the quote whose digest (SHA-256 of its canonical JSON) is {digest}; where this sheet and that quote differ, the quote decides."
MAIL_TEXT = "Please find attached our quotation {number} for {title}. It is valid until {day}."
MAIL_ANSWER = "You can order or decline here:"
IN_ENGLISH = "(in English)"

# The lens.
LENS = "The lens"
SECTION_OF_LENS = "Section of {title}, to scale: {elements}, with axis, dimensions in mm and rays of the axial beam."
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
    "focal length {figure} mm", "f/{figure}", "back focus {figure} mm", "length from first to last vertex {figure} mm",
)  # fmt: skip
FIRST_ORDER = "At {wavelength} nm: {figures}."
AFOCAL = "afocal"
CEMENTED = "{before} to {after} cemented"
GAP = "{before} to {after} {gap} mm"
BETWEEN = "Between elements, on the axis: {gaps}."
STOP = "Stop: ⌀ {diameter} mm, {distance} mm {place}."
STOP_LABEL = "stop"
BEHIND = "behind the last vertex of {element}"
FROM_FIRST = "from the first vertex"
BARREL = "Mounted in a barrel of {material}, ⌀ {diameter} × {length} mm{engraved}."
METALS = {
    "aluminium": "aluminium",
    "brass": "brass",
    "stainless_steel": "stainless steel",
    "steel": "steel",
    "titanium": "titanium",
}
ENGRAVED = ", {count} characters engraved"
WHOLE_LENS = "Of the whole lens: {indications}."
DELIVERED_WITH = "Delivered with each lens: {parts}."
FREIGHT = "Carriage in the price: {terms}."
FIRST_ARTICLE = "The first lens is measured whole before the rest, and its record comes with the lot."
DRAWING_REMARKS = "Remarks on the drawing: {remarks}"

# Prices and dates.
PRICES = "Prices, in {currency}"
QUANTITY, UNIT_PRICE, TOTAL, LEAD_TIME, SHIPS, IN_TIME_HEAD = (
    ">Quantity", ">Unit price", ">Total", ">Lead time", ">Ships by", ">By the day needed",
)  # fmt: skip
SPARE_PART_HEADS = (">Quantity of lenses", "Spare part", ">Pieces", ">Unit price", ">Amount, in the total")
AFTER_PROTOTYPES_HEADS = (">Quantity, after the prototypes", ">Total, tools with it", ">Lead time, from their release")
DELIVERY_HEADS = (">Quantity", ">Delivered together", ">Wanted by", ">Half ready on", ">9 in 10 on")
PLUS_TOOLS = "In addition, charged once: tooling, {amount} {currency} (itemised below)."
DAYS_MEANT = "Lead times are calendar days from the order; the date is for an order on the day of this quotation. Nine of ten such orders ship by then."
SCHEDULE = "Schedule"
SCHEDULE_OF = "Bars from the order to the day of shipping, by quantity, one mark for each week."
SCHEDULE_MEANT = (
    "The full bar ends where half of such orders ship, the open one where nine of ten do; marks are weeks from the order."
)
SCHEDULE_DAYS = "{days}, {day}"
DECIDES = "What takes most of the time, for {quantity}: {things}."
DECIDES_ONE = "{what} ({days})"
DELIVERY_FOR = "{what} for {part}"
STEP_OF = "{step} of {part}{face}"
OF_FACE, WHOLE = ", {face}", "the whole lens"
SPARE_TIME = "spare time"
OPERATIONS: dict[str, str] = {
    "saw": "sawing", "wax": "waxing", "core": "coring", "melt_off": "melting off", "press_blank": "preparing pressings", "generate": "generating",
    "block": "blocking", "fine_grind": "fine grinding", "polish": "polishing", "deblock": "deblocking", "centre": "centring", "bevel": "bevelling",
    "clean": "cleaning", "inspect": "inspection", "coat": "coating", "cement": "cementing", "blacken_edge": "edge blackening", "engrave": "engraving",
    "assemble": "assembly", "align": "alignment", "final_test": "final test", "pack": "packing",
}  # fmt: skip
IN_TIME: dict[InTime, str] = {"yes": "yes", "with_expedite": "if expedited", "with_changes": "with changes", "no": "no"}
SOONER = "Sooner, for an additional charge, in {currency}"
CHARGE, SOONER_BY, HOW_SOONER = ">Additional charge", ">Sooner by", "How"
EXPEDITED = "expedited throughout"
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
ONE_DAY, SOME_DAYS = "{count} day", "{count} days"

# Names that the shop gives to things it makes and buys, as far as they have words.
THINGS: dict[str, str] = {}

# What stands beside the price.
ASSUMED = "Assumed, please confirm"
FROM_WHAT_YOU_SENT = "Please confirm: {what}."
UNSTATED = (
    "Design wavelength {wavelength} nm. Faces without a coating named stay uncoated. "
    "Demands that neither the drawing states nor this sheet names are not part of this offer."
)
GLASS_BY_DEFAULT = "Glass quality by default of ISO 10110-11, where it has one ({what}): {names}."
QUALITIES: dict[str, str] = {}
RELAXATIONS = "What could be relaxed, and what it saves, in {currency}"
RELAXATION_HEADS = ("Tolerance", "Where", ">Now", ">Instead", ">Saves a piece", ">Of", "Which means")
TOLERANCES: dict[str, str] = {}
FRINGES = "fringes"
SAVED_ONCE = "saved once, of the tooling"
THE_ORDER = "the order"
SOONER_DAYS, LATER_DAYS = "{days} sooner", "{days} later"
TOLERANCE_OF = "{tolerance} of {place}"
TOGETHER = "Granted together ({named}) these save {saving} a piece of {quantity}{days}."
TOGETHER_DAYS = " and the lens comes {days}"
OFFERS = "Radii near a test plate in hand, in {currency}"
OFFER_HEADS = ("Where", ">Radius, mm", ">Instead, mm", ">Focal length changes by", ">Saves once")
OFFER_AND = "And"
TO_LOOK_AT = "To look at"
HANDLING = "To mind when the lens is handled"
WHAT_WOULD_DO = "What would do: {remedy}"
THE_GLASS = "The glass"
PLACES: dict[str, str] = {}
ALIKE = "{names} together, which are alike"
FINDINGS: dict[str, str] = {}
GISTS: dict[str, str] = {}

# The page on which a customer answers.
ANSWER = "Your answer"
YOUR_QUANTITY, YOUR_NAME, YOUR_ORDER, YOUR_NOTE = (
    "Quantity",
    "Your name",
    "Your purchase order number (may be left empty)",
    "A note (may be left empty)",
)
TO_ORDER, TO_DECLINE = "Order", "Decline"
ORDER_MEANS = "An order is binding on the terms above. You get no further question."
QUANTITY_OF = "{quantity} at {unit} each, {total} {currency} in all"
THANKS_ORDERED, THANKS_DECLINED = "Thank you. Your order for {quantity} is recorded.", "Thank you. Your answer is recorded."
STANDS = "This offer was answered before, and that answer stands. To change it, please ask the seller."
SUPERSEDED = "A newer revision has taken the place of this offer. Please answer that one, or ask the seller for it."
ENDED = {"cancelled": "The order was cancelled.", "completed": "The order was completed."}
NO_ANSWER_HERE = "This offer cannot be answered here at the moment. Please ask the seller."
EXPIRED_ASK = "Please ask the seller for a new revision."
MEND_QUANTITY, MEND_NAME, MEND_TEXT = (
    "Please choose a quantity.",
    "Please enter your name.",
    "Please shorten your entries; at most 200 characters for name and number, 2000 for the note, without control characters.",
)
UNKNOWN_CODE = "There is no offer at this address. Please check that the whole address of the link was taken over."
TOO_OFTEN = "Too many addresses were tried from here. Please try again in {seconds} seconds."
