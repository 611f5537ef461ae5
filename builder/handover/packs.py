"""Delivery packs as files: whether a build may be handed over, where its pack goes, and many packs at once."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import json
import os
import shutil
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from builder.handover.checksums import CHECKSUM_FILE, verify, zip_bytes
from builder.publish.deploy.atomic_swap import activate
from builder.publish.deploy.working_folder import MARK
from builder.publish.errors import PublishError, translate_os_errors
from builder.publish.workers import FEW, INLINE, WorkerPool
from builder.record.files import build_folders
from builder.record.problem import Problem, errors_in
from builder.record.report import CommandReport
from builder.record.wording import count_of

if TYPE_CHECKING:
    from builder.figures.core.types import FigureSheet
    from builder.handover.issue import Issue, IssuedPack
    from builder.record.models.build import Build
    from builder.record.models.shop import Shop

FOLDER = "handover"
_MAX_REASON_LENGTH = 300
_FORBIDDEN_FOLDERS = ("builds", "site_templates", "site", ".millbook", ".git")


@dataclass(frozen=True)
class PackResult:
    """The pack of one build, or the reasons why there is none."""

    slug: str
    pack: Path | None = None
    reasons: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    files: int = 0
    size: int = 0
    issue: Issue | None = None
    """None for a draft."""
    digest: str = ""

    @property
    def lines(self) -> tuple[str, ...]:
        """The result as lines to print."""
        if self.pack is None:
            return tuple(f"{self.slug}: not handed over: {reason}" for reason in self.reasons)
        size = f"{self.files} files, {self.size / 1e6:.1f} MB"
        return (f"{self.pack} and {self.pack.name}.zip: {size}, {self._issue_text}",)

    @property
    def _issue_text(self) -> str:
        if self.issue is None:
            return "draft"
        changes, former = len(self.issue.changes), self.issue.former
        since = f" ({count_of(changes, 'change')} since issue {former[-1].number})" if former else ""
        return f"issue {self.issue.number}, {self.issue.date}{since}"

    @property
    def as_json(self) -> dict[str, Any]:
        """The result as JSON."""
        return {
            "build": self.slug,
            "pack": str(self.pack) if self.pack else None,
            "reasons": list(self.reasons),
            "files": self.files,
            "bytes": self.size,
            "issue": dataclasses.asdict(self.issue) if self.issue else None,
            "digest": self.digest,
        }


def handover(
    archive: Path,
    slugs: Sequence[str] = (),
    *,
    everything: bool = False,
    draft: bool = False,
    out: Path | None = None,
    previous: Path | None = None,
    as_json: bool = False,
) -> CommandReport:
    """Write the packs of the builds named, or with ``everything`` of all finished ones.

    ``previous`` is the former issue of one build, where it is not in the folder of the packs. Raises PublishError
    where packs may not or cannot be written, ArchiveError where there is no `builds/`.
    """
    if not slugs and not everything:
        raise PublishError("name a build, or hand over all of them with --all, or look at a pack with --verify")
    if previous and (everything or len(slugs) != 1):
        raise PublishError("--previous is the former pack of one build: name that build alone")
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
            return CommandReport(shop_problems, (), ok=False)
        folder = _output_folder(out or archive / FOLDER, archive)
        work = partial(
            build_pack,
            archive=archive,
            folder=folder,
            draft=draft,
            finished_only=everything and not draft,
            previous=previous,
            today=datetime.date.today(),
        )
        results = [work(slug, workers=workers) for slug in due] if few else [*workers.map(work, due)]
    lines = [line for result in results for line in result.lines]
    unknown = [slug for slug in slugs if slug not in names]
    lines += [f"{slug}: there is no such build" for slug in unknown]
    if everything:
        count = sum(result.pack is not None for result in results)
        lines.append(f"{count} packs in {time.perf_counter() - started:.1f} s")
    if as_json:
        lines = [json.dumps([result.as_json for result in results], ensure_ascii=False, indent=1)]
    ok = not unknown and not any(result.reasons for result in results)
    problems = (*shop_problems, *(problem for result in results for problem in result.problems))
    return CommandReport(problems, lines, ok)


def verify_pack(pack: Path, *, as_json: bool = False) -> CommandReport:
    """Compare a pack, a folder or its ZIP, with its checksums, and say which issue it is."""
    from builder.handover.issue import issue_in

    result = verify(pack)
    issue = issue_in(pack) if result.intact else None
    if as_json:
        value = dataclasses.asdict(result) | {
            "intact": result.intact, "issue": dataclasses.asdict(issue) if issue else None
        }  # fmt: skip
        return CommandReport((), (json.dumps(value, ensure_ascii=False, indent=1),), result.intact)
    former = [
        f"replaces issue {item.number}, {item.date}, digest {item.digest}" for item in (issue.former if issue else ())
    ]
    return CommandReport((), (*result.lines, *([issue.text] if issue else []), *reversed(former)), result.intact)


def _preload(archive: Path) -> None:
    """Import what drawing and MkDocs need; an error here is reported where it is used."""
    with contextlib.suppress(Exception):
        from builder.draw import svg_backend  # noqa: F401
        from builder.draw.charts import (  # noqa: F401
            channels,
            comparison,
            deck_stack,
            piston_speed,
            port_map,
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
    folder: Path,
    draft: bool,
    today: datetime.date,
    finished_only: bool = False,
    previous: Path | None = None,
    workers: WorkerPool = INLINE,
) -> PackResult:
    """Write the pack of one build into ``folder``, or return why it has none; an error of the program is a reason.

    With ``finished_only`` an unfinished build is skipped without a reason. ``previous`` is the former issue, the pack
    in the folder unless given. A process of ``workers`` draws the
    charts and builds the HTML.
    """
    try:
        return _build_pack(
            slug,
            archive,
            folder,
            draft=draft,
            finished_only=finished_only,
            previous=previous,
            today=today,
            workers=workers,
        )
    except Exception as error:
        reason = " ".join(f"cannot be made: {type(error).__name__}: {error}".split())
        return PackResult(slug, None, (reason[:_MAX_REASON_LENGTH],))


def _build_pack(
    slug: str,
    archive: Path,
    folder: Path,
    *,
    draft: bool,
    finished_only: bool,
    previous: Path | None,
    today: datetime.date,
    workers: WorkerPool,
) -> PackResult:
    from builder.handover.pack import customer_view, make_pack
    from builder.record.build_profile import profile_of
    from builder.record.load import read_build, read_shop

    shop, _ = read_shop(archive)
    build, problems = read_build(archive / "builds" / slug, archive)
    if build is None:
        count = len(errors_in(problems))
        return PackResult(slug, None, (count_of(count, "error"),), tuple(problems))
    if build.build.status != "finished" and not draft:
        reasons = () if finished_only else (f"{build.build.status}; --draft makes a draft",)
        return PackResult(slug, None, reasons, tuple(problems))
    shop = profile_of(build, shop)
    view = customer_view(build, shop)
    if not draft and (blockers := _blockers(build, shop, view.sheet)):
        return PackResult(slug, None, blockers, tuple(problems))
    try:
        former = _former_pack(folder / slug, previous, draft=draft)
        new_pack = make_pack(build, view, shop, archive, today=today, former=former, draft=draft, workers=workers)
        pack = _write(new_pack.files, folder / slug)
    except PublishError as error:
        return PackResult(slug, None, (str(error),), tuple(problems))
    problems += [*errors_in(view.sheet.problems), *new_pack.problems]
    size = sum(map(len, new_pack.files.values()))
    return PackResult(slug, pack, (), tuple(problems), len(new_pack.files), size, new_pack.issue, new_pack.digest)


def _former_pack(pack: Path, previous: Path | None, *, draft: bool) -> IssuedPack | None:
    """Return the issue before: the pack named, else the one in the folder of packs, else its ZIP; None without any.

    Raises PublishError where it is missing or was altered, and where a draft would replace it.
    """
    from builder.handover.issue import issued_pack

    zip_file = pack.with_name(f"{pack.name}.zip")
    if previous is None:
        previous = next(
            (path for path in (pack, zip_file) if path.exists() and (path == zip_file or _is_pack(path))), None
        )
    former = issued_pack(previous) if previous else None
    if draft and former and previous in (pack, zip_file):
        raise PublishError(f"{pack} is issue {former.issue.number}, which a draft would replace; choose another --out")
    return former


def _blockers(build: Build, shop: Shop, sheet: FigureSheet) -> tuple[str, ...]:
    """Return what must be put right before a delivery."""
    from builder.figures.review.delivery_readiness import readiness

    errors = tuple(str(problem) for problem in errors_in(sheet.problems))
    return (*(f"{item.title}: {item.message}" for item in readiness(build, shop, sheet).missing), *errors)


def _output_folder(out: Path, archive: Path) -> Path:
    """Return the folder for the packs. Raises PublishError where it is public or holds the records."""
    folder, home = Path(os.path.realpath(out)), Path(os.path.realpath(archive))
    if folder == home:
        raise PublishError(f"{out} holds the records themselves; choose another folder for the packs")
    for name in _FORBIDDEN_FOLDERS:
        if folder == home / name or home / name in folder.parents:
            raise PublishError(f"{out} lies in {name}/, which is not for packs; choose another folder")
    for parent in (folder, *folder.parents):
        if (parent / MARK).is_file():
            raise PublishError(f"{out} lies in a published site, where everybody could read it; choose another folder")
    return folder


def _write(files: dict[str, bytes], pack: Path) -> Path:
    """Write a pack as a folder and as a ZIP, each swapped in atomically for the one of before."""
    with translate_os_errors(pack, site=False):
        pack.parent.mkdir(parents=True, exist_ok=True)
        if pack.exists() and (pack.is_symlink() or not pack.is_dir() or not _is_pack(pack)):
            raise PublishError(f"{pack} holds something other than a pack, so it was left alone; move it away first")
        staging = pack.with_name(f".{pack.name}.next")
        if staging.is_symlink():
            staging.unlink()  # nothing is written through a link
        shutil.rmtree(staging, ignore_errors=True)
        try:
            for name, content in files.items():
                target = staging / name
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(content)
            zip_file = pack.with_name(f".{pack.name}.zip.next")
            zip_file.unlink(missing_ok=True)
            zip_file.write_bytes(zip_bytes(files, pack.name))
            activate(staging, pack)
            os.replace(zip_file, pack.with_name(f"{pack.name}.zip"))
        finally:
            shutil.rmtree(staging, ignore_errors=True)
    return pack


def _is_pack(pack: Path) -> bool:
    return (pack / CHECKSUM_FILE).is_file() or not any(pack.iterdir())
