"""Read shop.yaml for every command: the profile, and everything that is wrong with it."""

from __future__ import annotations

from pathlib import Path

from builder.archive.fields import weights_from
from builder.record.load import SHOP_FILE, read_shop
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.yaml_loader import read_yaml


def read_shop_profile(archive: Path) -> tuple[Shop, list[Problem]]:
    """Return the shop's profile and its problems, those with weights of fields that only the archive knows included."""
    shop, problems = read_shop(archive)
    _, complaints = weights_from(shop.likeness_weights)
    if complaints:
        document, _ = read_yaml(archive / SHOP_FILE, SHOP_FILE)
        for slug, message in complaints.items():
            line = document.line(("likeness_weights", slug)) if document else 1
            problems.append(Problem(SHOP_FILE, line, message, "warning"))
    return shop, problems
