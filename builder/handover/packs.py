"""Handing over: whether it may be, where the packs go, all of them at once, and whether one is still whole."""

from __future__ import annotations

import contextlib
import os
import shutil
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from builder.handover.checksums import NAME, verify, zip_bytes
from builder.publish.deploy.atomic_swap import MARK, activate
from builder.publish.errors import PublishError, translate_os_errors
from builder.publish.workers import FEW, INLINE, WorkerPool
from builder.record.files import build_folders
from builder.record.problem import Problem, errors_in

if TYPE_CHECKING:
    from builder.figures.core.types import FigureSheet
    from builder.record.models.build import Build
    from builder.record.models.shop import Shop

FOLDER = "handover"
_NOT_HERE = ("builds", "site_templates", "site", ".millbook", ".git")


@dataclass(frozen=True)
class PackResult:
    """What came of one build: where its pack is, or why there is none."""

    slug: str
    pack: Path | None = None
    why_not: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    files: int = 0
    size: int = 0

    @property
    def lines(self) -> tuple[str, ...]:
        """The same in words."""
        if self.pack is None:
            return tuple(f"{self.slug}: not handed over: {why}" for why in self.why_not)
        return (f"{self.pack} and {self.pack.name}.zip: {self.files} files, {self.size / 1e6:.1f} MB",)


@dataclass(frozen=True)
class Outcome:
    """What the command has to say."""

    lines: tuple[str, ...]
    problems: tuple[Problem, ...]
    good: bool


def handover(
    archive: Path,
    slugs: Sequence[str] = (),
    *,
    everything: bool = False,
    draft: bool = False,
    out: Path | None = None,
    check: Path | None = None,
) -> Outcome:
    """Make packs for the builds named, or with ``everything`` for all finished ones; or ``check`` one that is there.

    Raises PublishError, in plain words, where packs may not or cannot be written.
    """
    if check is not None:
        seen = verify(check)
        return Outcome(seen.lines, (), seen.intact)
    if not slugs and not everything:
        raise PublishError("name a build, or hand over all of them with --all, or look at a pack with --verify")
    started = time.perf_counter()
    names = [folder.name for folder in build_folders(archive)]
    due = names if everything else [slug for slug in slugs if slug in names]
    few = 0 < len(due) <= FEW
    with WorkerPool() as workers:
        if few and workers.count > 1:
            workers.submit(partial(_preload, archive))  # while this process reads the record
        from builder.archive.shop_profile import read_shop_profile

        shop_problems = read_shop_profile(archive)[1]
        if errors_in(shop_problems):
            return Outcome((), tuple(shop_problems), False)
        place = _place(out or archive / FOLDER, archive)
        work = partial(build_pack, archive=archive, place=place, draft=draft, finished_only=everything and not draft)
        handed = [work(slug, workers=workers) for slug in due] if few else [*workers.map(work, due)]
    lines = [line for one in handed for line in one.lines]
    unknown = [slug for slug in slugs if slug not in names]
    lines += [f"{slug}: there is no such build" for slug in unknown]
    if everything:
        made = sum(one.pack is not None for one in handed)
        lines.append(f"{made} packs in {time.perf_counter() - started:.1f} s")
    left_out = any(one.pack is None and one.why_not for one in handed)
    problems = (*shop_problems, *(problem for one in handed for problem in one.problems))
    return Outcome(tuple(lines), problems, not left_out and not unknown)


def _preload(archive: Path) -> None:
    """Load what drawing and MkDocs take; what goes wrong here is reported where it is used."""
    with contextlib.suppress(Exception):
        from builder.draw import svg_backend  # noqa: F401
        from builder.draw.charts import (  # noqa: F401
            channels,
            comparison,
            deck_stack,
            piston_speed,
            positions,
            power,
            tightening,
            valve_timing,
        )
        from builder.publish.site.mkdocs_site import preload

        preload(archive)


def build_pack(
    slug: str,
    *,
    archive: Path,
    place: Path,
    draft: bool,
    finished_only: bool = False,
    workers: WorkerPool = INLINE,
) -> PackResult:
    """Make one pack in ``place``, or say why not.

    An unfinished build is passed over in silence with ``finished_only``: it is not due. The
    drawings and the HTML are made in a process of ``workers``.
    """
    from builder.handover.pack import customer_view, pack_files
    from builder.record.load import read_build, read_shop

    shop, _ = read_shop(archive)
    build, problems = read_build(archive / "builds" / slug, archive)
    if build is None:
        count = len(errors_in(problems))
        return PackResult(slug, None, (f"{count} error{'s' if count != 1 else ''} in its record",), tuple(problems))
    if build.build.status != "finished" and not draft:
        why = () if finished_only else (f"its status is {build.build.status}; --draft makes a draft",)
        return PackResult(slug, None, why, tuple(problems))
    of = customer_view(build, shop)
    if not draft and (lacking := _blockers(build, shop, of.sheet)):
        return PackResult(slug, None, lacking, tuple(problems))
    try:
        files = pack_files(build, of, shop, archive, draft=draft, workers=workers)
        pack = _write(files, place / slug)
    except PublishError as fault:
        return PackResult(slug, None, (str(fault),), tuple(problems))
    return PackResult(slug, pack, (), tuple(problems), len(files), sum(map(len, files.values())))


def _blockers(build: Build, shop: Shop, sheet: FigureSheet) -> tuple[str, ...]:
    """What stands in the way of a delivery."""
    from builder.figures.review.delivery_readiness import readiness

    errors = tuple(str(problem) for problem in errors_in(sheet.problems))
    return (*(f"{each.title}: {each.message}" for each in readiness(build, shop, sheet).missing), *errors)


def _place(out: Path, archive: Path) -> Path:
    """The folder for the packs, after making sure that nothing public or of the record lies there."""
    place, home = Path(os.path.realpath(out)), Path(os.path.realpath(archive))
    if place == home:
        raise PublishError(f"{out} holds the records themselves; choose another folder for the packs")
    for own in _NOT_HERE:
        if place == home / own or home / own in place.parents:
            raise PublishError(f"{out} lies in {own}/, which is not for packs; choose another folder")
    for folder in (place, *place.parents):
        if (folder / MARK).is_file():
            raise PublishError(f"{out} lies in a published site, where everybody could read it; choose another folder")
    return place


def _write(files: dict[str, bytes], pack: Path) -> Path:
    """Put a finished pack in the place of the one that stands, as a folder and as a ZIP."""
    with translate_os_errors(pack):
        pack.parent.mkdir(parents=True, exist_ok=True)
        if pack.exists() and (pack.is_symlink() or not pack.is_dir() or not _is_pack(pack)):
            raise PublishError(f"{pack} holds something other than a pack, so it was left alone; move it away first")
        fresh = pack.with_name(f".{pack.name}.next")
        shutil.rmtree(fresh, ignore_errors=True)
        try:
            for name, content in files.items():
                target = fresh / name
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(content)
            bundle = pack.with_name(f".{pack.name}.zip.next")
            bundle.write_bytes(zip_bytes(files, pack.name))
            activate(fresh, pack)
            os.replace(bundle, pack.with_name(f"{pack.name}.zip"))
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
    return pack


def _is_pack(pack: Path) -> bool:
    return (pack / NAME).is_file() or not any(pack.iterdir())
