"""Tables of what was gauged in its own form: the cam by the degree wheel, and the bores."""

from __future__ import annotations

from builder.figures.definitions.cam_readings import wheel_centerline
from builder.publish.pages.build.record_tables import Cell, Table, cell
from builder.publish.pages.formatting import sentence
from builder.record.models.build import Build
from builder.record.models.cam import Degreeing, EqualLift
from builder.record.models.work import BoreGauging
from builder.record.quantities.units import Quantity


def degreeing_tables(build: Build) -> tuple[Table, ...]:
    """Return the centerlines by the degree wheel, from both readings at equal lift, and the valve events."""
    degreeing: Degreeing | None = build.get("cam.degreeing")
    if degreeing is None:
        return ()
    tables = (_centerlines(build, degreeing), _events(degreeing))
    return tuple(table.without_empty_columns() for table in tables if table.rows)


def _centerlines(build: Build, degreeing: Degreeing) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for side, reference, readings in (
        ("Intake", "after TDC", degreeing.intake),
        ("Exhaust", "before TDC", degreeing.exhaust),
    ):
        card = build.get(f"cam.card.{side.lower()}.centerline")
        rows += (_centerline(side, reference, reading, card) for reading in readings)
    head = ("Lobe", "At lobe lift", "Opening side", "Closing side", "Measured centerline", "Card", "vs card")
    return Table("Equal-lift readings", head, tuple(rows))


def _centerline(side: str, reference: str, reading: EqualLift, card: Quantity | None) -> tuple[Cell, ...]:
    row = (Cell(side), cell(reading.lift), cell(reading.opening, False), cell(reading.closing, False))
    try:
        centerline = wheel_centerline(reading, side.lower())
    except ValueError:  # both readings are the same: there is no middle between them
        return (*row, *[Cell("")] * 3)
    difference = "" if card is None else _degrees(centerline - card.si, "+").replace("-", "−")
    return (
        *row,
        Cell(_degrees(centerline), reference, number=True),
        cell(card, False) if card is not None else Cell(""),
        Cell("±0°" if difference in ("+0°", "−0°") else difference, number=True),
    )


def _degrees(angle: float, sign: str = "") -> str:
    return f"{angle:{sign}.2f}".rstrip("0").rstrip(".") + "°"


def _events(degreeing: Degreeing) -> Table:
    names = ("intake_opens", "intake_closes", "exhaust_opens", "exhaust_closes")
    head = ("At lift", "Intake opens, before TDC", "Intake closes, after BDC", "Exhaust opens, before BDC",
            "Exhaust closes, after TDC")  # fmt: skip
    rows = []
    for events in degreeing.events:
        values = (getattr(events, name) for name in names)
        rows.append((Cell(events.at), *(Cell("") if value is None else cell(value, False) for value in values)))
    return Table("Valve events, degree wheel", head, tuple(rows))


def degreeing_remarks(build: Build) -> str:
    """Return who degreed the cam, and their note; may be empty."""
    degreeing: Degreeing | None = build.get("cam.degreeing")
    if degreeing is None:
        return ""
    by = f"By {degreeing.by}." if degreeing.by else ""
    note = sentence(degreeing.note, "") + "." if degreeing.note else ""
    return " ".join(filter(None, (by, note)))


def bore_tables(build: Build) -> dict[str, Table]:
    """Return the bore gauge cards as tables, by the path of each in the record."""
    cards = {path: build.get(path) for path in ("work.returned_bore_gauging", "work.bore_gauging")}
    return {path: table for path, card in cards.items() if (table := _bore_table(card)) is not None}


def _bore_table(gauging: BoreGauging | None) -> Table | None:
    """Return every bore at every depth, across and along the crank, with the decimals of the finest reading."""
    if gauging is None or not gauging.cylinders:
        return None
    readings = [
        (bore.cylinder, [value for depth in bore.depths for value in (depth.across, depth.along)])
        for bore in gauging.cylinders
    ]
    decimals = max(len(f"{value:.12g}".partition(".")[2]) for _, values in readings for value in values)
    depth_count = max(len(bore.depths) for bore in gauging.cylinders)
    names = gauging.depths
    if len(names) != depth_count:
        names = tuple(f"depth {number}" for number in range(1, depth_count + 1))
    head = ("Cylinder", *(f"{name}, {axis}" for name in names for axis in ("across", "along")))
    rows = []
    for cylinder, values in readings:
        texts = [f"{value:.{decimals}f}" for value in values] + [""] * (2 * depth_count - len(values))
        rows.append((Cell(str(cylinder)), *(Cell(text, number=True) for text in texts)))
    return Table(f"Bore gauging, across and along the crank, {gauging.unit}", head, tuple(rows))
