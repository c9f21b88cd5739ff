"""What each rate table is for and what each of its columns means, in a line each. The unit stands in brackets where its name does not end in it."""

from __future__ import annotations

PURPOSES: dict[str, tuple[str, str]] = {
    "glasses": ("Glasses and crystals with the published properties of each.", "check, blanks, minutes of grinding and polishing"),
    "glass_grades": ("Grades of raw glass beyond the usual: what a finer one costs, how long it takes.", "price and days of glass"),
    "stock_forms": ("Forms in which glass is bought or lies in the store, with prices by mass.", "blanks, price and days of glass"),
    "allowances": ("What is left on a blank or cut away, by diameter.", "size of blanks, glass bought"),
    "work_centres": ("Machines and benches: what they do and what their hours cost.", "route, minutes, cost, date"),
    "grinding": ("Sawing, coring, generating and the grits of fine grinding.", "minutes of shaping"),
    "polishing": ("How glasses of a hardness are polished, on blocks or singly.", "minutes of polishing, size of blocks"),
    "aspheres": ("Ways of making and measuring an aspheric face.", "minutes and losses of aspheric faces"),
    "pressed_aspheres": ("Aspheric lenses that are moulded outside.", "an offer beside the ground lens"),
    "tolerance_classes": ("How time and yield answer to a tighter tolerance.", "minutes, losses, relaxations"),
    "coatings": ("Coatings that the shop runs: layers, cycle and seats.", "check, minutes and cost of coating"),
    "tooling": ("Tools that the shop owns, and what a new one costs.", "charges for tools, offers of test plates"),
    "cementing": ("Ways of cementing, by the centring that each reaches.", "minutes and cost of cementing"),
    "assembly": ("Steps of mounting.", "minutes of assembly, alignment and test"),
    "inspection": ("What is looked at and measured, and on how many pieces.", "minutes of inspection"),
    "extra_work": ("What an operation takes besides for some lenses.", "minutes and losses"),
    "yields": ("What survives each operation.", "pieces started, cost"),
    "outside_work": ("Suppliers that do an operation in place of the shop.", "route, cost, date"),
    "operations": ("Steps of the shop's own that the suite does not know.", "route, minutes, cost, date"),
    "hardware": ("Parts of the mount and packing that are bought by size.", "material cost, date"),
    "metals": ("Metals that mounts are turned from.", "cost and days of turned parts"),
    "turning": ("How each part of a mount is turned.", "minutes and cost of turned parts"),
    "commercial": ("Terms for each class of customer: margins, floors, validity.", "price, offers, freight"),
    "currencies": ("Currencies and their rates against the base.", "prices in other currencies"),
    "calendar": ("Working hours of the week, holidays and shutdowns.", "dates"),
    "shop_load": ("How busy each work centre usually is.", "waits, dates"),
}
"""Of each table: its purpose, and what is worked out from it."""

_TEXTS: dict[str, str] = {
    "glasses": """
maker|Who melts or grows it.
code|Glass code: six digits of index and Abbe number, with three of density where known.
nd|Refractive index at 587.56 nm [1].
vd|Abbe number at the d line [1].
density_g_cm3|Density.
cte_30_70_1e6_per_k|Thermal expansion from -30 to 70 degC.
young_gpa|Young's modulus.
poisson|Poisson's ratio [1].
knoop_hk|Knoop hardness.
grindability_hg|Grindability class of ISO 12844, 1 slow to 6 fast.
abrasion_aa|Abrasion hardness, 100 for an ordinary crown.
climate_cr|Class of resistance to climate.
stain_fr|Class of resistance to stains.
acid_sr|Class of resistance to acid.
alkali_ar|Class of resistance to alkali.
phosphate_pr|Class of resistance to phosphate.
relative_price|Price against an ordinary crown, as its maker says [1].
lead|Whether it contains lead.
sellmeier_b1|First numerator of the dispersion formula [1].
sellmeier_b2|Second numerator of the dispersion formula [1].
sellmeier_b3|Third numerator of the dispersion formula [1].
sellmeier_c1_um2|First pole of the dispersion formula.
sellmeier_c2_um2|Second pole of the dispersion formula.
sellmeier_c3_um2|Third pole of the dispersion formula.
dispersion_constant|What the squared index begins with in the formula, usually 1 [1].
dispersion_form|Terms B L^2/(L^2 - C) where sellmeier, B/(L^2 - C) where poles.
index_from_um|Shortest wavelength at which the formula holds.
index_to_um|Longest wavelength at which the formula holds.
transmits_from_um|Shortest wavelength that a lens of it lets through.
transmits_to_um|Longest wavelength that a lens of it lets through.
strength_mpa|Bending strength.
water_soluble_g_per_l|How much dissolves in water.
cleaves|Whether it splits along planes of its lattice.
hazard|What is dangerous in its dust or waste, in words.
work_family|How it is worked.
work_factor|How much longer it takes to polish, clean and handle than an ordinary crown [1].
yield_power|To which power its yields go [1].""",
    "glass_grades": """
attribute|What the glass is graded by.
figure|Largest value that the grade leaves: nm/cm of stress, mm2 of bubbles, 1e-6 of index, nm of striae.
grade|Name of the grade.
price_factor|What the glass costs against the usual one [1].
more_days|Days that it takes longer [days].
certificate_charge|Charge for the certificate of a lot.""",
    "stock_forms": """
glass|Name of the glass, as in glasses.
form|Slab, strip, rod, disc or pressing.
length_mm|Length of a slab, strip or rod.
width_mm|Width of a slab or strip.
thickness_mm|Thickness of a slab, strip, disc or pressing.
diameter_mm|Diameter of a rod, disc or pressing.
prices|Price of a kilogram by the mass bought, from 0 kg on [kg: money/kg].
lot_charge|Charge for each order.
mould_charge|Charge for a mould, once.
minimum_kg|Least mass that is sold.
remnant_credit|Share of its price that a remnant is worth [share of 1].
owned_pieces|Pieces of it in the shop's own store [pieces].
least_diameter_mm|Smallest lens that it is pressed for.
lead_days|Days from order to delivery.
express_lead_days|Days of the faster delivery.
express_surcharge|What the faster delivery costs more, as a share of the price [share of 1].
supplier|From whom it is ordered, in words; empty where that is not said.""",
    "allowances": """
kind|What the width is for.
form|Form of the blank, all where empty.
diameter_over_mm|Diameters above this.
diameter_up_to_mm|Diameters up to this.
allowance_mm|The width left on or cut away.""",
    "work_centres": """
id|Short name that stays when the name changes; made of the name where empty.
operations|Operations that it does.
method|Which way of the operation, where there are several.
priority|Where several serve, the lowest does it.
machine_rate_per_h|Cost of an hour of the machine.
labour_rate_per_h|Cost of an hour of a person at it.
stations|How many of it there are [pieces].
shifts|Shifts a day, in hours of the calendar [1].
setup_min|Set-up of a batch.
load_min_per_piece|Handling of each piece.
cycle_min|Time of a batch besides.
rack_pieces|Pieces that go in together.
attended_share|Share of its time that a person is there.
smallest_diameter_mm|Smallest piece that it takes.
largest_diameter_mm|Largest piece that it takes.
learning_share|What is left of the time of a piece when the number doubles.
learned_after|Pieces after which nobody gets faster [pieces].
minutes_variation|Standard deviation of the minutes, as a share of those planned [share of 1].
trued_below_arcmin|Centring finer than this is trued in the cell.
align_min|Truing of a lens that is held twice as fine.""",
    "grinding": """
stage|Sawing, coring, generating or fine grinding.
method|Which way, where there are several.
grit_um|Grain of wheel or abrasive.
grindability_hg|Grindability class that the row is for.
removal_mm3_per_min|Volume cut a minute, whatever the face.
infeed_mm_per_min|How fast a cup wheel goes in.
removal_limit_mm3_per_min|Most that the spindle cuts.
spark_out_min|Time at depth without feed.
edging_mm2_per_min|Area of a ring cut off a rim, for each mm of thickness.
removal_um_per_min|Depth taken by fine grinding.
damage_multiple|Depth of damage in grains [1].
change_over_min|Change from the grit before.
consumables_per_batch|Abrasive and coolant of a batch.""",
    "polishing": """
glass|One glass by name; all of the hardness where empty.
method|On a block, single, or on a volume machine.
knoop_over_hk|Hardness above this.
knoop_up_to_hk|Hardness up to this.
polisher|Pad or pitch.
preston_coefficient_per_pa|Preston's coefficient.
pressure_pa|Pressure on the lens.
speed_m_per_s|Speed of the polisher.
stock_multiple|Depth polished away, in depths of damage [1].
start_figure_fringes|Of older revisions; not read.
measure_min|One measurement of the figure.
correct_min|One correction of the figure.
block_gap_mm|Gap between lenses on a block.
largest_block_mm|Widest block.
convex_half_angle_deg|Half angle of a convex block.
concave_half_angle_deg|Half angle of a concave block.
single_below_ratio|Radius to diameter below which a lens is worked singly [1].
single_below_fringes|Irregularity finer than which a lens is worked singly, 0 where cost decides.
consumables_per_batch|Pads, slurry and pitch of a batch.
thin_over|Diameter to thickness above which a lens bends [1].
thin_slope|How much longer a thin lens takes [1].
thin_power|Power of the ratio of a thin lens [1].
most_lenses|Most lenses on a block [pieces].
most_blocking_min|Longest blocking by hand.
recessed_lenses|Lenses in a block with recesses [pieces].
recessed_up_to_mm|Largest lens in a recess.
thin_lenses_share|Of older revisions; not read.
thin_pressure_share|Of older revisions; not read.
single_thin_over|Of older revisions; not read.
departure_weight|Weight of the departure of a shallow asphere [1].
departure_sharpness|How sharply a departure fails [1].
form_median_fringes|Figure that half of the runs leave.
form_log_sd|Standard deviation of the logarithm of the figure [1].""",
    "aspheres": """
contour_min_per_mm|Grinding along the contour, for each mm of diameter.
form_mm3_per_min|Volume of the departure ground a minute.
pre_polish_um|Depth of pre-polishing.
pre_polish_mm3_per_min|Volume pre-polished a minute.
correct_mm3_per_min|Volume corrected a minute.
at_preston_per_pa|Preston's coefficient of the glass that the rates are for.
residual_um|What each correction takes off the whole face.
start_form_um|Form error before the first correction, peak to valley.
gain|By which factor a correction betters the form [1].
set_min|Setting up a correction.
measure_min|One measurement.
measure_min_per_mrad|Longer measurement for each mrad of slope.
typical_form_um|Form that half of the faces reach.
sharpness|How sharply a finer form fails [1].
finest_form_um|Finest form that is tried.
rework_share|Share of the lost that is corrected again.
rework_yield|Share of those that is good then [share of 1].
consumables_per_piece|Consumables of a piece.
needs|Tools that are made once for a face.
smallest_diameter_mm|Smallest face.
largest_diameter_mm|Largest face.
smallest_concave_radius_mm|Smallest concave radius.
deepest_sag_mm|Deepest face.
widest_angle_deg|Widest opening angle.
largest_departure_um|Largest departure from the sphere.
steepest_slope_mrad|Steepest slope of the departure.""",
    "pressed_aspheres": """
glasses|Glasses that are moulded.
smallest_diameter_mm|Smallest lens.
largest_diameter_mm|Largest lens.
finest_form_um|Finest form.
charge|Charge for the moulds, once.
lead_days|Days for the moulds.
unit_price|Price of a lens.""",
    "tolerance_classes": """
attribute|Which tolerance.
unit|Unit of its figures.
commercial|The loosest class, in the unit of the row.
precision|The middle class, in the unit of the row.
high_precision|The finest class, in the unit of the row.
capability|Finer than this the shop says no, in the unit of the row.
knee|Below this a tighter tolerance takes longer, in the unit of the row.
time_slope|How much longer [1].
yield_slope|How much the yield falls [1].
operations|Operations that it slows.
ramp_power|Power of the ratio to the knee [1].
strength|Weight of the slope in time [1].
strength_power|Power of the lengthened time [1].
time_shares|Share of the minutes of each operation that grows [share of 1].""",
    "coatings": """
design_wavelength_nm|Wavelength that the stack is designed for.
layers|Layers, outermost first: material, index, thickness and rate [nm, nm/s].
load_min|Loading.
pump_min|Pumping down.
heat_min|Heating.
cool_min|Cooling.
vent_min|Venting.
unload_min|Unloading.
calotte_diameter_mm|Diameter of a calotte.
calottes|Calottes in the chamber [pieces].
seat_rim_mm|Seat beyond the diameter of the lens.
witness_pieces|Witness pieces in a run [pieces].
run_consumables|Materials of a run.
band_from_nm|Shortest wavelength of the promise.
band_to_nm|Longest wavelength of the promise.
promised_reflectance|At most so much is reflected [share of 1].
promised_mirror_reflectance|At least so much is reflected by a mirror [share of 1].
hottest_c|Temperature of the lenses in the run.
one_glass|Whether a run takes lenses of one glass only.""",
    "tooling": """
kind|What kind of tool.
owned|Whether the shop has it.
radius_mm|Its radius.
diameter_mm|Its diameter.
reach_share|Radii that it serves, as a share beside its own.
charge|What a new one costs.
lead_days|Days for a new one.
offer_reach_share|Radii to which the plate is offered, as a share beside its own.
offer_focal_share|Most that the focal length may change then.
form|The aspheric face that an owned one is for.""",
    "cementing": """
finest_centring_arcmin|Finest centring that it reaches.
setup_min|Set-up of a lot.
minutes_per_face|Time for each joined face [min].
cure_min|Curing.
cure_batch|Pieces cured together [pieces].
cure_attended_share|Share of curing that a person is there.
consumables_per_piece|Cement of a piece.""",
    "assembly": """
operation|Operation that the step is of.
per|What it is counted by.
finest_centring_arcmin|Finest centring that it reaches.
minutes|Time for each [min].
attended_share|Share of it that a person is there.""",
    "inspection": """
looks_at|What is looked at or measured.
per|What it is counted by.
grade_up_to_mm|Imperfection grade that the minutes are for.
fringes_up_to|Irregularity that the minutes are for [fringes].
means|Instrument.
aspheric|Whether it is for aspheric faces only.
minutes|Time for each [min].
aql_percent|Acceptance quality limit of a sample.
level|Inspection level of ISO 2859-1.""",
    "extra_work": """
operation|Operation that takes it besides.
method|Which way of the operation, all where empty.
per|What it is counted by.
minutes|Time for each [min].
wanted_by|Lenses that want it.
from_class|Class of resistance from which on it is done.
yield_power|To which power the yield goes [1].""",
    "yields": """
operation|Which operation.
method|Which way of it, all where empty.
yield|Share of the pieces that is good [share of 1].
batch_loss|Chance that a whole batch is lost [share of 1].
rework_share|Share of the lost that is reworked.
rework_yield|Share of those that is good then [share of 1].
rework_min|Rework of a piece.
rework_of_operation|Rework, in times of the operation [1].""",
    "outside_work": """
operation|Operation that the supplier does.
methods|Ways of it, any where empty.
lot_charge|Charge for what is sent at once.
piece_charge|Charge for each piece and face.
lead_days|Calendar days until it is back.
yield_share|Share that comes back good.
smallest_diameter_mm|Smallest blank that it takes.
largest_diameter_mm|Largest blank that it takes.""",
    "operations": """
on|What it is done on.
after|Operation that it follows.
wanted_by|When it is done.
finer_than|Tolerance finer than which it is done, in the unit of the tolerance.
work_centre|Where it is done, id or name.
supplier|Who does it outside.
setup_min|Set-up of a lot.
minutes_each|Time for each [min].
attended_share|Share of it that a person is there.
lot_charge|Charge for a lot besides.
piece_charge|Charge for a piece besides.
wait_days|Calendar days that it rests or is away.
yield_share|Share that is good.""",
    "hardware": """
kind|Which part.
material|Its material, any where empty.
diameter_up_to_mm|Diameter that the price is for.
lot_charge|Charge for each order.
unit_price|Price of one.
lead_days|Days from order to delivery.""",
    "metals": """
removal_cm3_per_min|Volume cut a minute.
cutting_m_per_min|Cutting speed.
price_per_cm3|Price of the metal [money/cm3].
finish|Its finish.
finish_lot_charge|Charge for finishing a lot.
finish_each|Charge for finishing one.
extra_lead_days|Days that metal and finish take besides.
density_g_cm3|Density.""",
    "turning": """
kind|Which part.
rate_per_h|Cost of an hour of lathe and person.
setup_min|Set-up of a lot.
load_min|Loading one.
threads|Threads on it [pieces].
thread_min|Cutting one thread.
seats|Seats in it [pieces].
seat_min|Turning one seat.
usual_m_per_min|Cutting speed that the seat is for.
stock_mm|What the bar is wider than the part.
feed_mm|Feed of a turn.
passes|Finishing passes of a face [pieces].
usual_tolerance_mm|Bore tolerance that takes no longer.
tolerance_power|Power of the ratio of a closer one [1].
deep_from|Depth of bore in diameters from which it takes longer [1].
deep_to|Deepest bore in diameters [1].
deep_slope|How much longer for each diameter [1].
wall_mm|Wall of a spacer or ring.
length_mm|Length of a ring, least length of a spacer.
largest_diameter_mm|Largest part.
lead_days|Days from order to delivery.""",
    "commercial": """
overhead_share|Overhead, as a share of cost.
margin_share|Margin, as a share of price.
contingency_share|Contingency, as a share of cost.
valid_days|Days that a quote is valid.
minimum_order|Least price of an order.
rounding|Unit prices are whole multiples of this.
margin_steps|Margin by quantity, from 1 piece on [pieces: share of 1].
tooling|Whether tools are charged once or spread over the order.
glass_price_variation|Standard deviation of a glass price until purchase [share of 1].
expedite_queue_share|What is left of waits when expedited.
expedite_priority_share|What that costs, as a share of the cost of operations.
overtime_hours_share|More hours a day when expedited.
overtime_surcharge|What labour costs more in these [share of 1].
longest_lead_days|Longer than this is not offered.
freight_terms|Terms of delivery.
freight_per_lot|Freight of a lot.
freight_per_kg|Freight by mass [money/kg].
cancel_free_days|Days after acceptance within which an order is cancelled for nothing.
cancel_minimum_share|Least share of the price that cancelling costs later [share of 1].
margin_floor_share|Margin reached below which an overridden quote needs a second key [share of 1].
loss_chance_limit|Chance of a loss above which an overridden quote needs a second key [share of 1].""",
    "currencies": """
name|ISO 4217 code of the currency.
per_base|How many of it one unit of the base currency buys [1].
minor_units|Decimals of its amounts.
good_for_days|Days that the rate holds.""",
    "calendar": """
weekday|Day of the week, 0 Monday to 6 Sunday.
hours|Working hours of that day [h].
holiday|Day without work.
until|Last day of a shutdown.""",
    "shop_load": """
utilisation|Share of the hours that is taken [share of 1].
squared_variation|Squared variation of work and arrivals [1].
mean_job_h|Usual length of a job.
booked_share|Share of that work which the book of load shows.""",
}

COLUMNS: dict[str, dict[str, str]] = {
    table: dict(line.split("|", maxsplit=1) for line in texts.strip().splitlines()) for table, texts in _TEXTS.items()
}
"""Meaning of each column by its table, but for those that say it in their contract."""
