"""Publishing the archive: from build folders to a site that stands.

`publish` is the whole of it, steps in the order in which data flows: find what changed; read, compute and draw
those builds; relate the builds to each other; write pages; build the site; put it in place.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish import templates
from builder.publish.hands import each
from builder.publish.kept import Ledger, digest_bytes, digest_of, load, program_digest
from builder.publish.report import Progress, Report
from builder.publish.swap import claimed, copy_tree, replaced
from builder.record.problem import Problem
from builder.record.read import build_folders, errors_in

if TYPE_CHECKING:
    from builder.archive.summary import Summary
    from builder.publish.make import Made
    from builder.record.shop import Shop

RELATIVES = "<!-- millbook: relatives -->"
"""Stands in a build's page where its relatives go: they depend on every other build, the page does not."""

WORK = ".millbook"
"""The generator's own folder in an archive: the pages it wrote, and what it keeps to work faster."""


@dataclass(frozen=True)
class Workplace:
    """Where the publish of one archive works, and what it was asked for."""

    archive: Path
    everything: bool
    for_shop: bool
    tell: Progress

    def at(self, name: str) -> Path:
        """A place in the generator's own folder; what is for the shop's eyes is kept apart."""
        return self.archive / WORK / "shop" / name if self.for_shop else self.archive / WORK / name


@dataclass
class Remade:
    """What came of the builds that were made again, and which no longer belong on the site."""

    withdrawn: list[str] = field(default_factory=list)
    summaries: dict[str, Summary] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    @property
    def any(self) -> bool:
        """Whether the archive is not what it was."""
        return bool(self.summaries or self.withdrawn)


def publish(
    archive: Path,
    out: Path,
    *,
    everything: bool = False,
    full: bool = False,
    for_shop: bool = False,
    progress: Progress | None = None,
) -> Report:
    """Publish every finished build of the archive as a site in `out`.

    `everything` publishes unfinished builds too; `full` makes everything anew; `for_shop` adds what only the
    shop should see (what is missing before delivery), and works apart from the public site. The site that stands is
    replaced only when the new one is complete. Raises PublishProblem, in plain words, when it cannot be.
    """
    started = time.perf_counter()
    place = Workplace(archive, everything, for_shop, progress or (lambda what, done, of: None))
    with claimed(out, archive=archive) as site:
        ledger = Ledger() if full else load(place.at("ledger.json"))
        whole = _whole_digest(place, ledger)
        standing = ledger.whole == whole and bool(ledger.site) and ledger.tree(site, ours=True) == ledger.site
        stale, keys = _stale(place, ledger, whole)
        remade = _remake(place, ledger, stale, keys, whole)
        warnings: list[str] = []
        if remade.any or not standing:
            pages = _write_pages(place, ledger, remade, whole)
            warnings = _build_site(place, ledger, site, pages, standing)
            ledger.pages, ledger.whole = pages, whole
            ledger.site = ledger.tree(site, ours=True)
        ledger.save(place.at("ledger.json"))
    return Report(
        out,
        tuple(sorted(ledger.builds)),
        tuple((slug, why) for slug, (_, why) in sorted(ledger.left_out.items())),
        tuple(remade.problems),
        tuple(warnings),
        time.perf_counter() - started,
        len(remade.summaries),
    )


# ------------------------------------------------------------------------------------ what changed


def _whole_digest(place: Workplace, ledger: Ledger) -> str:
    """The digest of all that every page depends on: program, libraries, templates, configuration, shop."""
    own = place.archive / "mkdocs.yml"
    config = own if own.is_file() else templates.our_config()
    in_force = [f"{name} {ledger.digest(path)}" for name, path in templates.listing(place.archive).items()]
    return digest_of(
        program_digest(ledger), *in_force, ledger.digest(config), ledger.digest(place.archive / "builds" / "shop.yaml")
    )


def _stale(place: Workplace, ledger: Ledger, whole: str) -> tuple[list[Path], dict[str, str]]:
    """The build folders to make again, and the digest of what each is made from."""
    keys: dict[str, str] = {}
    stale = []
    harmed = _harmed(place, ledger)
    for folder in build_folders(place.archive):
        tree = ledger.tree(folder)
        content = [f"{name} {digest}" for name, digest in tree.items() if not name.startswith(".") and name[-1:] != "~"]
        keys[folder.name] = digest_of(whole, str(place.everything), *content)
        kept = ledger.builds.get(folder.name) or ledger.left_out.get(folder.name, ("",))[0]
        if kept != keys[folder.name] or folder.name in harmed:
            stale.append(folder)
    return stale, keys


def _harmed(place: Workplace, ledger: Ledger) -> set[str]:
    """Builds of which something that was kept is no longer what it was; all of them if the index is not."""
    if not ledger.builds or ledger.digest(place.at("index.json"), ours=True) != ledger.index:
        return set(ledger.builds)
    bodies = ledger.tree(place.at("bodies"), ours=True)
    harmed = {slug for slug in ledger.builds if bodies.get(f"{slug}.md") != ledger.bodies.get(slug)}
    pages = ledger.tree(place.at("pages") / "builds", ours=True)
    kept = {name.removeprefix("builds/"): d for name, d in ledger.pages.items() if name.startswith("builds/")}
    return harmed | {name.partition("/")[0] for name, _ in pages.items() ^ kept.items()}


# ------------------------------------------------------------------------------------ builds, made


def _remake(place: Workplace, ledger: Ledger, stale: list[Path], keys: Mapping[str, str], whole: str) -> Remade:
    """Make the stale builds again, and forget those whose folder is gone."""
    remade = Remade([slug for slug in ledger.builds if slug not in keys])
    for slug in [slug for slug in (*ledger.builds, *ledger.left_out) if slug not in keys]:
        ledger.forget(slug)
    if not stale:
        return remade
    from builder.publish.make import make_build
    from builder.record.read import read_shop

    shop, problems = read_shop(place.archive)
    remade.problems += problems
    work = partial(
        make_build,
        archive=place.archive,
        shop=shop,
        templates_key=whole,
        everything=place.everything,
        for_shop=place.for_shop,
    )
    for made in each(work, stale, after=lambda done: place.tell("reading, computing, drawing", done, len(stale))):
        remade.problems += made.problems
        stood = made.slug in ledger.builds
        ledger.forget(made.slug)
        if made.summary is not None:
            remade.summaries[made.slug] = made.summary
            ledger.builds[made.slug] = keys[made.slug]
            ledger.bodies[made.slug] = _write_made(place, made)
        else:
            # A build with errors is looked at each time, so that its errors are told each time.
            key = "" if errors_in(made.problems) else keys[made.slug]
            ledger.left_out[made.slug] = (key, made.why_not or "")
            remade.withdrawn += [made.slug] * stood
    return remade


def _write_made(place: Workplace, made: Made) -> str:
    """Lay down what was made of a build; returns the digest of its page as far as it stands."""
    folder = place.at("pages") / "builds" / made.slug
    _write_tree(folder, made.files, spare=("index.md", *made.files, "relatives.svg"))
    body = place.at("bodies") / f"{made.slug}.md"
    _write(body, made.page.encode())
    return digest_bytes(made.page.encode())


# ------------------------------------------------------------------------------------------- pages


def _write_pages(place: Workplace, ledger: Ledger, remade: Remade, whole: str) -> dict[str, str]:
    """Write every page of the archive that is not as it should be; returns the digest of every file there."""
    from builder.archive.index import read_index, write_index
    from builder.publish.make import environment
    from builder.publish.pages import archive_pages
    from builder.record.read import read_shop

    shop, _ = read_shop(place.archive)
    kept = {summary.slug: summary for summary in read_index(place.at("index.json")) or ()}
    summaries = [remade.summaries.get(slug) or kept[slug] for slug in sorted(ledger.builds)]
    place.tell("relating builds", 0, 1)
    files = archive_pages(summaries, shop, environment(place.archive, whole))
    pages = place.at("pages")
    for name, content in files.items():
        _write(pages / name, content)
    templates.lay_assets(place.archive, pages)
    _write_relatives(place, ledger, summaries, shop, whole)
    _prune(pages, {*files, *templates.listing(place.archive, "assets")}, ledger.builds)
    _prune(place.at("bodies"), {f"{slug}.md" for slug in ledger.builds}, ())
    write_index(place.at("index.json"), summaries)
    ledger.index = ledger.digest(place.at("index.json"), ours=True)
    return ledger.tree(pages, ours=True)


def _write_relatives(place: Workplace, ledger: Ledger, summaries: Sequence[Summary], shop: Shop, whole: str) -> None:
    """Complete the pages of builds with their relatives, where they or the page are not what they were."""
    from builder.publish.relatives import block_key, relatives_block, relatives_of

    related = relatives_of(summaries, shop)
    tasks = []
    for summary in summaries:
        key = block_key(summary, related[summary.slug], whole, ledger.bodies[summary.slug])
        if ledger.blocks.get(summary.slug) != key:
            tasks.append((summary, related[summary.slug]))
            ledger.blocks[summary.slug] = key
    work = partial(relatives_block, shop=shop, archive=place.archive, templates_key=whole)
    blocks = each(work, tasks, after=lambda done: place.tell("drawing relatives together", done, len(tasks)))
    for (summary, _), (text, drawing) in zip(tasks, blocks, strict=True):
        folder = place.at("pages") / "builds" / summary.slug
        body = (place.at("bodies") / f"{summary.slug}.md").read_bytes()
        _write(folder / "index.md", body.replace(RELATIVES.encode(), text.encode()))
        if drawing is None:
            (folder / "relatives.svg").unlink(missing_ok=True)
        else:
            _write(folder / "relatives.svg", drawing)


# -------------------------------------------------------------------------------------------- site


def _build_site(place: Workplace, ledger: Ledger, site: Path, pages: Mapping[str, str], standing: bool) -> list[str]:
    """Build the site, or what changed of it beside the rest of the one that stands, and put it in place."""
    from builder.publish.pages import NAV
    from builder.publish.site import build_site
    from builder.record.read import read_shop

    shop, _ = read_shop(place.archive)
    place.tell("building the site", 0, 1)
    source, gone = place.at("pages"), []
    with replaced(site) as fresh:
        if standing:
            changed = [name for name, digest in pages.items() if ledger.pages.get(name) != digest]
            gone = [_in_site(name) for name in ledger.pages if name not in pages]
            source = _stage(place, {*changed, *(page for _, page in NAV)})
            copy_tree(site, fresh)
        warnings = build_site(
            source,
            fresh,
            archive=place.archive,
            site_name=shop.name,
            site_url=shop.site_address,
            site_description=shop.tagline,
            nav=NAV,
            standing=standing,
            gone=gone,
        )
    shutil.rmtree(place.at("stage"), ignore_errors=True)
    place.tell("building the site", 1, 1)
    return warnings


def _in_site(page: str) -> str:
    return f"{page.removesuffix('.md')}.html" if page.endswith(".md") else page


def _stage(place: Workplace, names: Iterable[str]) -> Path:
    """A folder that holds only these files of the pages folder."""
    stage = place.at("stage")
    shutil.rmtree(stage, ignore_errors=True)
    for name in names:
        (stage / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(place.at("pages") / name, stage / name)
    return stage


# ------------------------------------------------------------------------------------------- files


def _write(path: Path, content: bytes) -> None:
    """Write a file unless it holds just that."""
    if path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


def _write_tree(folder: Path, files: Mapping[str, bytes], spare: Iterable[str]) -> None:
    """Make a folder hold these files, and of others only those that are spared."""
    for name, content in files.items():
        _write(folder / name, content)
    _prune(folder, set(spare), ())


def _prune(folder: Path, names: set[str], below: Iterable[str]) -> None:
    """Remove every file below a folder that is not named, and not below `builds/` and one of these slugs."""
    kept = set(below)
    for path in sorted(folder.rglob("*"), reverse=True):
        name = path.relative_to(folder).as_posix()
        parts = name.split("/")
        if name in names or (kept and parts[0] == "builds" and (len(parts) == 1 or parts[1] in kept)):
            continue
        if path.is_dir() and not path.is_symlink():
            if not any(path.iterdir()):
                path.rmdir()
        else:
            path.unlink()
