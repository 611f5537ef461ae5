"""Check the address, the paths and the sizes in shop.yaml."""

from __future__ import annotations

import re
from collections.abc import Iterator

from builder.record.models.build import DOCUMENTS
from builder.record.models.shop import MAX_REPEATABILITY, MIN_REPEATABILITY, TAG_HEIGHT, TAG_WIDTH, Shop
from builder.record.problem import Problem, did_you_mean
from builder.record.redaction import private_fields
from builder.record.traversal import field_paths
from builder.record.yaml_loader import Document

_ADDRESS = re.compile(
    r"https?://(?:\w[\w.-]*|\[[0-9a-f:.]+\])(?::[0-9]{1,5})?(?:/[A-Za-z0-9._~%+,=@-]*)*", re.IGNORECASE
)
"""http or https, a host, and if need be a port and folders."""


def check_shop(shop: Shop, document: Document) -> tuple[Shop, list[Problem]]:
    """Return the profile without an address that cannot be used, and its problems.

    These are the address, paths that are not in the record, each with the nearest that is, the tag's size, and the
    repeatability of the dyno, and the instruments.
    """
    checks: list[tuple[str, int | str, str]] = [
        *_address(shop),
        *_requirements(shop),
        *_handover(shop),
        *_tag(shop),
        *_repeatability(shop),
        *_instruments(shop),
    ]
    problems = [Problem(document.path, document.line((key, step)), f"{key}: {text}") for key, step, text in checks]
    if any(_address(shop)):
        shop = shop.model_copy(update={"site_address": None})
    return shop, sorted(problems)


def _address(shop: Shop) -> Iterator[tuple[str, str, str]]:
    address = shop.site_address
    if address is not None and not _ADDRESS.fullmatch(address):
        shown = ascii(address if len(address) <= 80 else f"{address[:80]}...")
        fix = (
            "write http:// or https://, the host and if need be a folder, e.g. https://archive.example/engines "
            "(in a folder's name letters of other alphabets, blanks and quotes as %20 and the like)"
        )
        yield "site_address", "", f"{shown} is no address for a site, so it is not used: {fix}"


def _requirements(shop: Shop) -> Iterator[tuple[str, int, str]]:
    paths = [f"{name}.{path}" for name, model in DOCUMENTS.items() for path in field_paths(model)]
    names = [*DOCUMENTS, *paths]
    for index, path in enumerate(shop.delivery_requires):
        if path not in names:
            yield "delivery_requires", index, _unknown_path(path, names)


def _handover(shop: Shop) -> Iterator[tuple[str, int, str]]:
    private = dict(private_fields(DOCUMENTS["build"]))
    private |= {
        f"{name}.{path}": who for name, model in DOCUMENTS.items() for path, who in private_fields(model).items()
    }
    customers = [path for path, who in private.items() if who == "customer"]
    for index, path in enumerate(shop.handover_holds):
        if private.get(path) == "shop":
            yield "handover_holds", index, f"{path!r} is for the shop alone and never in a handover: take it off"
        elif path not in customers:
            yield "handover_holds", index, _unknown_path(path, customers)


def _instruments(shop: Shop) -> Iterator[tuple[str, int, str]]:
    seen: set[str] = set()
    for index, instrument in enumerate(shop.instruments):
        if instrument.id in seen:
            yield "instruments", index, f"two instruments have the ID {instrument.id!r}: give each its own"
        if instrument.due and instrument.calibrated_on and instrument.due <= instrument.calibrated_on:
            message = f"{instrument.id} is due on or before the day it was calibrated: check both days"
            yield "instruments", index, message
        seen.add(instrument.id)


def _tag(shop: Shop) -> Iterator[tuple[str, str, str]]:
    for name, length, (minimum, maximum) in (
        ("width", shop.tag.width, TAG_WIDTH),
        ("height", shop.tag.height, TAG_HEIGHT),
    ):
        if length is not None and not minimum <= round(length.si * 1000, 3) <= maximum:
            yield "tag", name, f"{name} {length.text} cannot be printed: write {minimum} to {maximum} mm"


def _repeatability(shop: Shop) -> Iterator[tuple[str, str, str]]:
    if shop.repeatability is not None and not MIN_REPEATABILITY <= shop.repeatability.value.si <= MAX_REPEATABILITY:
        yield (
            "repeatability",
            "value",
            f"{shop.repeatability.value.text} is not how far repeat pulls scatter: write a standard deviation of "
            f"{MIN_REPEATABILITY:.2%} to {MAX_REPEATABILITY:.0%} of torque, as `millbook repeatability` prints it",
        )


def _unknown_path(path: str, names: list[str]) -> str:
    hint = did_you_mean(path, names, f"known are for instance {', '.join(names[:4])}", cutoff=0.5)
    return f"{path!r} is nowhere in the record: {hint}"
