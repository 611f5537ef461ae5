"""ports.yaml: the ports of a two-stroke, its crankcase, and how the fuel carries the oil."""

from __future__ import annotations

from typing import Annotated, Literal

from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    Angle,
    Count,
    Length,
    Line,
    OneAngle,
    OneLength,
    Ratio,
    RecordModel,
    Volume,
    field,
)

IntakeControl = Annotated[
    Literal["piston port", "reed valve", "rotary valve"],
    Synonyms(
        {
            "piston port": "piston ported, piston controlled",
            "reed valve": "reed, reeds, reed valves",
            "rotary valve": "disc valve, disk valve, rotary disc, rotary disk",
        }
    ),
]


class Port(RecordModel):
    """Ports of one kind in a cylinder."""

    count: Count = field("ports of this kind in one cylinder", "1", default=1)
    roof: Length | None = field(
        "top edge below the deck, at the bore",
        "{unit: mm, measured: [44.95, 44.90]}",
        axis="cylinder",
        plausible_range=("3 mm", "400 mm"),
    )
    opens: Angle | None = field(
        "by degree wheel, after TDC; where the roof was not measured",
        "{unit: deg, measured: [82, 82]}",
        axis="cylinder",
        plausible_range=("30 deg", "160 deg"),
    )
    floor: Length | None = field(
        "bottom edge below the deck; level with the piston at BDC unless given",
        "88.5 mm",
        axis="cylinder",
        plausible_range=("5 mm", "450 mm"),
    )
    width: OneLength | None = field("width of one, straight across", "37.0 mm", plausible_range=("2 mm", "300 mm"))
    at: OneAngle | None = field(
        "middle of the port, or of the first of a pair, around the bore; the exhaust port is at 0", "115 deg"
    )
    work: Line | None = field("work done", "roof raised 0.5 mm, edges broken")


class IntakePort(RecordModel):
    """How the crankcase is fed."""

    control: IntakeControl | None = field("what opens and closes it", "reed valve")
    count: Count = field("ports in one cylinder", "1", default=1)
    roof: Length | None = field(
        "top edge of a port below the deck", "62.0 mm", axis="cylinder", plausible_range=("3 mm", "400 mm")
    )
    floor: Length | None = field(
        "bottom edge of a port below the deck: the skirt uncovers it",
        "84.5 mm",
        axis="cylinder",
        plausible_range=("5 mm", "500 mm"),
    )
    width: OneLength | None = field("width of one, straight across", "32.0 mm", plausible_range=("2 mm", "300 mm"))
    opens: OneAngle | None = field("by degree wheel, before TDC", "80 deg")
    closes: OneAngle | None = field("by degree wheel, after TDC", "80 deg")
    reed: Line | None = field("petals, material, stop", "6 petals, 0.40 mm fiber, stop at 9 mm")
    note: Line | None = field("remarks", "cages sealed to the cases")


class Ports(RecordModel):
    """ports.yaml: the ports of a two-stroke."""

    exhaust: Port | None = field("exhaust ports", "")
    transfer: Port | None = field("main transfer ports", "")
    boost: Port | None = field("boost ports, opposite the exhaust", "")
    intake: IntakePort | None = field("crankcase intake", "")
    skirt_length: Length | None = field(
        "piston: edge of the crown to the bottom of the skirt, on the intake side",
        "52.0 mm",
        axis="cylinder",
        plausible_range=("10 mm", "400 mm"),
    )
    crankcase_volume: Volume | None = field(
        "of one cylinder, piston at BDC, transfer ducts included",
        "1050 cc",
        axis="cylinder",
        plausible_range=("10 cc", "20000 cc"),
    )
    premix: Ratio | None = field("parts of fuel to one of oil", "25", plausible_range=("8", "120"))
    oil: Line | None = field("the oil in the fuel", "two-stroke racing oil")
