"""parts.yaml: every part as it was received, what was checked on it, and what came of it."""

from __future__ import annotations

from typing import Annotated, Literal

from builder.record.models.choices import Synonyms
from builder.record.models.fields import AnyReading, Count, Day, Line, Prose, RecordModel, field

PartSource = Annotated[
    Literal["new", "used", "customer's own", "swap meet", "reconditioned", "shop stock", "mixed lot"],
    Synonyms(
        {
            "new": "brand new",
            "used": "second-hand",
            "customer's own": "customer's, customer supplied, from the customer",
            "swap meet": "autojumble, flea market",
            "reconditioned": "rebuilt, remanufactured, reman, recon",
            "shop stock": "stock, in stock, own stock",
            "mixed lot": "job lot, lot",
        }
    ),
]
Verdict = Annotated[
    Literal["fits", "reworked", "returned", "scrapped", "not checked"],
    Synonyms(
        {
            "fits": "OK, good, accepted, fitted",
            "reworked": "machined to fit, corrected, modified",
            "returned": "sent back",
            "scrapped": "scrap",
            "not checked": "unchecked, not inspected",
        }
    ),
]


class PartCheck(RecordModel):
    """One thing checked on a part."""

    what: Line = field("dimension or feature inspected", "compression height", required=True)
    reading: AnyReading | None = field("catalog and measured", "{listed: 1.558 in, measured: 1.558 in}", sign="any")
    found: Line | None = field("finding, if not a number", "no cracks, magnetic particle")


class Part(RecordModel):
    """One part, or a set of the same part."""

    part: Line = field("part", "pistons", required=True)
    maker: Line | None = field("manufacturer", "Larkmoor")
    number: Line | None = field("part number", "LM 4030-F")
    serial: Line | None = field("serial number", "LM-77120", private="customer")
    quantity: Count | None = field("quantity", "8")
    source: PartSource | None = field("source", "used")
    supplier: Line | None = field("supplier", "Quayside Autojumble", private="shop")
    price: Line | None = field("price of the whole entry, all pieces together", "260", private="shop")
    ordered: Day | None = field("day it was ordered; until it is received, the build waits for it", "2024-01-29")
    expected: Day | None = field("day it is expected", "2024-02-10")
    received: Day | None = field("day it came in", "2024-02-12")
    checked: tuple[PartCheck, ...] = field("inspections", "", default=())
    verdict: Verdict | None = field("outcome", "fits")
    done: Line | None = field("action taken", "weighed and matched")
    note: Prose | None = field("remarks", "two crowns show a polishing mark")
    private_note: Prose | None = field("private note", "do not buy there again", private="shop")

    @property
    def never_checked(self) -> bool:
        """Whether nobody looked at it."""
        return not self.checked and self.verdict in (None, "not checked")

    @property
    def awaited(self) -> bool:
        """Whether it was ordered and there is no sign yet that it came."""
        return self.ordered is not None and not self.arrived

    @property
    def arrived(self) -> bool:
        """Whether it is there: received, inspected, or with an outcome."""
        return self.received is not None or bool(self.checked) or self.verdict not in (None, "not checked")


class Parts(RecordModel):
    """parts.yaml: parts received."""

    parts: tuple[Part, ...] = field("parts received", "", default=())
