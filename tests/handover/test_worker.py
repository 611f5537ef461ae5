"""A pack made with a second process is the pack that one process makes."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.handover.packs import handover
from tests.support.handover_samples import FULL, archive_with


def test_a_pack_is_the_same_on_one_core_and_on_two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = archive_with(tmp_path)
    packs = []
    for cores in (1, 2):
        monkeypatch.setattr("builder.publish.workers._available_cpus", lambda cores=cores: cores)
        assert handover(archive, [FULL]).ok
        packs.append((archive / "handover" / f"{FULL}.zip").read_bytes())
    assert packs[0] == packs[1]
