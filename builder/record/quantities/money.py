"""Read prices as a shop writes them: `260`, `£1,250.50`, `260 EUR`."""

from __future__ import annotations

import re
from dataclasses import dataclass

_AMOUNT = re.compile(
    r"(?P<before>[^\d\s.,+-]{0,4})\s*"
    r"(?P<whole>\d{1,3}(?:(?P<mark>[ ,.'\u00a0\u202f])\d{3})(?:(?P=mark)\d{3})*|\d+)"
    r"(?:[.,](?P<cents>\d{1,2}))?(?:[.,]?-{1,2})?"
    r"\s*(?P<after>[^\d\s.,+-]{0,4})"
)


@dataclass(frozen=True, slots=True)
class Price:
    """An amount of money; ``currency`` is the sign or the letters that were written with it, perhaps none."""

    amount: float
    currency: str = ""

    def __str__(self) -> str:
        """Return the amount with commas, its cents where it has any, and its currency."""
        number = f"{self.amount:,.0f}" if self.amount == round(self.amount) else f"{self.amount:,.2f}"
        if not self.currency:
            return number
        return f"{number} {self.currency}" if self.currency.isalpha() else f"{self.currency}{number}"


def read_price(text: str) -> Price | None:
    """Return a price, or None where the text is not a single amount of money.

    A point or comma before three digits separates thousands, before one or two digits the cents.
    """
    match = _AMOUNT.fullmatch(text.strip())
    if match is None or (match["before"] and match["after"]):
        return None
    whole = re.sub(r"\D", "", match["whole"])
    return Price(float(f"{whole}.{match['cents'] or 0}"), (match["before"] or match["after"]).upper())
