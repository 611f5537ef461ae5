"""The instruments of shop.yaml: what a reading that cites one is as uncertain as."""

from __future__ import annotations

from builder.record.models.shop import Instrument, Shop
from builder.record.quantities.units import Quantity, factor

CERTIFICATE_COVERAGE = 2.0
"""Coverage factor of the expanded uncertainty on a certificate. Source: JCGM 100, 6.3.3."""


def instrument_of(shop: Shop, name: str | None) -> Instrument | None:
    """Return the instrument with an ID; None for an unknown one or none."""
    return next((instrument for instrument in shop.instruments if instrument.id == name), None)


def difference_in(quantity: Quantity | None, dimension: str, value: float) -> float | None:
    """Return a step or an uncertainty [SI], as a share of the value where it is in percent; None where it cannot be."""
    if quantity is None or not quantity.unit:
        return None
    if quantity.dimension == dimension:
        return float(quantity.number) * factor(quantity.unit, dimension)[0]
    return quantity.si * abs(value) if quantity.dimension == "fraction" else None


def certificate_uncertainty(instrument: Instrument | None, dimension: str, value: float) -> float | None:
    """Return the standard uncertainty of a reading by its instrument's certificate [SI]; None where it gives none."""
    expanded = difference_in(instrument.expanded_uncertainty, dimension, value) if instrument else None
    return None if expanded is None else expanded / CERTIFICATE_COVERAGE


def repeatability(instrument: Instrument | None, dimension: str, value: float) -> float | None:
    """Return the standard uncertainty that a reading has of its own, after that of the setting [SI].

    What the shop recorded as repeatability; without it all that the certificate gives, which is the cautious side,
    since the part of it that is common to two readings would cancel in their difference. None where neither is given.
    Source: JCGM 100, 5.2.2 (correlated inputs).
    """
    own = difference_in(instrument.repeatability, dimension, value) if instrument else None
    return certificate_uncertainty(instrument, dimension, value) if own is None else own
