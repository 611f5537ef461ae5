"""The texts of the handover: the build's own, else the shop's, else the usual ones from the templates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from builder.publish.errors import PublishError
from builder.publish.pages import templating
from builder.record.models.build import Build
from builder.record.models.shop import Shop

TEXTS_FILE = "handover/procedures.yaml"
_FIRST_START_RPM = (2000, 2500)
_MACHINING_WORDS = (
    "bored", "boring", "honed", "hone", "honing", "sleeve", "liner", "plated", "nikasil", "overbore", "oversize",
)  # fmt: skip
_BLOCK_WORDS = ("block", "cylinder", "liner", "barrel", "sleeve")
_OTHER_BORE_WORDS = ("line ", "line-", "tunnel", "main", "cam", "lifter", "tappet", "head", "guide", "rod")
"""Other bores of a block, and other parts, that are bored and honed too."""
_REBORED = 0.2e-3  # [m]: a mean bore larger than standard by more than this was bored
_FLAT_TAPPETS = ("hydraulic flat tappet", "solid flat tappet")


@dataclass(frozen=True)
class ProcedureTexts:
    """The usual texts: steps by kind of engine, and cautions."""

    first_start: Mapping[str, tuple[str, ...]]
    break_in: Mapping[str, tuple[str, ...]]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Procedure:
    """Steps in order, the reason for these, and their source."""

    steps: tuple[str, ...]
    reason: str
    source: str


def read_texts(archive: Path | None) -> ProcedureTexts:
    """Return the usual texts, or those of the shop's own file. Raises PublishError where that cannot be used."""
    from builder.record.yaml_loader import read_yaml

    path = templating.find(TEXTS_FILE, archive)
    if path is None:
        raise PublishError(f"{templating.FOLDER}/{TEXTS_FILE} is missing: install Millbook again")
    document, problems = read_yaml(path, path)
    if document is None or not isinstance(document.value, dict):
        raise PublishError(str(problems[0]) if problems else f"{path}: holds no words")
    value: dict[str, Any] = document.value
    try:
        return ProcedureTexts(
            _lists(value["first_start"]), _lists(value["break_in"]), tuple(str(line) for line in value["cautions"])
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise PublishError(f"{path}: {error} is missing or no list: compare it with ours") from error


def _lists(value: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    return {str(name): tuple(str(line) for line in lines) for name, lines in value.items()}


def first_start(build: Build, shop: Shop, texts: ProcedureTexts) -> Procedure:
    """Return the first start: the build's own steps, the shop's, or the usual ones for its cam."""
    if build.delivery and build.delivery.first_start:
        return Procedure(build.delivery.first_start, "written for this engine", "delivery sheet of this engine")
    cam, reason = _cam_kind(build)
    before = texts.first_start.get("before", ())
    shop_steps = {"flat_tappet": shop.break_in.flat_tappet, "roller": shop.break_in.roller}.get(cam, ())
    if shop_steps:
        return Procedure((*before, *shop_steps), reason, "shop procedure")
    steps = tuple(_with_speeds(step, build) for step in (*before, *texts.first_start.get(cam, ())))
    return Procedure(steps, reason, "common practice")


def _cam_kind(build: Build) -> tuple[str, str]:
    """Return which steps of the first start apply, and why."""
    kind = build.get("cam.lifters.kind")
    if build.build.engine.cycle == "two-stroke" and kind in (None, "none"):
        return "two_stroke", "two-stroke, no cam"
    if kind is None:
        return "unknown", "cam follower type not recorded"
    if kind in _FLAT_TAPPETS:
        return "flat_tappet", str(kind)
    return "roller", str(kind)


def _with_speeds(step: str, build: Build) -> str:
    """Return the step with its engine speeds [rpm]: the usual ones, or 50 to 60 % of a low red line."""
    red_line = build.build.engine.red_line
    low, high = _FIRST_START_RPM
    if red_line is not None and red_line.si * 60 * 0.6 < high:
        low, high = (max(100, round(red_line.si * 60 * share / 50) * 50) for share in (0.5, 0.6))
    return step.replace("{low}", str(low)).replace("{high}", str(high))


def break_in(build: Build, shop: Shop, texts: ProcedureTexts) -> Procedure:
    """Return the break-in: the build's own steps, the shop's, or the usual ones for its bores."""
    if build.delivery and build.delivery.break_in:
        return Procedure(build.delivery.break_in, "written for this engine", "delivery sheet of this engine")
    machined, reason = bores_were_machined(build)
    bores = "used_bores" if machined is False else "fresh_bores"
    unknown = texts.break_in.get("unknown", ()) if machined is None else ()
    shop_steps = shop.break_in.used_bores if machined is False else shop.break_in.fresh_bores
    if shop_steps:
        return Procedure((*unknown, *shop_steps), reason, "shop procedure")
    return Procedure((*unknown, *texts.break_in.get(bores, ())), reason, "common practice")


def bores_were_machined(build: Build) -> tuple[bool | None, str]:
    """Return whether the bores are new, rebored or rehoned (None where the record does not say), and how that is known.

    The shop describes each operation in its own words, so these are searched for the trade's terms.
    """
    operations = build.work.operations if build.work else ()
    for operation in operations:
        what, part = operation.what.casefold(), (operation.on or "").casefold()
        of_block = any(word in (part or what) for word in _BLOCK_WORDS)
        of_other_bores = any(word in f"{what} {part}" for word in _OTHER_BORE_WORDS)
        if of_block and not of_other_bores and any(word in what for word in _MACHINING_WORDS):
            return True, f"bores machined: {operation.what}"
    standard, bores = build.get("bottom_end.block.standard_bore"), build.get("bottom_end.block.bores")
    if standard is not None and bores is not None and standard.preferred and bores.preferred:
        larger_by = float(bores.values.mean()) - float(standard.values.mean())
        if larger_by > _REBORED:
            return True, "bores larger than standard"
    if operations and build.build.status == "finished":
        return False, "bores not machined"
    return None, "machining of the bores not recorded"


def cautions(shop: Shop, texts: ProcedureTexts) -> tuple[str, ...]:
    """Return the shop's cautions, then the usual ones."""
    return (*shop.cautions, *texts.cautions)
