"""Limits the customer must keep, each with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core.display_units import convert_to_other_system, written_text
from builder.figures.core.types import FigureSheet
from builder.figures.review.guideline_defaults import mixture_guideline
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.units import Quantity


@dataclass(frozen=True)
class LimitLine:
    """One limit."""

    what: str
    limit: str
    source: str


def limits_of(build: Build, sheet: FigureSheet, shop: Shop) -> tuple[LimitLine, ...]:
    """The limits of the delivery sheet, then what they leave open: red line, oil pressure, heat, mixture."""
    given = build.delivery.limits if build.delivery else ()
    found = [LimitLine(_capital(each.what), each.limit, each.according_to or "the delivery sheet") for each in given]
    named = " | ".join(each.what.casefold() for each in given)
    guidelines = shop.guidelines
    engine = build.build.engine
    if engine.red_line is not None and not any(word in named for word in ("speed", "red line", "rpm limit")):
        found.insert(
            0, LimitLine("Engine speed", f"not over {written_text(engine.red_line)}", "red line of this build")
        )
    per = guidelines.least_oil_pressure_per_1000_rpm
    if per is not None and "oil pressure" not in named:
        found.append(LimitLine("Oil pressure, hot", f"not under {_both(per)} for every 1000 rpm", "the shop's habit"))
    if guidelines.most_oil_temperature is not None and not ("oil" in named and "temperature" in named):
        found.append(
            LimitLine("Oil temperature", f"not over {_both(guidelines.most_oil_temperature)}", "the shop's habit")
        )
    coolant = guidelines.most_coolant_temperature
    if coolant is not None and engine.cooling in (None, "water") and "coolant" not in named:
        found.append(LimitLine("Coolant", f"not over {_both(coolant)}", "the shop's habit"))
    ends = mixture_guideline(shop, engine.fuel.kind if engine.fuel else None)
    own = ends is not None and all(end.set_by_shop for end in ends) and engine.ignition == "spark"
    if ends is not None and own and not any(w in named for w in ("lambda", "mixture")):
        found.append(LimitLine("Lambda at full load", f"{ends[0].text} to {ends[1].text}", "the shop's habit"))
    return tuple(found)


def _both(quantity: Quantity) -> str:
    other = convert_to_other_system(quantity)
    return f"{written_text(quantity)} ({other})" if other else written_text(quantity)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
