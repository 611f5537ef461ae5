"""work.yaml: machine work and preparation, with readings before and after."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator

from builder.record.models.fields import (
    AnyReading,
    Count,
    Day,
    Hours,
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


class Work(RecordModel):
    """work.yaml: machining."""

    operations: tuple[Operation, ...] = field("machining operations, in order", "", default=())
    bore_gauging: BoreGauging | None = field(
        "bore gauging",
        "",
        depends_on={"bottom_end.block.bores": None},
    )
