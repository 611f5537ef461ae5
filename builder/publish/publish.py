"""Publishing the archive: from build folders to a site that stands."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from builder.archive.index import write_index
from builder.archive.summary import Summary
from builder.publish.make import RELATIVES, Made, make_build
from builder.publish.pages import NAV, Files, archive_pages, relatives_block, relatives_of
from builder.publish.site import build_site
from builder.publish.swap import replacement
from builder.publish.templates import page_environment
from builder.record.problem import Problem
from builder.record.read import build_folders, errors_in, read_shop
from builder.record.shop import Shop

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and how much there is."""

WORK = ".millbook"
"""The generator's own folder in an archive: the pages it wrote, and what it keeps to work faster."""


@dataclass(frozen=True)
class Report:
    """What a publish came to."""

    out: Path
    published: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    problems: tuple[Problem, ...]
    warnings: tuple[str, ...]
    seconds: float

    @property
    def clean(self) -> bool:
        """Whether nothing that should be on the site was kept off it by an error."""
        return not errors_in(self.problems)

    @property
    def lines(self) -> tuple[str, ...]:
        """The report in words."""
        count = len(self.published)
        said = [f"{count} build{'s' if count != 1 else ''} published to {self.out} in {self.seconds:.1f} s"]
        said += [f"left out: {slug}, because {why}" for slug, why in self.left_out]
        said += [f"site: {warning}" for warning in self.warnings]
        return tuple(said)


def publish(
    archive: Path, out: Path, *, everything: bool = False, full: bool = False, progress: Progress | None = None
) -> Report:
    """Publish every finished build of the archive as a site in `out`.

    `everything` publishes unfinished builds too; `full` makes everything anew. The site that stands is
    replaced only when the new one is complete. Raises PublishProblem, in plain words, when it cannot be.
    """
    started = time.perf_counter()
    tell = progress or (lambda what, done, of: None)
    shop, problems = read_shop(archive)
    with replacement(out, archive=archive) as fresh:
        made = make_all(archive, shop, everything=everything, tell=tell)
        published = [one for one in made if one.published]
        summaries = [one.summary for one in published if one.summary is not None]
        pages = archive / WORK / "pages"
        tell("writing pages", 0, 1)
        write_tree(pages, all_pages(archive, published, summaries, shop, tell))
        write_index(archive / WORK / "index.json", summaries)
        tell("building the site", 0, 1)
        warnings = build_site(
            pages,
            fresh,
            archive=archive,
            site_name=shop.name,
            site_url=shop.site_address,
            site_description=shop.tagline,
            nav=NAV,
        )
        tell("building the site", 1, 1)
    return Report(
        out,
        tuple(one.slug for one in published),
        tuple((one.slug, one.why_not or "") for one in made if not one.published),
        (*problems, *(problem for one in made for problem in one.problems)),
        tuple(warnings),
        time.perf_counter() - started,
    )


def make_all(archive: Path, shop: Shop, *, everything: bool, tell: Progress) -> list[Made]:
    """Every build of the archive, made."""
    folders = build_folders(archive)
    environment = page_environment(archive)
    made = []
    for index, folder in enumerate(folders):
        tell(f"reading and drawing {folder.name}", index, len(folders))
        made.append(make_build(folder, archive, shop, environment, everything=everything))
    tell("reading and drawing", len(folders), len(folders))
    return made


def all_pages(
    archive: Path, published: Sequence[Made], summaries: Sequence[Summary], shop: Shop, tell: Progress
) -> Files:
    """Every file of the Markdown folder, by its path in it."""
    environment = page_environment(archive)
    files = archive_pages(summaries, shop, environment)
    related = relatives_of(summaries, shop)
    for one in published:
        assert one.summary is not None
        block, drawings = relatives_block(one.summary, related[one.slug], shop, environment)
        below = f"builds/{one.slug}"
        files[f"{below}/index.md"] = one.page.replace(RELATIVES, block).encode()
        for name, content in {**(one.files or {}), **drawings}.items():
            files[f"{below}/{name}"] = content
    return files


def write_tree(folder: Path, files: Files) -> None:
    """Make a folder hold exactly these files, touching only what differs."""
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted(folder.rglob("*"), reverse=True):
        if path.is_dir() and not path.is_symlink():
            if not any(path.iterdir()):
                path.rmdir()
        elif path.relative_to(folder).as_posix() not in files:
            path.unlink()
    for name, content in files.items():
        target = folder / name
        if target.is_file() and target.read_bytes() == content:
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
