"""One build: everything the shop wrote down about one engine, typed, with the line of each value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from builder.record.dyno_log.reader import DynoLog
from builder.record.models.assembly import Assembly
from builder.record.models.bottom_end import BottomEnd
from builder.record.models.build_yaml import BuildSheet
from builder.record.models.cam import Camshaft
from builder.record.models.delivery import Delivery
from builder.record.models.dyno import Dyno, Pull
from builder.record.models.fields import RecordModel
from builder.record.models.parts import Parts
from builder.record.models.photos import Photos
from builder.record.models.plan import Plan
from builder.record.models.ports import Ports
from builder.record.models.returned import Returned
from builder.record.models.service import ServiceRecord
from builder.record.models.top_end import TopEnd
from builder.record.models.work import Work
from builder.record.quantities.readings import Accepted
from builder.record.yaml_loader import Document

DOCUMENTS: dict[str, type[RecordModel]] = {
    "build": BuildSheet,
    "plan": Plan,
    "returned": Returned,
    "parts": Parts,
    "work": Work,
    "bottom_end": BottomEnd,
    "top_end": TopEnd,
    "cam": Camshaft,
    "ports": Ports,
    "assembly": Assembly,
    "dyno": Dyno,
    "delivery": Delivery,
    "service": ServiceRecord,
    "photos": Photos,
}
"""The YAML files of a build, in the order of the work. Only build.yaml must be there."""

DOCUMENT_TITLES = {
    "build": "Engine",
    "returned": "As returned",
    "parts": "Parts received",
    "work": "Machining",
    "bottom_end": "Bottom end",
    "top_end": "Top end",
    "cam": "Cam",
    "ports": "Two-stroke ports",
    "assembly": "Assembly",
    "dyno": "Dyno session",
    "delivery": "Delivery",
    "service": "After delivery",
    "photos": "Photos",
}
"""The title of each file, where a page shows it."""


@dataclass(frozen=True)
class Build:
    """The record of one engine."""

    slug: str
    folder: Path
    build: BuildSheet
    plan: Plan | None = None
    returned: Returned | None = None
    parts: Parts | None = None
    work: Work | None = None
    bottom_end: BottomEnd | None = None
    top_end: TopEnd | None = None
    cam: Camshaft | None = None
    ports: Ports | None = None
    assembly: Assembly | None = None
    dyno: Dyno | None = None
    delivery: Delivery | None = None
    service: ServiceRecord | None = None
    photos: Photos | None = None
    logs: Mapping[str, DynoLog] = field(default_factory=dict)
    """The log of each pull, by the pull's name."""
    documents: Mapping[str, Document] = field(default_factory=dict)
    """The YAML documents by name, for the lines of what they hold."""
    taken_from: Mapping[str, str] = field(default_factory=dict)
    """The path that the value of a field was taken from, by the path of the field that was left empty."""

    @property
    def cylinders(self) -> int:
        """How many cylinders."""
        return self.build.engine.cylinders

    @property
    def revolutions_per_cycle(self) -> int:
        """Crank revolutions in one working cycle: 2 for a four-stroke, 1 for a two-stroke."""
        return 1 if self.build.engine.cycle == "two-stroke" else 2

    @property
    def is_timed_by_ports(self) -> bool:
        """Whether the pistons open and close its ports: a two-stroke without valves."""
        return self.build.engine.cycle == "two-stroke" and self.get("top_end.heads.exhaust_valve") is None

    @property
    def is_boosted(self) -> bool:
        """Whether it is turbocharged or supercharged."""
        return self.build.engine.induction in ("turbocharged", "supercharged")

    @property
    def has_valves(self) -> bool:
        """Whether a cam opens its valves."""
        return not self.is_timed_by_ports

    @property
    def pulls(self) -> tuple[Pull, ...]:
        """The pulls of the dyno session, in the order they were made."""
        return self.dyno.pulls if self.dyno else ()

    @property
    def accepted_cautions(self) -> Mapping[str, Accepted | None]:
        """The cautions that the shop accepted, by name, with the reason; None where that was removed as private."""
        return {
            item.caution: Accepted(item.why, item.by) if item.why else None
            for item in (self.delivery.accepted if self.delivery else ())
        }

    def get(self, path: str) -> Any:
        """Return what the record holds at a path such as `bottom_end.crankshaft.stroke`, or None."""
        value: Any = self
        for step in path.split("."):
            value = getattr(value, step, None)
            if value is None:
                return None
        return value

    def where(self, path: str) -> tuple[Path, int]:
        """Return the file and line of a path, or of the nearest value around it that was written.

        A value that was taken from another place has the line of that place.
        """
        for taken, source in self.taken_from.items():
            if path == taken or path.startswith(f"{taken}."):
                return self.where(source)
        name, *steps = path.split(".")
        document = self.documents.get(name)
        if document is None:
            return Path(self.folder.name) / f"{name}.yaml", 1
        return document.path, document.line(tuple(int(step) if step.isdigit() else step for step in steps))
