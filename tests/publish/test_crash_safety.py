"""A publish that is killed, or refused by the system, at any moment leaves a complete site, the old one or the new.

`MILLBOOK_KILLS=200 pytest tests/publish/test_crash_safety.py` kills more often than the usual twelve times.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from builder.publish.pipeline import publish
from tests.support import tiny_archive as tiny
from tests.support.fault_injection import Fault, publish_with_fault, run_command, start_forked
from tests.support.two_states import TwoStates

KILLS = int(os.environ.get("MILLBOOK_KILLS", "12"))
ROOT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(os.name == "nt", reason="kill -9 is a POSIX signal")


@pytest.fixture(scope="module")
def two_states(tmp_path_factory: pytest.TempPathFactory) -> TwoStates:
    return TwoStates(tmp_path_factory.mktemp("interrupted"))


@pytest.mark.slow
def test_killed_at_any_file_operation(two_states: TwoStates) -> None:
    """Killed in turn at operations all over the publish, with more of them near its end, where the site changes."""
    most = two_states.operations()  # the first creates the mirror, which those after it find
    # Of publishes that were not killed, by the state they lead to: an earlier kill makes a difference too.
    counts: dict[int, set[int]] = {}
    for _ in range(2):
        operations = two_states.operations()
        assert operations > 60
        counts[two_states.state] = {operations}
    outcomes = set()
    killed = tried = 0
    while killed < KILLS:
        chance = random.Random(tried)
        tried += 1
        two_states.change_to(1 - two_states.state)
        operations = most if chance.random() < 0.2 else chance.choice(sorted(counts[two_states.state]))
        number = chance.randint(max(1, operations - 40) if chance.random() < 0.5 else 1, operations)
        ended = publish_with_fault(two_states.archive, "kill", number)
        outcomes.add((ended.status != 0, two_states.site_state() == two_states.state))
        if ended.status:
            killed += 1
        else:
            counts[two_states.state].add(ended.operations)
        if chance.random() < 0.4:
            two_states.repair()
    print(f"killed {killed} times of {tried}, publishes of {counts} operations, {sorted(outcomes)}")
    two_states.repair()
    assert (True, False) in outcomes  # killed before the new site was published


def test_killed_by_the_clock_with_all_processes_at_work(two_states: TwoStates, tmp_path: Path) -> None:
    """The command itself, with other processes drawing for it: they end too, and the next publish repairs all."""
    two_states = two_states.copy_to(tmp_path)
    for number in range(12):
        tiny.write_build(two_states.archive, f"more-{number}", number=number, torque=100.0 + number)
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    chance = random.Random(2)
    copy = tmp_path / "copy"
    shutil.copytree(two_states.archive, copy, ignore=shutil.ignore_patterns("site", ".millbook", ".site.*"))
    publish(copy, copy / "site", full=True)
    sites = [tiny.read_tree(two_states.site), tiny.read_tree(copy / "site")]
    assert sites[0] != sites[1]
    for longest in (2.0, 3.0, 5.0):
        command = [sys.executable, "-m", "builder", "publish", "--archive", str(two_states.archive)]
        child = subprocess.Popen(
            command, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL, env=environment, start_new_session=True
        )
        time.sleep(chance.uniform(0.5, longest))
        child.kill()
        child.wait()
        for _ in range(600):
            try:
                os.killpg(child.pid, 0)
            except ProcessLookupError:
                break
            time.sleep(0.1)
        else:
            pytest.fail("processes that drew for a killed publish are still there")
        assert tiny.read_tree(two_states.site) in sites, "neither the old site nor the new one"
    publish(two_states.archive, two_states.site)
    assert tiny.read_tree(two_states.site) == sites[1]


@pytest.mark.parametrize(
    ("refusal", "reason"), [("full", "the disk is full"), ("closed", "writing there is not allowed")]
)
def test_refused_by_the_system_at_any_file_operation(two_states: TwoStates, refusal: Fault, reason: str) -> None:
    """The old site is still published, one sentence says why, and the next publish repairs everything."""
    two_states.repair()
    operations = two_states.operations()
    two_states.repair()
    refused = 0
    for number in sorted({1, 2, operations // 4, operations // 2, 3 * operations // 4}):
        before = two_states.state
        two_states.change_to(1 - before)
        ended = publish_with_fault(two_states.archive, refusal, number)
        if ended.status:
            refused += 1
            assert reason in ended.message
            assert "site is unchanged" in ended.message
            assert len(ended.message.splitlines()) == 1, ended.message
        # After the new site is published, nothing is written that could be refused.
        assert two_states.site_state() == (before if ended.status else two_states.state)
        two_states.repair()
    assert refused >= 3


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_to(tmp_path: Path) -> None:
    from builder.publish.errors import PublishError

    two_states = TwoStates(tmp_path)
    two_states.change_to(0)
    two_states.archive.chmod(0o555)
    try:
        with pytest.raises(PublishError, match="not allowed"):
            publish(two_states.archive, two_states.site)
    finally:
        two_states.archive.chmod(0o755)
    assert two_states.site_state() == 1


@pytest.mark.parametrize("second_site", ["site", "elsewhere"])
def test_two_at_once(two_states: TwoStates, tmp_path: Path, second_site: str) -> None:
    """The second waits for the first, wherever its site goes: both use the same working folder."""
    two_states = two_states.copy_to(tmp_path)
    two_states.change_to(1 - two_states.state)
    messages = [tmp_path / "first.txt", tmp_path / "second.txt"]
    both = [
        start_forked(
            run_command,
            ("publish", "--archive", str(two_states.archive), "--out", str(two_states.archive / out)),
            file,
        )
        for out, file in zip(("site", second_site), messages, strict=True)
    ]
    for child in both:
        child.join(300)
    outputs = [file.read_text(encoding="utf-8") for file in messages]
    assert [child.exitcode for child in both] == [0, 0], outputs
    assert two_states.site_state() == two_states.state
    assert tiny.read_tree(two_states.archive / second_site) == two_states.sites[two_states.state]
    assert sum("waiting for it to finish" in text for text in outputs) == 1
