"""What every PDF of a build says at its top: the engine, its number, its date, the shop, the address of its page."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from builder.publish.pages.build.headline import kind_of_engine
from builder.publish.pages.formatting import format_date
from builder.record.models.build import Build
from builder.record.models.shop import Shop


@dataclass(frozen=True)
class Identity:
    """The engine and its shop as texts; what is empty was not recorded."""

    title: str
    number: str
    shop: str
    shop_lines: tuple[str, ...]
    engine_type: str
    engine: str
    """The shop's own number of the engine, and which build of it this is where that is known."""
    serial: str
    status: str
    """Empty for a finished build."""
    date: tuple[int, int, int] | None
    """Date of the document: year, month, day."""
    date_text: str
    invented: str
    page_url: str


def identity_of(build: Build, shop: Shop, place: int | None = None) -> Identity:
    """Return the identity of a build without its private fields; ``place`` says which build of its engine it is."""
    record, date = build.build, document_date(build)
    return Identity(
        title=record.title,
        number=record.number or build.slug,
        shop=shop.name,
        shop_lines=tuple(line for line in (shop.place, shop.contact) if line),
        engine_type=kind_of_engine(build),
        engine=engine_text(build, place),
        serial=record.engine_serial or "",
        status="" if record.status == "finished" else record.status,
        date=(date.year, date.month, date.day) if date else None,
        date_text=format_date(date) if date else "",
        invented=record.invented or "",
        page_url=page_url(build, shop),
    )


def engine_text(build: Build, place: int | None) -> str:
    """Return the shop's number of the engine with the place of this build among its builds; empty without a number."""
    number = build.build.engine_number
    if number is None:
        return ""
    return f"{number}, build {place}" if place else number


def document_date(build: Build) -> datetime.date | None:
    """Return the date of the document: delivered, else finished, else the latest step that the record dates."""
    dates = (
        build.delivery.delivered if build.delivery else None,
        build.build.finished,
        build.dyno.date if build.dyno else None,
        build.build.started,
    )
    return next((date for date in dates if date is not None), None)


def page_url(build: Build, shop: Shop) -> str:
    """Return the address of the build's page; empty without a site address or while the build is unfinished."""
    address = (shop.site_address or "").strip().rstrip("/")
    if build.build.status != "finished" or not address.startswith(("http://", "https://")) or " " in address:
        return ""
    return f"{address}/builds/{build.slug}/index.html"
