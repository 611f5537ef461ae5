"""Which values may be zero or below: most of what is measured on an engine may not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import ValidationError
from pydantic_core import InitErrorDetails

from builder.record.quantities.readings import Reading, reading_error
from builder.record.quantities.units import NUMBER, Quantity, Range
from builder.record.yaml_loader import Location

Sign = Literal["positive", "not negative", "any"]

SIGN_OF_DIMENSION: dict[str, Sign] = {"angle": "any", "temperature": "any", "fraction": "not negative"}
"""The sign that values of a dimension must have; all others are above zero."""


def require_sign(value: object, sign: Sign | None) -> None:
    """Raise a ValidationError with the location of every value that has an impossible sign.

    ``value`` is a Reading, a Quantity, a Range, a number, or a tuple of such; anything else passes. Without a sign
    the dimension of each value decides.
    """
    if sign == "any":
        return
    details = [
        InitErrorDetails(type=reading_error(message), loc=location, input=quantity.number)
        for location, quantity, required in _signed(value, sign)
        if (message := _message(quantity, required))
    ]
    if details:
        raise ValidationError.from_exception_data("sign", details)


def _signed(value: object, sign: Sign | None) -> Iterator[tuple[Location, Quantity, Sign]]:
    """Yield every quantity below a value with its location and the sign that it must have."""
    if isinstance(value, float):
        yield (), Quantity(value, f"{value:g}", "", NUMBER), sign or "positive"
    elif isinstance(value, Quantity):
        yield (), value, sign or SIGN_OF_DIMENSION.get(value.dimension, "positive")
    elif isinstance(value, Range):
        limits = sign or SIGN_OF_DIMENSION.get(value.minimum.dimension, "not negative")
        yield (), value.minimum, "not negative" if limits == "positive" else limits
    elif isinstance(value, Reading):
        yield from _signed_in_reading(value, sign or SIGN_OF_DIMENSION.get(value.dimension, "positive"))
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from (((index, *location), *rest) for location, *rest in _signed(item, sign))  # type: ignore[misc]


def _signed_in_reading(reading: Reading, sign: Sign) -> Iterator[tuple[Location, Quantity, Sign]]:
    several = bool(
        reading.measured or reading.allowed or reading.minimum or reading.maximum or reading.repeats or reading.returned
    )
    if reading.listed is not None:
        yield (("listed",) if several else ()), reading.listed, sign
    for key in ("measured", "repeats", "returned"):
        quantities = getattr(reading, key)
        for index, quantity in enumerate(quantities):
            yield ((key, index) if len(quantities) > 1 else (key,)), quantity, sign
    limit: Sign = "any" if sign == "any" else "not negative"
    ends = (reading.at_least, reading.at_most, reading.allowed.minimum if reading.allowed else None)
    for key, end in zip(("at_least", "at_most", "allowed"), ends, strict=True):
        if end is not None:
            yield (key,), end, limit
    if reading.resolution is not None:
        yield ("resolution",), reading.resolution, "positive"


def _message(quantity: Quantity, sign: Sign) -> str | None:
    """Return what is wrong with the sign of a quantity and what to write instead, or None."""
    if sign == "any" or quantity.si > 0 or (quantity.si == 0 and sign == "not negative"):
        return None
    above = "above zero" if sign == "positive" else "that is zero or more"
    if quantity.si < 0:
        meant = " ".join(filter(None, (quantity.number.removeprefix("-"), quantity.unit)))
        return f"{quantity.text} cannot be: write a value {above}; was {meant} meant?"
    return f"{quantity.text} cannot be: write a value {above}, or leave it out where it was not recorded"
