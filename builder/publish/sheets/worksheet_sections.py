"""The sections of the bench sheet, in the order of the work: which readings each holds, and what measures them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

from pydantic.fields import FieldInfo

from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of
from builder.record.schema_shape import shape_of

T = TypeVar("T")


@dataclass(frozen=True)
class Section:
    """One section: the paths of its readings, or of the models that have them, and the usual instrument."""

    slug: str
    title: str
    paths: tuple[str, ...]
    instrument: str
    is_optional: bool = False
    """Whether it is left out unless the record has some of it, or it is asked for by name."""


def _section(slug: str, title: str, instrument: str, *paths: str, is_optional: bool = False) -> Section:
    return Section(slug, title, paths, instrument, is_optional)


SECTIONS = (
    _section("bores", "Bores", "dial bore gauge", "bottom_end.block.bores",
             "bottom_end.block.standard_bore", "assembly.checks.liner_protrusion"),
    _section("block", "Block", "dial bore gauge", "bottom_end.block"),
    _section("crankshaft", "Crankshaft", "outside micrometer", "bottom_end.crankshaft"),
    _section("rods", "Rods", "outside micrometer", "bottom_end.rods"),
    _section("pistons", "Pistons", "outside micrometer", "bottom_end.pistons"),
    _section("balance", "Balance", "balancing machine", "bottom_end.balance.residual",
             "bottom_end.balance.imbalance"),
    _section("bearings", "Bearings and end play", "dial bore gauge", "bottom_end.bearings",
             "assembly.fits.main_oil_clearance", "assembly.fits.rod_oil_clearance", "assembly.fits.cam_oil_clearance",
             "assembly.fits.main_bearing_crush", "assembly.fits.rod_bearing_crush", "assembly.fits.crank_end_play",
             "assembly.fits.rod_side_clearance", "assembly.fits.cam_end_play", "assembly.checks.rotation_torque"),
    _section("rings", "Pistons and rings in their bores", "feeler gauge", "assembly.fits.piston_clearance",
             "assembly.fits.pin_clearance", "assembly.fits.top_ring_gap", "assembly.fits.second_ring_gap",
             "assembly.fits.ring_side_clearance", "assembly.fits"),
    _section("deck", "Deck", "dial indicator", "bottom_end.deck_clearance", "assembly.checks.bump_clearance"),
    _section("heads", "Heads and gasket", "burette", "top_end.heads", "top_end.gasket",
             "assembly.checks.intake_valve_recession", "assembly.checks.exhaust_valve_recession",
             "assembly.fits.intake_guide_clearance", "assembly.fits.exhaust_guide_clearance"),
    _section("flow-bench", "Flow bench", "flow bench", "top_end.heads.flow_bench", is_optional=True),
    _section("springs", "Valve springs", "spring tester", "top_end.springs", "assembly.checks.coil_bind",
             "assembly.checks.retainer_to_seal"),
    _section("ports", "Ports", "depth gauge", "ports"),
    _section("cam", "Cam, by the degree wheel", "degree wheel and dial indicator", "cam.degreeing"),
    _section("valve-train", "Valve train", "feeler gauge", "top_end.rockers", "top_end.pushrods", "cam.lifters",
             "assembly.checks.intake_piston_to_valve", "assembly.checks.exhaust_piston_to_valve",
             "assembly.checks.intake_lash", "assembly.checks.exhaust_lash"),
    _section("torques", "Torques", "torque wrench", "assembly.fasteners"),
    _section("induction", "Manifold and exhaust", "caliper", "top_end.induction.manifold.runner_length",
             "top_end.induction.manifold.runner_area", "top_end.exhaust.primary_diameter",
             "top_end.exhaust.primary_length", is_optional=True),
    _section("checks", "Final checks", "pressure gauge", "assembly.checks", "bottom_end.oil_system.pickup_clearance"),
    _section("settings", "Settings", "", "delivery.settings"),
)  # fmt: skip
"""A field belongs to the section with the longest path that leads to it."""
_SECTION_OF = {path: section.slug for section in SECTIONS for path in section.paths}

INSTRUMENTS = {
    "bottom_end.block.deck_height": "height gauge",
    "bottom_end.crankshaft.stroke": "dial indicator",
    "bottom_end.rods.length": "rod gauge",
    "bottom_end.rods.big_end_bores": "dial bore gauge",
    "bottom_end.pistons.compression_height": "height gauge",
    "bottom_end.pistons.dish": "burette",
    "bottom_end.pistons.dome": "burette",
    "bottom_end.pistons.top_land": "outside micrometer",
    "bottom_end.bearings": "ball micrometer",
    "bottom_end.oil_system.pickup_clearance": "caliper",
    "assembly.fits.main_bearing_crush": "feeler gauge",
    "assembly.fits.rod_bearing_crush": "feeler gauge",
    "assembly.fits.crank_end_play": "dial indicator",
    "assembly.fits.rod_side_clearance": "feeler gauge",
    "assembly.fits.cam_end_play": "dial indicator",
    "assembly.fits.pin_clearance": "small bore gauge",
    "assembly.fits.intake_guide_clearance": "small bore gauge",
    "assembly.fits.exhaust_guide_clearance": "small bore gauge",
    "assembly.checks.rotation_torque": "torque wrench",
    "assembly.checks.liner_protrusion": "dial indicator",
    "assembly.checks.intake_valve_recession": "depth gauge",
    "assembly.checks.exhaust_valve_recession": "depth gauge",
    "assembly.checks.bump_clearance": "soft wire, outside micrometer",
    "assembly.checks.leak_down": "leak-down tester",
    "assembly.checks.cranking_compression": "compression gauge",
    "assembly.checks.injector_opening_pressure": "injector tester",
    "assembly.checks.injection_timing": "degree wheel",
    "assembly.checks.smoke": "smoke meter",
    "assembly.checks.intake_piston_to_valve": "dial indicator, checking springs",
    "assembly.checks.exhaust_piston_to_valve": "dial indicator, checking springs",
    "assembly.checks.retainer_to_seal": "feeler gauge",
    "assembly.checks.coil_bind": "feeler gauge",
    "top_end.heads.intake_valve": "outside micrometer",
    "top_end.heads.exhaust_valve": "outside micrometer",
    "top_end.gasket": "caliper",
    "top_end.springs.installed_height": "height micrometer",
    "top_end.springs.exhaust_installed_height": "height micrometer",
    "top_end.springs.retainer_to_seal": "caliper",
    "top_end.springs.exhaust_retainer_to_seal": "caliper",
    "top_end.pushrods": "checking pushrod",
    "top_end.rockers": "dial indicator",
    "ports.crankcase_volume": "burette",
    "delivery.settings.idle_timing": "timing light",
    "delivery.settings.total_timing": "timing light",
    "delivery.settings.total_timing_by": "timing light",
    "delivery.settings.idle_speed": "tachometer",
    "delivery.settings.plug_gap": "feeler gauge",
    "delivery.settings.fuel_pressure": "pressure gauge",
    "delivery.settings.injection_timing": "degree wheel",
}
"""What measures a field, or those of a model, where that is not its section's instrument; the longest path counts."""
_BY_DIMENSION = {"mass": "scale"}

AXES = {
    "bottom_end.block.deck_height": "corner",
    "bottom_end.block.main_bores": "main",
    "bottom_end.block.cam_bores": "cam bearing",
    "bottom_end.crankshaft.main_journals": "main",
    "bottom_end.crankshaft.rod_journals": "crankpin",
    "top_end.springs.installed_height": "intake valve",
    "top_end.springs.exhaust_installed_height": "exhaust valve",
    "top_end.springs.seat_load": "intake valve",
    "top_end.springs.retainer_to_seal": "intake valve",
    "top_end.springs.exhaust_retainer_to_seal": "exhaust valve",
}
"""What the readings of a field are taken at, where its model does not say."""

_NOT_MEASURED = frozenset(
    {
        "bottom_end.block.oversize", "bottom_end.rods.bolts", "bottom_end.pistons.pin_offset",
        "cam.installed", "cam.lifters.adjuster_thread", "top_end.pushrods.ordered_length",
        "top_end.pushrods.exhaust_ordered_length", "top_end.pushrods.preload", "top_end.springs.rate",
        "top_end.springs.active_coils", "top_end.springs.total_coils", "top_end.heads.intake_valve.per_cylinder",
        "top_end.heads.exhaust_valve.per_cylinder", "ports.premix",
    }
)  # fmt: skip
"""What is chosen, ordered, counted or calculated: the sheet has no boxes for it."""


_WITH_VALVES = (
    "cam", "top_end.springs", "top_end.rockers", "top_end.heads.intake_valve", "top_end.heads.exhaust_valve",
    "top_end.heads.flow_bench", "bottom_end.block.cam_bores", "assembly.fits.intake_guide_clearance",
    "assembly.fits.exhaust_guide_clearance", "assembly.fits.cam_oil_clearance", "assembly.fits.cam_end_play",
    "assembly.checks.intake_piston_to_valve", "assembly.checks.exhaust_piston_to_valve",
    "assembly.checks.intake_lash", "assembly.checks.exhaust_lash", "assembly.checks.coil_bind",
    "assembly.checks.retainer_to_seal", "assembly.checks.priming_oil_pressure",
)  # fmt: skip
_WITH_COMPRESSION_IGNITION = (
    "assembly.checks.intake_valve_recession", "assembly.checks.exhaust_valve_recession",
    "assembly.checks.bump_clearance", "assembly.checks.injector_opening_pressure", "assembly.checks.injection_timing",
    "assembly.checks.smoke", "delivery.settings.injection_timing",
)  # fmt: skip
_WITH_SPARK = (
    "delivery.settings.idle_timing", "delivery.settings.total_timing", "delivery.settings.total_timing_by",
    "delivery.settings.plug_gap",
)  # fmt: skip
APPLIES: dict[str, Callable[[Build], bool]] = {
    "ports": lambda build: build.is_timed_by_ports,
    **dict.fromkeys(_WITH_VALVES, lambda build: build.has_valves),
    **dict.fromkeys(_WITH_COMPRESSION_IGNITION, lambda build: build.build.engine.ignition == "compression"),
    **dict.fromkeys(_WITH_SPARK, lambda build: build.build.engine.ignition == "spark"),
}
"""Which engines have a field, or the fields of a model; others that not every engine has are shown once recorded."""


@dataclass(frozen=True)
class MeasuredField:
    """A field that the bench sheet has boxes for; a path without positions in lists."""

    path: str
    info: FieldInfo
    dimension: str | None
    is_reading: bool

    @property
    def axis(self) -> str | None:
        """What its readings are taken at; None for a single value."""
        return AXES.get(self.path) or notes_of(self.info).axis

    @property
    def section(self) -> str | None:
        """The section that it belongs to; None for a field that is not measured at the bench."""
        return section_of(self.path)

    def instrument(self, default: str) -> str:
        """Return what it is measured with."""
        return _longest(INSTRUMENTS, self.path) or _BY_DIMENSION.get(self.dimension or "", default)

    def applies(self, build: Build) -> bool:
        """Return whether the engine has it."""
        applies = _longest(APPLIES, self.path)
        if applies is not None and not applies(build):
            return False
        return self.path in APPLIES or not self._is_rare(build)

    def _is_rare(self, build: Build) -> bool:
        """Return whether only some engines have it, or the model that it is in, and nothing says that this one does."""
        return any(
            (notes.only_where or notes.rare) and build.get(path) is None
            for path, info in _fields_around(self.path)
            for notes in (notes_of(info),)
        )


def section_of(path: str) -> str | None:
    """Return the section that a path belongs to; None where it is in none."""
    return _longest(_SECTION_OF, path)


def _longest(values: dict[str, T], path: str) -> T | None:
    """Return the value of the longest path that is the path or leads to it."""
    leading = [key for key in values if path == key or path.startswith(f"{key}.")]
    return values[max(leading, key=len)] if leading else None


@cache
def _fields_around(path: str) -> tuple[tuple[str, FieldInfo], ...]:
    document, *steps = path.split(".")
    model: type[RecordModel] | None = DOCUMENTS[document]
    around = []
    for index, step in enumerate(steps):
        assert model is not None
        info = model.model_fields[step]
        around.append((".".join((document, *steps[: index + 1])), info))
        model = shape_of(info).model
    return tuple(around)


@cache
def measured_fields() -> tuple[MeasuredField, ...]:
    """Return every field that the bench sheet may have boxes for, in the order of the record."""
    documents = ("bottom_end", "top_end", "cam", "ports", "assembly", "delivery")
    return tuple(field for name in documents for field in _fields(DOCUMENTS[name], name))


def _fields(model: type[RecordModel], prefix: str) -> Iterator[MeasuredField]:
    for name, info in model.model_fields.items():
        path, shape = f"{prefix}.{name}", shape_of(info)
        if path in _NOT_MEASURED:
            continue
        if shape.kind == "section":
            assert shape.model is not None
            yield from _fields(shape.model, path)
        elif shape.kind in ("reading", "quantity", "number"):
            yield MeasuredField(path, info, shape.dimension, shape.kind == "reading")
