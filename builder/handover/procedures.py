"""The words of the handover: the usual ones from the templates, the shop's own, and the build's own over both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from builder.publish.errors import PublishError
from builder.publish.pages import templating
from builder.record.models.build import Build
from builder.record.models.shop import Shop

FILE = "handover/procedures.yaml"
_KEPT_LOW, _KEPT_HIGH = 2000, 2500
_FRESH = ("bored", "boring", "honed", "hone", "honing", "sleeve", "liner", "plated", "nikasil", "overbore", "oversize")
_BLOCK = ("block", "cylinder", "liner", "barrel", "sleeve")
_ELSEWHERE = ("line ", "line-", "tunnel", "main", "cam", "lifter", "tappet", "head", "guide", "rod")
"""Other holes in a block, and other things, that are bored and honed too."""


@dataclass(frozen=True)
class ProcedureTexts:
    """What the templates say: steps by kind, cautions, and what each standard means."""

    first_start: Mapping[str, tuple[str, ...]]
    running_in: Mapping[str, tuple[str, ...]]
    cautions: tuple[str, ...]
    meaning: Mapping[str, str]
    compare: str


@dataclass(frozen=True)
class Procedure:
    """Steps in order, why these, and whose words they are."""

    steps: tuple[str, ...]
    why: str
    whose: str


def read_words(archive: Path | None) -> ProcedureTexts:
    """The words in force. Raises PublishError where a shop's own file cannot be used."""
    from builder.record.yaml_loader import read_yaml

    path = templating.find(FILE, archive)
    if path is None:
        raise PublishError(f"{templating.FOLDER}/{FILE} is missing: install Millbook again")
    document, problems = read_yaml(path, path)
    if document is None or not isinstance(document.value, dict):
        raise PublishError(str(problems[0]) if problems else f"{path}: holds no words")
    value: dict[str, Any] = document.value
    try:
        return ProcedureTexts(
            _lists(value["first_start"]),
            _lists(value["running_in"]),
            tuple(str(line) for line in value["cautions"]),
            {str(name): str(text) for name, text in value["meaning"].items()},
            str(value["compare"]),
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise PublishError(f"{path}: {error} is missing or no list: compare it with ours") from error


def _lists(given: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    return {str(name): tuple(str(line) for line in lines) for name, lines in given.items()}


def first_start(build: Build, shop: Shop, words: ProcedureTexts) -> Procedure:
    """How to start it for the first time: the build's own steps, the shop's, or the usual ones for its cam."""
    if build.delivery and build.delivery.first_start:
        return Procedure(build.delivery.first_start, "written for this engine", "this engine's delivery sheet")
    kind, why = _cam_kind(build)
    own = {"flat_tappet": shop.running_in.flat_tappet, "roller": shop.running_in.roller}.get(kind, ())
    if own:
        return Procedure((*words.first_start.get("before", ()), *own), why, "the shop's own steps")
    return Procedure(
        tuple(
            _with_speeds(step, build) for name in ("before", kind) for step in words.first_start.get(name, ())
        ), why, "common practice",
    )  # fmt: skip


def _cam_kind(build: Build) -> tuple[str, str]:
    kind = build.get("cam.lifters.kind")
    if build.build.engine.cycle == "two-stroke" and kind in (None, "none"):
        return "two_stroke", "a two-stroke without cam"
    if kind is None:
        return "unknown", "the record does not say what runs on the cam"
    if kind.startswith("flat"):
        return "flat_tappet", f"the followers slide on the cam: {kind}"
    return "roller", f"followers: {kind}"


def _with_speeds(step: str, build: Build) -> str:
    """The step with its engine speeds: the usual ones, unless the red line is too near."""
    red_line = build.build.engine.red_line
    low, high = _KEPT_LOW, _KEPT_HIGH
    if red_line is not None and red_line.si * 60 * 0.6 < _KEPT_HIGH:
        high = max(100, round(red_line.si * 60 * 0.6 / 50) * 50)
        low = max(100, round(red_line.si * 60 * 0.5 / 50) * 50)
    return step.replace("{low}", str(low)).replace("{high}", str(high))


def running_in(build: Build, shop: Shop, words: ProcedureTexts) -> Procedure:
    """How to run it in: the build's own steps, the shop's, or the usual ones for its bores."""
    if build.delivery and build.delivery.running_in:
        return Procedure(build.delivery.running_in, "written for this engine", "this engine's delivery sheet")
    fresh, why = bores_were_machined(build)
    kind = "used_bores" if fresh is False else "fresh_bores"
    unknown = words.running_in.get("unknown", ()) if fresh is None else ()
    own = shop.running_in.used_bores if fresh is False else shop.running_in.fresh_bores
    if own:
        return Procedure((*unknown, *own), why, "the shop's own steps")
    return Procedure((*unknown, *words.running_in.get(kind, ())), why, "common practice")


def bores_were_machined(build: Build) -> tuple[bool | None, str]:
    """Whether the bores are new, rebored or rehoned; None where the record does not say."""
    operations = build.work.operations if build.work else ()
    for operation in operations:
        said, on = operation.what.casefold(), (operation.on or "").casefold()
        where = on or said
        about_bores = any(word in where for word in _BLOCK) and not any(word in f"{said} {on}" for word in _ELSEWHERE)
        if about_bores and any(word in said for word in _FRESH):
            return True, f"the bores are fresh: {operation.what}"
    standard, bores = build.get("bottom_end.block.standard_bore"), build.get("bottom_end.block.bores")
    if standard is not None and bores is not None and standard.preferred and bores.preferred:
        larger = float(bores.values.mean()) - float(standard.values.mean())
        if larger > 0.2e-3:
            return True, "the bores are larger than standard, so they were bored"
    if operations and build.build.status == "finished":
        return False, "the record of the work shows nothing done to the bores"
    return None, "the record does not say what was done to the bores"


def cautions(shop: Shop, words: ProcedureTexts) -> tuple[str, ...]:
    """The shop's cautions, then the usual ones."""
    return (*shop.cautions, *words.cautions)


def warranty(build: Build, shop: Shop) -> str | None:
    """The build's own text, or the shop's."""
    return (build.delivery.warranty if build.delivery else None) or shop.warranty
