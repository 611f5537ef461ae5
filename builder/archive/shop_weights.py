"""The shop's profile, held also against what only the archive knows: the fields that likeness can weigh."""

from __future__ import annotations

from pathlib import Path

from builder.archive.fields import weights_from
from builder.record.load import read_shop
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.yaml_loader import read_yaml


def shop_of(archive: Path) -> tuple[Shop, list[Problem]]:
    """The shop's profile, and everything that is wrong with it."""
    shop, problems = read_shop(archive)
    _, complaints = weights_from(shop.likeness_weights)
    if complaints:
        shown_as = Path("builds") / "shop.yaml"
        document, _ = read_yaml(archive / shown_as, shown_as)
        for complaint in complaints:
            named = next(
                (slug for slug in shop.likeness_weights if repr(slug) in complaint or f" {slug} " in complaint), ""
            )
            line = document.line(("likeness_weights", named)) if document else 1
            problems.append(Problem(shown_as, line, complaint, "warning"))
    return shop, problems
