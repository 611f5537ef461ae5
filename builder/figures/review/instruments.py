"""The instruments that readings cite: those that shop.yaml does not list, and those overdue for calibration."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass

from builder.figures.core.instruments import instrument_of
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.dyno import ConditionInstruments
from builder.record.models.shop import Instrument, Shop
from builder.record.problem import Problem, did_you_mean
from builder.record.quantities.readings import Reading
from builder.record.traversal import field_values


@dataclass(frozen=True)
class Citation:
    """One place of the record that cites an instrument: the ID, and the path of the field that holds it."""

    id: str
    path: str


def citations(build: Build) -> Iterator[Citation]:
    """Yield every instrument that readings, the dyno session and the conditions of its pulls cite."""
    for name in DOCUMENTS:
        part = getattr(build, name)
        for item in field_values(part) if part is not None else ():
            if isinstance(item.value, Reading) and item.value.instrument is not None:
                yield Citation(item.value.instrument, ".".join(map(str, (name, *item.location, "with"))))
    card = build.work.bore_gauging if build.work else None
    if card is not None and card.instrument is not None:
        yield Citation(card.instrument, "work.bore_gauging.with")
    if build.dyno is None:
        return
    if build.dyno.instrument is not None:
        yield Citation(build.dyno.instrument, "dyno.with")
    blocks = [("dyno.conditions", build.dyno.conditions)]
    blocks += [(f"dyno.pulls.{index}.conditions", pull.conditions) for index, pull in enumerate(build.pulls)]
    for path, block in blocks:
        cited = block.instruments if block is not None else None
        for name in ConditionInstruments.model_fields if cited is not None else ():
            if (instrument := getattr(cited, name)) is not None:
                yield Citation(instrument, f"{path}.with.{name}")


def unknown_instruments(build: Build, shop: Shop) -> Iterator[Problem]:
    """Yield an error for each instrument that is cited and not in shop.yaml, with the nearest that is."""
    known = [instrument.id for instrument in shop.instruments]
    for cited in citations(build):
        if cited.id not in known:
            hint = did_you_mean(cited.id, known, "list it in shop.yaml, under instruments")
            message = f"with: shop.yaml has no instrument {cited.id[:60]!r}: {hint}"
            yield Problem(*build.where(cited.path), message)


def overdue_instruments(build: Build, shop: Shop) -> Iterator[tuple[Instrument, datetime.date, Citation]]:
    """Yield each instrument that was due before the day of the session, else before the build was finished, once."""
    day = (build.dyno.date if build.dyno else None) or build.build.finished
    if day is None or not shop.instruments:
        return
    seen: set[str] = set()
    for cited in citations(build):
        instrument = instrument_of(shop, cited.id)
        if instrument is None or instrument.due is None or instrument.id in seen:
            continue
        seen.add(instrument.id)
        if instrument.due < day:
            yield instrument, instrument.due, cited
