"""Operating limits for the customer, each with its source."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core.display_units import convert_to_other_system, written_text
from builder.figures.review.guideline_defaults import mixture_guideline
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.units import Quantity
from builder.record.wording import capitalize

_SHOP_LIMIT = "shop limit"


@dataclass(frozen=True)
class LimitLine:
    """The limit of one quantity, with its source."""

    subject: str
    limit: str
    source: str


def limits_of(build: Build, shop: Shop) -> tuple[LimitLine, ...]:
    """Return the limits of the delivery sheet, then the shop's for what it leaves out: speed, oil, coolant, mixture."""
    recorded = build.delivery.limits if build.delivery else ()
    lines = [LimitLine(capitalize(item.what), item.limit, item.according_to or "delivery sheet") for item in recorded]
    subjects = " | ".join(item.what.casefold() for item in recorded)
    guidelines = shop.guidelines
    engine = build.build.engine
    if engine.red_line is not None and not any(word in subjects for word in ("speed", "red line", "rpm limit")):
        lines.insert(0, LimitLine("Engine speed", f"max. {written_text(engine.red_line)}", "red line"))
    oil_pressure = guidelines.least_oil_pressure_per_1000_rpm
    if oil_pressure is not None and "oil pressure" not in subjects:
        lines.append(LimitLine("Oil pressure, hot", f"min. {_both(oil_pressure)} per 1000 rpm", _SHOP_LIMIT))
    if guidelines.most_oil_temperature is not None and not ("oil" in subjects and "temperature" in subjects):
        lines.append(LimitLine("Oil temperature", f"max. {_both(guidelines.most_oil_temperature)}", _SHOP_LIMIT))
    coolant = guidelines.most_coolant_temperature
    if coolant is not None and engine.cooling in (None, "water") and "coolant" not in subjects:
        lines.append(LimitLine("Coolant", f"max. {_both(coolant)}", _SHOP_LIMIT))
    mixture = mixture_guideline(shop, engine.fuel.kind if engine.fuel else None)
    if mixture is not None and engine.ignition == "spark" and not any(w in subjects for w in ("lambda", "mixture")):
        richest, leanest = mixture
        if richest.set_by_shop and leanest.set_by_shop:
            lines.append(LimitLine("Lambda at full load", f"{richest.text} to {leanest.text}", _SHOP_LIMIT))
    return tuple(lines)


def _both(quantity: Quantity) -> str:
    converted = convert_to_other_system(quantity)
    return f"{written_text(quantity)} ({converted})" if converted else written_text(quantity)
