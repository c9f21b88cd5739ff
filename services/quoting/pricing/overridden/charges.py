"""Glass, bought parts and tools with the prices that an estimator set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, TypeVar

from services.quoting.pricing.overridden.setting import Setting, set_figure, without_it
from shared_schemas.blanks import BlankPlan, MaterialModel, MaterialStep
from shared_schemas.operations import BoughtPart, OperationPlan, Relaxation, Tooling, ToolingOffer

Priced = TypeVar("Priced", BoughtPart, Tooling)


def with_blanks_set(plan: BlankPlan, settings: Sequence[Setting]) -> tuple[BlankPlan, list[Setting]]:
    """The plan in which blanks of some elements cost what was set, each; and the settings that are of no element that has blanks."""
    elements = {blank.element for blank in plan.blanks}
    nowhere = [one for one in settings if one.place.name not in elements]
    materials = plan.materials
    for setting in settings:
        if setting not in nowhere:
            materials = tuple(model for one in materials for model in _without(one, setting, plan))
    return plan.model_copy(update={"materials": materials}), nowhere


def _without(model: MaterialModel, setting: Setting, plan: BlankPlan) -> tuple[MaterialModel, ...]:
    """What is bought when blanks of one element of a purchase have a price of their own: the rest each by itself, as it would be alone."""
    element = setting.place.name
    if element not in model.members:
        return (model,)
    left = tuple(one for one in model.members if one != element)
    rest = tuple(one for one in model.apart if element not in one.members)
    if left and not rest:
        rest = (model.model_copy(update={"members": left, "apart": ()}),)
    return (*rest, _at_own_price(model, setting, plan))


def _at_own_price(model: MaterialModel, setting: Setting, plan: BlankPlan) -> MaterialModel:
    element, first = setting.place.name, model.steps[0]
    mass_g = next((one.mass_g for one in plan.blanks if one.element == element and model.form in (None, one.form)), 0.0)
    step = MaterialStep(
        blanks=1, cost=setting.value, pieces=1, bought_mass_g=mass_g, lead_days=first.lead_days, form=first.form, stock=first.stock
    )
    return MaterialModel(
        name=f"blanks of {element}"[:60],
        form=model.form,
        glass=model.glass,
        members=(element,),
        steps=(step,),
        basis=(set_figure("cost", setting, worked_out=None, unit=plan.currency),),
    )


def with_bought_parts_set(plan: OperationPlan, settings: Sequence[Setting]) -> tuple[OperationPlan, list[Setting]]:
    """The plan with bought parts at prices that were set, and the settings that are of none of them."""
    by_name = _by_name(settings)
    parts = tuple(_priced(part, by_name.get(part.name, {}), plan.currency) for part in plan.bought_parts)
    names = {part.name for part in plan.bought_parts}
    return plan.model_copy(update={"bought_parts": parts}), [one for one in settings if one.place.name not in names]


def with_tooling_set(plan: OperationPlan, settings: Sequence[Setting]) -> tuple[OperationPlan, list[Setting]]:
    """The plan with charges for tools that were set, where relaxations and test plates ask for them too; and the settings that are of no tool."""
    by_name = _by_name(settings)

    def charged(tools: Sequence[Tooling]) -> tuple[Tooling, ...]:
        return tuple(_priced(tool, by_name.get(tool.name, {}), plan.currency) for tool in tools)

    amended = plan.model_copy(
        update={
            "tooling": charged(plan.tooling),
            "relaxations": tuple(_needing(one, charged(one.needed)) for one in plan.relaxations),
            "offers": tuple(one for offer in plan.offers for one in _offered(offer, charged(offer.needed), plan, by_name)),
        }
    )
    names = {tool.name for tool in plan.tooling}
    return amended, [one for one in settings if one.place.name not in names]


def _needing(relaxation: Relaxation, needed: tuple[Tooling, ...]) -> Relaxation:
    return relaxation if needed == relaxation.needed else relaxation.model_copy(update={"needed": needed})


def _offered(
    offer: ToolingOffer, needed: tuple[Tooling, ...], plan: OperationPlan, by_name: Mapping[str, Any]
) -> tuple[ToolingOffer, ...]:
    """An offer of a test plate with what it saves at the charges that were set; none that saves nothing then."""
    if needed == offer.needed and not any(name in by_name for name in offer.not_needed):
        return (offer,)
    charges = {tool.name: tool.charge for tool in plan.tooling}
    less = sum((charges[name] - by_name[name]["charge"].value for name in offer.not_needed if name in by_name), Decimal(0))
    more = sum((after.charge - before.charge for before, after in zip(offer.needed, needed, strict=True)), Decimal(0))
    saving = offer.saving - less - more
    basis = tuple(figure for figure in offer.basis if figure.name != "saving")
    return (offer.model_copy(update={"needed": needed, "saving": saving, "basis": basis}),) if saving > 0 else ()


def _by_name(settings: Sequence[Setting]) -> dict[str, dict[str, Setting]]:
    names: dict[str, dict[str, Setting]] = {}
    for one in settings:
        names.setdefault(one.place.name, {})[one.place.field] = one
    return names


def _priced(part: Priced, settings: Mapping[str, Setting], currency: str) -> Priced:
    """A bought part or a tool at amounts that were set."""
    moved = {name: one for name, one in settings.items() if one.value != getattr(part, name)}
    if not moved:
        return part
    basis = [figure for figure in part.basis if figure.name not in moved]
    basis += [
        set_figure(name, one, worked_out=without_it(part.basis, name, getattr(part, name), currency), unit=currency)
        for name, one in moved.items()
    ]
    return part.model_copy(update={**{name: one.value for name, one in moved.items()}, "basis": tuple(basis)})
