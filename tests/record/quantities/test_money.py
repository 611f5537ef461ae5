"""Prices as shops write them."""

from __future__ import annotations

import pytest

from builder.record.quantities.money import Price, read_price


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("260", Price(260.0)),
        ("£1,250.50", Price(1250.5, "£")),
        ("1.250,50 €", Price(1250.5, "€")),
        ("eur 12", Price(12.0, "EUR")),
        ("1 250", Price(1250.0)),
        ("1,250", Price(1250.0)),
        ("$3,000,000", Price(3e6, "$")),
    ],
)
def test_prices_are_read(text: str, price: Price) -> None:
    assert read_price(text) == price
    assert read_price(str(price)) == price


@pytest.mark.parametrize("text", ["", "4800 incl. VAT", "12 + 3", "10 x 20", "about 200", "260-300", "1.2345"])
def test_what_is_no_single_amount_is_not_read(text: str) -> None:
    assert read_price(text) is None
