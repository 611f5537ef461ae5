"""A bounded part of the attacks; `python -m tests.safety` runs them at full length."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.safety.attacks import ATTACKS

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes, links and kill -9 as POSIX has them")


BOUNDED = (
    "mutated records",
    "mutated logs",
    "impossible values",
    "planted links and folders",
    "altered packs",
)
"""The attacks that the suite runs, each at its bounded length; tests/publish/test_crash_safety.py kills publishes."""


@pytest.mark.slow
@pytest.mark.parametrize("name", BOUNDED)
def test_attack(name: str, tmp_path: Path) -> None:
    attack, bounded, _ = ATTACKS[name]
    outcome = attack(7, bounded, tmp_path)
    assert outcome.tried >= bounded * 0.8
    assert outcome.failures == []
