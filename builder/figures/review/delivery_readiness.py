"""Readiness for delivery: what the shop's own list requires, what of it is recorded, what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from builder.figures.core.types import Caution, FigureSheet
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, title_of
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.traversal import models_in
from builder.record.wording import in_sentence


@dataclass(frozen=True)
class Required:
    """One thing that must be recorded before an engine is handed over.

    ``path`` is as in shop.yaml (`assembly.fits.piston_clearance`); ``message`` says that it is recorded, or what
    to write and in which file.
    """

    path: str
    title: str
    message: str


@dataclass(frozen=True)
class Readiness:
    """Whether an engine may be handed over, by the shop's own list; cautions do not prevent it."""

    present: tuple[Required, ...]
    missing: tuple[Required, ...]
    cautions: tuple[Caution, ...]

    @property
    def ready(self) -> bool:
        """Return whether nothing is missing."""
        return not self.missing


def readiness(build: Build, shop: Shop, sheet: FigureSheet) -> Readiness:
    """Return what of the shop's delivery_requires is recorded; a path that leads nowhere counts as missing."""
    present: list[Required] = []
    missing: list[Required] = []
    for path in shop.delivery_requires:
        name, *steps = path.split(".")
        title = _title(path)
        if title is None:
            missing.append(Required(path, path, "is nowhere in the record: look at delivery_requires in shop.yaml"))
            continue
        reason = _missing_reason(getattr(build, name, None), steps)
        if reason is None:
            present.append(Required(path, title, "recorded"))
        else:
            field = f"{name}.yaml" + (f": {'.'.join(steps)}" if steps else "")
            missing.append(Required(path, title, f"{reason}; write it in {field}"))
    return Readiness(tuple(present), tuple(missing), sheet.cautions)


def _missing_reason(value: Any, steps: list[str]) -> str | None:
    """Return what is missing at a path below a value, or None; in a list every entry must have it."""
    if value is None or value == () or value == {}:
        return "not recorded"
    if isinstance(value, Reading):
        return None if value.preferred else "a range is stated, but nothing was measured"
    if isinstance(value, tuple):
        lacking = [str(index + 1) for index, entry in enumerate(value) if _missing_reason(entry, steps)]
        return f"not recorded for {', '.join(lacking)} of {len(value)}" if lacking else None
    if steps:
        return _missing_reason(getattr(value, steps[0], None), steps[1:])
    if isinstance(value, RecordModel) and all(getattr(value, name) in (None, ()) for name in type(value).model_fields):
        return "not recorded"
    return None


def _title(path: str) -> str | None:
    """Return the title of a path (`Fits: piston clearance`) from the record's names; None if it leads nowhere."""
    name, *steps = path.split(".")
    model: type[RecordModel] | None = DOCUMENTS.get(name)
    if model is None:
        return None
    titles: list[str] = []
    for step in steps:
        if model is None or step not in model.model_fields:
            return None
        info = model.model_fields[step]
        titles.append(title_of(step, info))
        inner = models_in(info.annotation)
        model = inner[0] if inner else None
    if not titles:
        return name.replace("_", " ").capitalize()
    last = titles[-2:]
    return last[0] if len(last) == 1 else f"{last[0]}: {in_sentence(last[1])}"
