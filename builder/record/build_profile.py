"""The shop's profile as it holds for one build: a build may be shown in other units and in another standard."""

from __future__ import annotations

from builder.record.models.build import Build
from builder.record.models.shop import Shop


def profile_of(build: Build, shop: Shop) -> Shop:
    """Return the shop's profile with the units of the build, and the standard of its session or of the build.

    What neither says stays as the shop has it; applied twice it gives the same.
    """
    correction = (build.dyno.correction if build.dyno else None) or build.build.correction
    changes = {"units": build.build.units, "correction": correction}
    given = {name: value for name, value in changes.items() if value is not None}
    return shop.model_copy(update=given) if given else shop
