"""Which of the usual cautions stand next to the figures of a build's page."""

from __future__ import annotations

from collections.abc import Iterable

from builder.figures.core.types import Figure

_SUBJECTS = {
    "pressure_ratio": "boost",
    "boosted_air_demand": "boost",
    "corrected_compressor_flow": "boost",
    "boosted_effective_ratio": "boost",
    "injector_duty": "fuel",
    "injector_flow_at_pressure": "fuel",
    "injector_size_needed": "fuel",
    "fuel_pump_margin": "fuel",
    "rod_bolt_load": "rod bolts",
    "rod_bolt_margin": "rod bolts",
}
"""The subject of the caution that goes with a figure, by its slug."""


def safety_subjects(figures: Iterable[Figure]) -> tuple[str, ...]:
    """Return the subjects of the cautions that go with these figures, each once."""
    return tuple(dict.fromkeys(_SUBJECTS[figure.slug] for figure in figures if figure.slug in _SUBJECTS))
