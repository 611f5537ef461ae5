"""work.yaml: machine work and preparation, with readings before and after."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator

from builder.record.models.fields import (
    Angle,
    AnyReading,
    Count,
    Day,
    Hours,
    Length,
    Line,
    Number,
    OneLength,
    Prose,
    RecordModel,
    field,
)
from builder.record.quantities.units import UnitProblem, check_unit


class Operation(RecordModel):
    """One operation."""

    what: Line = field("operation", "bored and honed with a torque plate", required=True)
    on: Line | None = field("part", "block")
    who: Line | None = field("initials", "RT")
    when: Day | None = field("day", "2024-03-02")
    hours: Hours | None = field(
        "hours worked on it, for quoting the next job",
        "2.5 h",
        private="shop",
        plausible_range=("1 min", "400 h"),
        units=("h", "min"),
    )
    before: AnyReading | None = field("reading before", "9.012 in", sign="any")
    after: AnyReading | None = field("reading after", "9.003 in", sign="any")
    note: Prose | None = field("remarks", "plate torqued to 65 lbf.ft")
    private_note: Prose | None = field("private note", "charged two hours", private="shop")


class BoreDepth(RecordModel):
    """One bore at one depth: across and along the crank."""

    across: Number = field("across the crank, the thrust axis", "4.0305", required=True)
    along: Number = field("along the crank, the pin axis", "4.0304", required=True)


class BoreCylinder(RecordModel):
    """One bore at every depth gauged."""

    cylinder: Count = field("cylinder", "1", required=True)
    depths: tuple[BoreDepth, ...] = field(
        "top to bottom",
        "[{across: 4.0305, along: 4.0304}, {across: 4.0304, along: 4.0304}, {across: 4.0305, along: 4.0303}]",
        required=True,
    )


def _unit_of_length(unit: str) -> str:
    try:
        check_unit(unit, "length")
    except UnitProblem as problem:
        raise ValueError(str(problem)) from None
    return unit


class BoreGauging(RecordModel):
    """The bore gauge card."""

    # `with` is what the shop writes, and a keyword of Python, so that it cannot be written as an attribute.
    __annotations__["with"] = Line | None
    locals()["with"] = field("ID of the bore gauge, in the instruments of shop.yaml", "G1", title="Gauged with")

    unit: Annotated[Line, AfterValidator(_unit_of_length)] = field(
        "unit of every reading on this card", "in", required=True
    )
    resolution: OneLength | None = field("gauge resolution", "0.0001 in", plausible_range=("0.0001 mm", "0.05 mm"))
    depths: tuple[Line, ...] = field("names of the depths, top to bottom", "[top, middle, bottom]", default=())
    when: Line | None = field("before or after which operation", "after honing")
    taper_at_most: OneLength | None = field(
        "largest taper allowed", "0.0005 in", plausible_range=("0.002 mm", "0.1 mm"), sign="not negative"
    )
    out_of_round_at_most: OneLength | None = field(
        "largest out-of-round allowed", "0.0005 in", plausible_range=("0.002 mm", "0.1 mm"), sign="not negative"
    )
    cylinders: tuple[BoreCylinder, ...] = field("readings of each bore", "", default=())
    by: Line | None = field("measured by", "RT")

    @property
    def instrument(self) -> str | None:
        """Return the ID of the bore gauge; None where not recorded."""
        cited: str | None = getattr(self, "with")
        return cited


_ROUGHNESS: Any = {"units": ("uin", "um"), "measured": True, "plausible_range": ("0.01 um", "25 um")}


class FaceFinish(RecordModel):
    """Surface finish of a sealing face."""

    ra: Length | None = field("Ra, mean roughness (ISO 21920-2)", "32 uin", title="Ra", **_ROUGHNESS)
    rz: Length | None = field("Rz, mean peak-to-valley height", "180 uin", title="Rz", **_ROUGHNESS)
    by: Line | None = field("how and by whom", "fly cut, read by RT")


class BoreFinish(RecordModel):
    """Surface finish of the bores."""

    ra: Length | None = field(
        "Ra, mean roughness (ISO 21920-2)", "{unit: uin, measured: [14, 15, 14, 14]}", axis="cylinder", title="Ra",
        **_ROUGHNESS,
    )  # fmt: skip
    rz: Length | None = field(
        "Rz, mean peak-to-valley height", "{unit: uin, measured: [105, 110, 105, 105]}", axis="cylinder", title="Rz",
        **_ROUGHNESS,
    )  # fmt: skip
    rpk: Length | None = field(
        "Rpk, height of the peaks above the core", "{unit: uin, measured: [9, 10, 9, 9]}", axis="cylinder",
        title="Rpk", **_ROUGHNESS,
    )  # fmt: skip
    rk: Length | None = field(
        "Rk, depth of the core", "{unit: uin, measured: [28, 30, 29, 28]}", axis="cylinder", title="Rk", **_ROUGHNESS
    )
    rvk: Length | None = field(
        "Rvk, depth of the valleys below the core", "{unit: uin, measured: [46, 48, 45, 46]}", axis="cylinder",
        title="Rvk", **_ROUGHNESS,
    )  # fmt: skip
    crosshatch: Angle | None = field(
        "angle between the two sets of honing lines: twice their angle to the deck", "45 deg", axis="cylinder",
        plausible_range=("5 deg", "90 deg"), sign="positive", measured=True, also=("crosshatch_angle",),
    )  # fmt: skip
    stones: Line | None = field("last stones and strokes", "400 grit, then 8 strokes of a plateau brush")
    by: Line | None = field("how and by whom", "profilometer, RT")


class SurfaceFinish(RecordModel):
    """Surface finish as machined."""

    bores: BoreFinish | None = field("bores", "")
    decks: FaceFinish | None = field("decks of the block", "", also=("deck",))
    heads: FaceFinish | None = field("faces of the heads", "", also=("head",))


class Work(RecordModel):
    """work.yaml: machining."""

    operations: tuple[Operation, ...] = field("machining operations, in order", "", default=())
    bore_gauging: BoreGauging | None = field("bore gauging", "", depends_on={"bottom_end.block.bores": None})
    returned_bore_gauging: BoreGauging | None = field(
        "bore gauging as the engine came back, before any work", "", rare=True
    )
    surface_finish: SurfaceFinish | None = field(
        "surface finish of bores and sealing faces", "", rare=True, depends_on={"bottom_end.block.bores": None}
    )
