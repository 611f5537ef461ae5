"""What was probably meant: a written value with one slip put right, such that both sides of a check agree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from builder.record.quantities.units import Quantity, factor

_OTHER_UNIT = {"in": "mm", "mm": "in"}


def without_slip(written: Quantity) -> Iterator[Quantity]:
    """Yield a value with two digits swapped, its decimal point moved, its unit or its sign changed."""
    number = written.number
    digits = [index for index, char in enumerate(number) if char.isdigit()]
    for one, other in pairwise(digits):
        if number[one] != number[other]:
            swapped = list(number)
            swapped[one], swapped[other] = swapped[other], swapped[one]
            yield _with_number(written, "".join(swapped))
    decimals = len(number.partition(".")[2])
    for scale, more in ((0.1, 1), (10.0, -1)):
        yield _with_number(written, f"{float(number) * scale:.{max(0, decimals + more)}f}")
    if written.unit in _OTHER_UNIT:
        unit = _OTHER_UNIT[written.unit]
        yield replace(written, unit=unit, si=float(number) * factor(unit, written.dimension)[0])
    yield _with_number(written, number[1:] if number.startswith("-") else f"-{number}")


def _with_number(written: Quantity, number: str) -> Quantity:
    scale, offset = factor(written.unit, written.dimension) if written.unit else (1.0, 0.0)
    return replace(written, number=number, si=float(number) * scale + offset, fraction="")
