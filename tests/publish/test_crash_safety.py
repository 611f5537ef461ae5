"""A publish that is killed, or refused by the system, at any moment: the site that stands is a whole one, old or new.

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

KILLS = int(os.environ.get("MILLBOOK_KILLS", "12"))
ROOT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(os.name == "nt", reason="kill -9 is a POSIX signal")


class Turned:
    """An archive that is turned between two states, each with the site that belongs to it."""

    def __init__(self, home: Path) -> None:
        self.archive = home / "shop"
        self.site = self.archive / "site"
        tiny.use_short_pages(self.archive)
        for number, slug in enumerate(("ash", "birch", "cedar")):
            tiny.write_build(self.archive, slug, number=number, torque=140.0 + number, picture=number == 1)
        self.state = 1
        self.sites: list[dict[str, bytes | None]] = []
        for state in (0, 1):
            self.turn(state)
            publish(self.archive, self.site, full=True)
            self.sites.append(tiny.read_tree(self.site))
        assert self.sites[0] != self.sites[1]

    def turn(self, state: int) -> None:
        """Another name, another curve, and one build more or less."""
        self.state = state
        tiny.write_sheet(self.archive / "builds" / "ash", title=("Sparrow", "Swift")[state])
        tiny.write_log(self.archive / "builds" / "birch", (150.0, 170.0)[state])
        tiny.write_sheet(self.archive / "builds" / "cedar", title="Cedar", status=("finished", "withdrawn")[state])

    def standing(self) -> int:
        """Which of the two sites stands, byte for byte."""
        now = tiny.read_tree(self.site)
        assert now in self.sites, f"neither of the two sites: {sorted(now)[:5]}..."
        return self.sites.index(now)

    def heal(self) -> None:
        """The next publish makes everything as it should be, and leaves nothing lying about."""
        publish(self.archive, self.site)
        assert self.standing() == self.state
        there = {path.name for path in self.archive.iterdir()} - {".site.mirror"}
        assert there == {"builds", "site", "site_templates", ".millbook", ".site.lock"}
        mirror = self.archive / ".site.mirror"
        assert not mirror.exists() or tiny.read_tree(mirror) == self.sites[self.state], (
            "it holds what the site does not"
        )
        kept = {path.name for path in (self.archive / ".millbook").iterdir()}
        assert kept == {"state.json", "index.json", "pages", "bodies", "charts", "templates", "lock"}
        assert "millbook" not in "".join(name for name in tiny.read_tree(self.site) if ".making" in name)

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        environment = os.environ | {"PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-m", "tests.support.fault_injection", str(self.archive), *arguments]
        return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)

    def operations(self) -> int:
        """How many file operations a publish from one state to the other takes."""
        self.turn(1 - self.state)
        out, wrong = self.start("kill", "0").communicate(timeout=300)
        assert not wrong
        return int(out)


@pytest.fixture(scope="module")
def turned(tmp_path_factory: pytest.TempPathFactory) -> Turned:
    return Turned(tmp_path_factory.mktemp("interrupted"))


@pytest.mark.slow
def test_killed_at_any_file_operation(turned: Turned) -> None:
    """Killed in turn at operations all over the publish, with more of them near its end, where the site changes."""
    most = turned.operations()  # the first lays the site's double, which those after it find
    # Of publishes that were let through, by what they lead to: what was killed before makes a difference too.
    counts: dict[int, set[int]] = {}
    for _ in range(2):
        operations = turned.operations()
        assert operations > 60
        counts[turned.state] = {operations}
    stood = set()
    killed = tried = 0
    while killed < KILLS:
        chance = random.Random(tried)
        tried += 1
        turned.turn(1 - turned.state)
        operations = most if chance.random() < 0.2 else chance.choice(sorted(counts[turned.state]))
        number = chance.randint(max(1, operations - 40) if chance.random() < 0.5 else 1, operations)
        child = turned.start("kill", str(number))
        out, _ = child.communicate(timeout=300)
        stood.add((child.returncode != 0, turned.standing() == turned.state))
        if child.returncode:
            killed += 1
        else:
            counts[turned.state].add(int(out))
        if chance.random() < 0.4:
            turned.heal()
    print(f"killed {killed} times of {tried}, publishes of {counts} operations, {sorted(stood)}")
    turned.heal()
    assert (True, False) in stood  # killed before the new site stood


def test_killed_by_the_clock_with_all_hands_at_work(tmp_path: Path) -> None:
    """The command itself, with other processes drawing for it: they go too, and the next publish heals."""
    turned = Turned(tmp_path)
    for number in range(12):
        tiny.write_build(turned.archive, f"more-{number}", number=number, torque=100.0 + number)
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    chance = random.Random(2)
    anew = tmp_path / "anew"
    shutil.copytree(turned.archive, anew, ignore=shutil.ignore_patterns("site", ".millbook", ".site.*"))
    publish(anew, anew / "site", full=True)
    whole = [tiny.read_tree(turned.site), tiny.read_tree(anew / "site")]
    assert whole[0] != whole[1]
    for most in (2.0, 3.0, 5.0):
        command = [sys.executable, "-m", "builder", "publish", "--archive", str(turned.archive)]
        child = subprocess.Popen(
            command, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL, env=environment, start_new_session=True
        )
        time.sleep(chance.uniform(0.5, most))
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
        assert tiny.read_tree(turned.site) in whole, "neither the old site nor the new one"
    publish(turned.archive, turned.site)
    assert tiny.read_tree(turned.site) == whole[1]


@pytest.mark.parametrize(("what", "words"), [("full", "the disk is full"), ("closed", "writing there is not allowed")])
def test_refused_by_the_system_at_any_file_operation(turned: Turned, what: str, words: str) -> None:
    """The old site still stands, the shop is told why in one sentence, and the next publish heals."""
    turned.heal()
    operations = turned.operations()
    turned.heal()
    refused = 0
    for number in sorted({1, 2, operations // 4, operations // 2, 3 * operations // 4}):
        before = turned.state
        turned.turn(1 - before)
        child = turned.start(what, str(number))
        _, said = child.communicate(timeout=300)
        if child.returncode:
            refused += 1
            assert words in said
            assert "still stands" in said
            assert len(said.splitlines()) == 1, said
        # Once the new site stands, nothing is written any more that could be refused.
        assert turned.standing() == (before if child.returncode else turned.state)
        turned.heal()
    assert refused >= 3


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_to(tmp_path: Path) -> None:
    from builder.publish.errors import PublishError

    turned = Turned(tmp_path)
    turned.turn(0)
    turned.archive.chmod(0o555)
    try:
        with pytest.raises(PublishError, match="not allowed"):
            publish(turned.archive, turned.site)
    finally:
        turned.archive.chmod(0o755)
    assert turned.standing() == 1


@pytest.mark.parametrize("other", ["site", "elsewhere"])
def test_two_at_once(tmp_path: Path, other: str) -> None:
    """The second waits for the first, wherever its site is to stand: both share what is kept of the archive."""
    turned = Turned(tmp_path)
    turned.turn(0)
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "builder", "publish", "--archive", str(turned.archive), "--out"]
    both = [
        subprocess.Popen(
            [*command, str(turned.archive / out)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        for out in ("site", other)
    ]
    said = [child.communicate(timeout=300) for child in both]
    assert [child.returncode for child in both] == [0, 0], said
    assert turned.standing() == 0
    assert tiny.read_tree(turned.archive / other) == turned.sites[0]
    assert sum("waiting for it to finish" in errors for _, errors in said) == 1
