"""Publishing the archive: from build folders to a site that stands.

`publish` is the whole of it, steps in the order in which data flows: find what changed; read, compute and draw
those builds; relate the builds to each other; write pages; build the site; put it in place.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish import templates
from builder.publish.hands import Hands
from builder.publish.kept import (
    Ledger,
    Tree,
    differing,
    digest_bytes,
    digest_of,
    load,
    looked_at,
    looked_at_again,
    program_digest,
)
from builder.publish.laid import drop, lay, lay_tree
from builder.publish.report import Progress, Report
from builder.publish.spare import bring_over, follow
from builder.publish.swap import claimed, keep_spare, lock, mark, put_in_place, room_beside
from builder.record.files import build_folders
from builder.record.problem import Problem, errors_in

if TYPE_CHECKING:
    from builder.archive.summary import Summary
    from builder.publish.make import Made
    from builder.publish.site import Batch, Look
    from builder.record.shop import Shop

RELATIVES = "<!-- millbook: relatives -->"
"""Stands in a build's page where its relatives go: they depend on every other build, the page does not."""

WORK = ".millbook"
"""The generator's own folder in an archive: the pages it wrote, and what it keeps to work faster."""

_BATCH = 100
"""Most pages that MkDocs gets at once: it holds them all in memory."""
_FEW_DRAWINGS, _FEW_PAGES = 30, 30
"""So few single drawings, or pages, are sooner done here than other processes started."""
_MAKING, _RELATING, _BUILDING = "reading, computing, drawing", "drawing relatives together", "building the site"


@dataclass(frozen=True)
class Workplace:
    """Where the publish of one archive works, with how many hands, and what it was asked for."""

    archive: Path
    everything: bool
    for_shop: bool
    tell: Progress
    hands: Hands

    def at(self, name: str) -> Path:
        """A place in the generator's own folder; what is for the shop's eyes is kept apart."""
        return self.archive / WORK / "shop" / name if self.for_shop else self.archive / WORK / name


@dataclass(frozen=True)
class Found:
    """What is not as it was when the archive was last published."""

    whole: str
    """The digest of all that every page depends on, `same` as it was or not."""
    same: bool
    standing: bool
    """Whether the site is there as it was left."""
    stale: tuple[Path, ...]
    """The build folders to make again."""
    keys: Mapping[str, str]
    """By slug: the digest of what a build is made from."""
    gone: tuple[str, ...]
    """Builds whose folder is no longer there."""
    harmed: bool
    """Whether something that was kept is no longer what it was."""

    @property
    def believed(self) -> bool:
        """Whether drawings that were made of the same values stand as they would be made now."""
        return self.same and not self.harmed

    @property
    def any(self) -> bool:
        """Whether there is anything to do."""
        return bool(self.stale or self.gone or self.harmed or not self.standing)


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
    with Hands() as hands:
        place = Workplace(archive, everything, for_shop, progress or (lambda what, done, of: None), hands)
        with _alone(place, out) as site:
            ledger = Ledger() if full else load(place.at("ledger.json"))
            found = _what_changed(place, ledger, site)
            remade, warnings = (
                _renewed(place, ledger, found, site) if found.any or ledger.shop_faults else (Remade(), [])
            )
            if ledger.learnt:
                ledger.save(place.at("ledger.json"))
    return _report(out, ledger, remade, warnings, time.perf_counter() - started)


def _renewed(place: Workplace, ledger: Ledger, found: Found, site: Path) -> tuple[Remade, list[str]]:
    """Make again what changed, and put the new site in place; returns what was made, and MkDocs' warnings."""
    standing = ledger.site if found.standing else None
    with (
        room_beside(site, like=found.standing) as fresh,
        place.hands.meanwhile(partial(_ahead, place.archive, site, fresh, standing)) as ready,
    ):
        remade = _remake(place, ledger, found)
        ledger.learnt = True
        if not (remade.any or found.harmed or not found.standing):
            if ready():
                keep_spare(fresh, site)
            return remade, []
        summaries = _summaries(place, ledger, remade)
        pages = _write_pages(place, ledger, summaries, found)
        shared = ready()
        if found.standing and not differing(pages, ledger.pages):
            if shared:
                keep_spare(fresh, site)
            _note(place, ledger, summaries, pages, found.whole)
            return remade, []
        laid, warnings = _build_site(place, ledger, site if found.standing else None, fresh, pages)
        mark(fresh)
        ledger.site = looked_at_again(fresh, ledger.site, laid) if found.standing else looked_at(fresh, {})
        _note(place, ledger, summaries, pages, found.whole)
        put_in_place(fresh, site)
        if shared and follow(site, fresh, laid):
            keep_spare(fresh, site)
        return remade, warnings


def _ahead(archive: Path, site: Path, fresh: Path, standing: Tree | None) -> bool:
    """What can be done for the site before anything is made: bring over the one that stands, and load MkDocs.

    Returns whether the new folder now shares its files with the site, and can be its spare.
    """
    from builder.publish.site import warm_up

    shared = standing is not None and bring_over(site, fresh, standing)
    warm_up(_look(archive))
    return shared


@contextlib.contextmanager
def _alone(place: Workplace, out: Path) -> Iterator[Path]:
    """Hold the place of the site, and the generator's own folder, which two sites of one archive share."""

    def say(what: str) -> None:
        place.tell(what, 0, 0)

    with claimed(out, archive=place.archive, say=say) as site, lock(place.at("lock"), say=say):
        for left in place.at("lock").parent.glob("*.part"):  # by a publish that was killed
            left.unlink(missing_ok=True)
        yield site


def _report(out: Path, ledger: Ledger, remade: Remade, warnings: Sequence[str], seconds: float) -> Report:
    standing = [faults for slug, faults in ledger.faults.items() if slug not in remade.summaries]
    return Report(
        out,
        tuple(sorted(ledger.builds)),
        tuple((slug, why) for slug, (_, why) in sorted(ledger.left_out.items())),
        tuple(remade.problems),
        tuple(warnings),
        seconds,
        len(remade.summaries),
        (sum(errors for errors, _ in standing), sum(warned for _, warned in standing)),
    )


# ------------------------------------------------------------------------------------ what changed


def _whole_digest(place: Workplace, ledger: Ledger) -> str:
    """The digest of all that every page depends on: program, libraries, templates, configuration, shop."""
    own = place.archive / "mkdocs.yml"
    config = own if own.is_file() else templates.our_config()
    shop = place.archive / "builds" / "shop.yaml"
    in_force = [f"{name} {ledger.digest(path)}" for name, path in templates.listing(place.archive).items()]
    return digest_of(program_digest(ledger), *in_force, ledger.digest(config), ledger.digest(shop), str(shop.resolve()))


def _what_changed(place: Workplace, ledger: Ledger, site: Path) -> Found:
    """Compare what is there with what the ledger knows."""
    whole = _whole_digest(place, ledger)
    same = ledger.whole == whole
    standing = same and bool(ledger.site) and not differing(looked_at(site, ledger.site), ledger.site)
    keys: dict[str, str] = {}
    stale = []
    harmed = _harmed(place, ledger) if ledger.whole else set()
    for folder in build_folders(place.archive):
        keys[folder.name] = digest_of(whole, str(place.everything), *ledger.folder(folder))
        kept = ledger.builds.get(folder.name) or ledger.left_out.get(folder.name, ("",))[0]
        if kept != keys[folder.name] or folder.name in harmed:
            stale.append(folder)
    gone = tuple(slug for slug in (*ledger.builds, *ledger.left_out) if slug not in keys)
    return Found(whole, same, standing, tuple(stale), keys, gone, bool(harmed))


def _harmed(place: Workplace, ledger: Ledger) -> set[str]:
    """What was kept and is no longer what it was: builds by their names, and names of other pages."""
    bodies, pages = looked_at(place.at("bodies"), ledger.bodies), looked_at(place.at("pages"), ledger.pages)
    names = [name.removesuffix(".md") for name in differing(bodies, ledger.bodies)]
    for name in differing(pages, ledger.pages):
        top, _, below = name.partition("/")
        names.append(below.partition("/")[0] if top == "builds" else name)
    index = place.at("index.json")
    if not index.is_file() or digest_bytes(index.read_bytes()) != ledger.index:
        names += ledger.builds
    return set(names)


# ------------------------------------------------------------------------------------ builds, made


def _remake(place: Workplace, ledger: Ledger, found: Found) -> Remade:
    """Make the stale builds again, and forget those whose folder is gone."""
    remade = Remade([slug for slug in found.gone if slug in ledger.builds])
    for slug in found.gone:
        ledger.forget(slug)
    from builder.publish.make import made_or_not
    from builder.record.read import read_shop

    shop, remade.problems = read_shop(place.archive)
    ledger.shop_faults = len(remade.problems)
    work = partial(
        made_or_not,
        archive=place.archive,
        shop=shop,
        templates_key=found.whole,
        stood=place.at("pages") / "builds" if found.believed else None,
        everything=place.everything,
        for_shop=place.for_shop,
    )
    for made in place.hands.each(work, found.stale, after=lambda done: place.tell(_MAKING, done, len(found.stale))):
        remade.problems += made.problems
        stood = made.slug in ledger.builds
        errors = len(errors_in(made.problems))
        if errors and place.for_shop and stood and made.summary is None:
            # Somebody is at work on this record: its last good page stays up until it can be read again.
            ledger.left_out[made.slug] = ("", f"{made.why_not}; its last good page stands")
            continue
        ledger.forget(made.slug)
        if made.summary is not None:
            remade.summaries[made.slug] = made.summary
            ledger.builds[made.slug] = found.keys[made.slug]
            if made.problems:
                ledger.faults[made.slug] = (errors, len(made.problems) - errors)
            _lay_made(place, made)
        else:
            # A build with errors is looked at each time, so that its errors are told each time.
            ledger.left_out[made.slug] = ("" if errors else found.keys[made.slug], made.why_not or "")
            remade.withdrawn += [made.slug] * stood
    return remade


def _lay_made(place: Workplace, made: Made) -> None:
    """Lay down what was made of a build: its page as far as it stands, and everything beside it."""
    lay_tree(place.at("pages") / "builds" / made.slug, made.files, spare=("index.md", "relatives.svg"))
    lay(place.at("bodies") / f"{made.slug}.md", made.page.encode())


def _summaries(place: Workplace, ledger: Ledger, remade: Remade) -> list[Summary]:
    """The short form of every published build, made now or kept."""
    from builder.archive.index import index_bytes, index_read, read_index

    kept = {summary.slug: summary for summary in read_index(place.at("index.json")) or ()}
    # What is made now goes through the index's own form, so that it is just what it will be when it was kept.
    fresh = {summary.slug: summary for summary in index_read(index_bytes(remade.summaries.values())) or ()}
    return [fresh.get(slug) or kept[slug] for slug in sorted(ledger.builds)]


# ------------------------------------------------------------------------------------------- pages


def _write_pages(place: Workplace, ledger: Ledger, summaries: Sequence[Summary], found: Found) -> Tree:
    """Write every page of the archive that is not as it should be; returns every file of the pages folder.

    The pages that no build has a part in are written only if they may not be what they were.
    """
    from builder.draw.picture import standing
    from builder.publish.make import environment
    from builder.publish.pages import archive_pages, fixed_pages
    from builder.record.read import read_shop

    shop, _ = read_shop(place.archive)
    place.tell("relating builds", 0, 1)
    pages = place.at("pages")
    overview = [(pages / "overview.md").read_text(encoding="utf-8")] if found.believed else []
    with templates.plain_errors(), standing(overview):
        files = archive_pages(summaries, shop, environment(place.archive, found.whole))
        if found.harmed or not found.same or not ledger.fixed:
            fixed = fixed_pages(shop, environment(place.archive, found.whole)) | templates.assets(place.archive)
            ledger.fixed = sorted(fixed)
            files |= fixed
    for name, content in files.items():
        lay(pages / name, content)
    ledger.bodies = looked_at(place.at("bodies"), ledger.bodies)
    for name in [name for name in ledger.bodies if name.removesuffix(".md") not in ledger.builds]:
        drop(place.at("bodies"), [name])
        del ledger.bodies[name]
    _write_relatives(place, ledger, summaries, shop, found)
    tree = looked_at(pages, ledger.pages)
    wanted = {*files, *ledger.fixed}
    odd = [name for name in tree if name not in wanted and not _of_build(name, ledger)]
    drop(pages, odd)
    for name in odd:
        del tree[name]
    return tree


def _of_build(page: str, ledger: Ledger) -> bool:
    parts = page.split("/")
    return parts[0] == "builds" and len(parts) > 2 and parts[1] in ledger.builds


def _write_relatives(place: Workplace, ledger: Ledger, summaries: Sequence[Summary], shop: Shop, found: Found) -> None:
    """Complete the pages of builds with their relatives, where they or the page are not what they were."""
    from builder.publish.relatives import relatives_block, relatives_of

    tasks = []
    for of in relatives_of(summaries, shop, found.whole):
        key = digest_of(of.key, ledger.bodies[f"{of.summary.slug}.md"][3])
        if ledger.blocks.get(of.summary.slug) != key:
            tasks.append(of)
            ledger.blocks[of.summary.slug] = key
    stood = place.at("pages") / "builds" if found.believed else None
    work = partial(relatives_block, shop=shop, archive=place.archive, templates_key=found.whole, stood=stood)
    blocks = place.hands.each(
        work, tasks, few=_FEW_DRAWINGS, after=lambda done: place.tell(_RELATING, done, len(tasks))
    )
    for of, (text, drawing) in zip(tasks, blocks, strict=True):
        folder = place.at("pages") / "builds" / of.summary.slug
        body = (place.at("bodies") / f"{of.summary.slug}.md").read_bytes()
        lay(folder / "index.md", body.replace(RELATIVES.encode(), text.encode()))
        if drawing is None:
            (folder / "relatives.svg").unlink(missing_ok=True)
        else:
            lay(folder / "relatives.svg", drawing)


# -------------------------------------------------------------------------------------------- site


def _build_site(
    place: Workplace, ledger: Ledger, standing: Path | None, fresh: Path, pages: Tree
) -> tuple[set[str], list[str]]:
    """Build the site in `fresh`: where one stands as it was left, only what changed, beside the rest of that one.

    Returns the files that were laid or removed, and what MkDocs warned of.
    """
    from builder.publish.site import build_pages, complete, index_without, lay_files

    look = _look(place.archive)
    changed = sorted(differing(pages, ledger.pages) if standing else pages)
    changed_pages = [name for name in changed if name.endswith(".md") and name in pages]
    place.tell(_BUILDING, 0, len(changed_pages))
    index = None
    laid = {f"{name[:-3]}.html" if name.endswith(".md") else name for name in changed}
    if standing:
        drop(fresh, laid)
        index = index_without(standing, laid)
    batches = _batches(changed_pages, shell=not standing, hands=place.hands)
    others = [name for name in pages if name.endswith(".md")]
    work = partial(build_pages, pages=place.at("pages"), out=fresh, look=look, others=others)
    built = []
    if len(batches) == 1:
        built = [place.hands.apart(partial(work, batches[0]))]  # there, MkDocs is loaded already
    for each in place.hands.each(work, batches) if len(batches) > 1 else ():
        built.append(each)
        place.tell(_BUILDING, sum(len(batch.names) for batch in batches[: len(built)]), len(changed_pages))
    lay_files([name for name in changed if not name.endswith(".md") and name in pages], place.at("pages"), fresh)
    laid.update(*(each.names for each in built), complete(fresh, look, index, built, others))
    return laid, [warning for each in built for warning in each.warnings]


def _batches(names: Sequence[str], *, shell: bool, hands: Hands) -> list[Batch]:
    """The pages in parts, enough of them that all hands have some; what belongs to no page goes with the first."""
    from builder.publish.site import Batch

    size = max(_FEW_PAGES, min(_BATCH, -(-len(names) // hands.count)))
    parts = [tuple(names[start : start + size]) for start in range(0, len(names), size)]
    if shell:
        parts = parts or [()]
    return [Batch(part, shell and not number) for number, part in enumerate(parts)]


def _look(archive: Path) -> Look:
    from builder.publish.pages import NAV
    from builder.publish.site import Look
    from builder.record.read import read_shop

    shop, _ = read_shop(archive)
    return Look(archive, shop.name, shop.site_address, shop.tagline, NAV)


def _note(place: Workplace, ledger: Ledger, summaries: Sequence[Summary], pages: Tree, whole: str) -> None:
    """Write down what was made, last before the new site takes its place.

    A publish that does not come so far is not believed; one that is killed just after finds another site than it
    should, and builds it anew.
    """
    from builder.archive.index import index_bytes, write_index

    write_index(place.at("index.json"), summaries)
    ledger.index = digest_bytes(index_bytes(summaries))
    ledger.pages, ledger.whole = pages, whole
    ledger.save(place.at("ledger.json"))
    ledger.learnt = False
