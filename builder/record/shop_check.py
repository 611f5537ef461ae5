"""Whether what shop.yaml names in the record is there to be named."""

from __future__ import annotations

import difflib
from collections.abc import Iterator

from builder.record.models.build import DOCUMENTS
from builder.record.models.shop import TAG_HEIGHT, TAG_WIDTH, Shop
from builder.record.problem import Problem
from builder.record.redaction import private_fields
from builder.record.traversal import fields_below
from builder.record.yaml_loader import Document


def check_shop(shop: Shop, document: Document) -> list[Problem]:
    """Problems with paths in shop.yaml that lead nowhere, with the nearest that lead somewhere; and with the tag."""
    found: list[tuple[str, int | str, str]] = [*_requirements(shop), *_handover(shop), *_tag(shop)]
    return sorted(Problem(document.path, document.line((key, step)), f"{key}: {says}") for key, step, says in found)


def _requirements(shop: Shop) -> Iterator[tuple[str, int, str]]:
    paths = [f"{name}.{path}" for name, model in DOCUMENTS.items() for path in fields_below(model)]
    known = [*DOCUMENTS, *paths]
    for index, path in enumerate(shop.delivery_requires):
        if path not in known:
            yield "delivery_requires", index, _nowhere(path, known)


def _handover(shop: Shop) -> Iterator[tuple[str, int, str]]:
    private = private_fields(DOCUMENTS["build"])
    customers = [path for path, who in private.items() if who == "customer"]
    for index, path in enumerate(shop.handover_holds):
        if private.get(path) == "shop":
            yield "handover_holds", index, f"{path!r} is for the shop alone and never in a handover: take it off"
        elif path not in customers:
            yield "handover_holds", index, _nowhere(path, customers)


def _tag(shop: Shop) -> Iterator[tuple[str, str, str]]:
    for name, length, (least, most) in (
        ("width", shop.tag.width, TAG_WIDTH),
        ("height", shop.tag.height, TAG_HEIGHT),
    ):
        if length is not None and not least <= round(length.si * 1000, 3) <= most:
            yield "tag", name, f"{name} {length.text} cannot be printed: write {least} to {most} mm"


def _nowhere(path: str, known: list[str]) -> str:
    near = difflib.get_close_matches(path, known, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]!r}?" if near else f"known are for instance {', '.join(known[:4])}"
    return f"{path!r} is nowhere in the record: {hint}"
