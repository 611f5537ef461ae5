"""Everything Millbook knows of MkDocs and its theme: from a folder of Markdown pages to a folder of HTML.

The theme has announced its end of life: this file, with search_index.py, is what to rewrite when a shop moves on.
Beyond MkDocs' own work it sees to five things, each at the hook where MkDocs offers it:

- no page asks another host for anything, and what the theme brings but no page uses stays out of the site;
- the text search also works in a folder opened without a server;
- every page carries a Content-Security-Policy that lets no script run but the theme's and ours;
- text from a record stays text in the head of a page as well;
- the same pages give the same bytes, on any day.
"""

from __future__ import annotations

import contextlib
import logging
import os
import re
import shutil
import tempfile
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from builder.publish.errors import PublishError
from builder.publish.pages import templating
from builder.publish.site.csp import add_csp, csp_for
from builder.publish.site.html_placeholders import extract_raw_html, restore_raw_html
from builder.publish.site.search_index import INDEX, SCRIPT, Index, index_of, merge_and_write

if TYPE_CHECKING:
    from mkdocs.config.defaults import MkDocsConfig

#: Pages of the navigation: title and Markdown file, in order.
Nav = Sequence[tuple[str, str]]

_FIXED_DATE = "315532800"  # 1 January 1980, the first day that zip archives know


@dataclass(frozen=True)
class SiteConfig:
    """What the pages of a site have in common: the archive they are of, the site's name and address, its navigation.

    With no `nav` given, the configuration's own is used, without the entries that have no page. Without
    `search`, the pages have no text search: a record of one page needs none.
    """

    archive: Path
    name: str
    address: str | None = None
    description: str | None = None
    nav: Nav | None = None
    search: bool = True


@dataclass(frozen=True)
class PageBatch:
    """Pages that are built together; with `shell`, also what belongs to no page: the theme's own files, the page
    for an unknown address.
    """

    names: tuple[str, ...]
    include_theme_files: bool = False


@dataclass(frozen=True)
class BatchResult:
    """What building some pages came to: the files laid, their part of the search index, and MkDocs' warnings."""

    names: tuple[str, ...]
    index: dict[str, Any] | None
    warnings: tuple[str, ...]


def build_site(
    pages: Path,
    out: Path,
    *,
    archive: Path,
    site_name: str,
    site_url: str | None = None,
    site_description: str | None = None,
    nav: Nav | None = None,
    search: bool = True,
) -> list[str]:
    """Build the Markdown folder `pages` into `out` at one go; return what MkDocs warned of, such as a dead link.

    Raises PublishError when the configuration or a template is at fault, OSError when the disk is.
    """
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    templating.copy_assets(archive, pages)
    config = SiteConfig(archive, site_name, site_url, site_description, nav, search)
    names = sorted(path.relative_to(pages).as_posix() for path in pages.rglob("*") if path.is_file())
    batch = PageBatch(tuple(name for name in names if name.endswith(".md")), include_theme_files=True)
    built = build_pages(batch, pages=pages, out=out, config=config)
    copy_assets([name for name in names if not name.endswith(".md")], pages, out)
    finalize(out, config, None, [built], names)
    return list(built.warnings)


def build_pages(
    batch: PageBatch, *, pages: Path, out: Path, config: SiteConfig, others: Collection[str] = ()
) -> BatchResult:
    """Build some Markdown files of the folder `pages` into `out`, where nothing stands in their place.

    `others` are the pages that are not built now, and may be linked to. Every page comes out the same
    whichever others are built with it.
    """
    own = Path(tempfile.mkdtemp(prefix=".making-", dir=out))
    docs, made = own / "pages", own / "site"
    docs.mkdir()
    with _quiet_mkdocs() as heard:
        mkdocs_config = _configuration(docs, made, pages, config, heard)
        from mkdocs.commands.build import build

        mkdocs_config.plugins["millbook"] = _hooks(batch, pages, others)
        with _translate_errors(mkdocs_config.config_file_path, heard):
            build(mkdocs_config, dirty=True)  # which lets a page be known and not built
    index = index_of(made)
    names = []
    for path in [path for path in made.rglob("*") if path.is_file()]:
        name = path.relative_to(made).as_posix()
        if batch.include_theme_files or name.endswith(".html"):
            (out / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(path, out / name)
            names.append(name)
    shutil.rmtree(own)
    return BatchResult(
        tuple(names), index, tuple(warning for warning in heard.warnings if _is_relevant(warning, pages))
    )


def copy_assets(names: Iterable[str], pages: Path, out: Path) -> None:
    """Copy what is no page, such as drawings, from the pages folder to the site."""
    for name in names:
        target = out / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.unlink(missing_ok=True)  # it may share its content with the site that stands
        shutil.copyfile(pages / name, target)


def finalize(
    site: Path, config: SiteConfig, index: Index | None, built: Iterable[BatchResult], pages: Iterable[str]
) -> tuple[str, ...]:
    """Write what belongs to all `pages` together: the search index, and the list of addresses; returns their names.

    `index` is the part of the search index that belongs to pages which were not built now.
    """
    merge_and_write(site, [part for part in (index, *(each.index for each in built)) if part is not None])
    _sitemap(site, config.address, pages)
    return INDEX, SCRIPT, _ADDRESSES


# ------------------------------------------------------------------------------------- configuration


def _configuration(docs: Path, made: Path, pages: Path, site: SiteConfig, captured: _LogCapture) -> MkDocsConfig:
    from mkdocs.config import load_config
    from mkdocs.config.config_options import Hooks

    # MkDocs keeps hooks as they first were; a preview lives to see them edited.
    getattr(Hooks._load_hook, "cache_clear", lambda: None)()
    own = site.archive / "mkdocs.yml"
    file = own if own.is_file() else templating.builtin_config()
    with _translate_errors(str(file), captured):
        config = load_config(
            str(file),
            docs_dir=str(docs.resolve()),
            site_dir=str(made.resolve()),
            strict=False,
            site_name=_escaped(site.name),
            site_url=site.address or "",
            site_description=_escaped(site.description),
            use_directory_urls=False,  # the pages link to each other so
        )
    # The shop's own theme files come first, then ours, then the theme's.
    folders = [str(folder / "theme") for folder in templating.search_path(site.archive) if (folder / "theme").is_dir()]
    config.theme.dirs = list(dict.fromkeys([*folders, *config.theme.dirs]))
    config.nav = [{title: page} for title, page in site.nav] if site.nav else _nav_with_pages(config, pages)
    if not site.search and (plugin := config.plugins.pop("material/search", None)) is not None:
        plugin.config["enabled"] = False  # its hooks stay, and do nothing
    return config


def _nav_with_pages(config: MkDocsConfig, pages: Path) -> list[Any] | None:
    """The configuration's navigation without the pages that this archive does not have."""

    def keep(entry: Any) -> Any:
        target = next(iter(entry.values())) if isinstance(entry, dict) else entry
        if isinstance(target, list):
            inside = [kept for e in target if (kept := keep(e)) is not None]
            return {next(iter(entry)): inside} if inside else None
        return entry if not str(target).endswith(".md") or (pages / str(target)).is_file() else None

    return [kept for entry in config.nav if (kept := keep(entry)) is not None] if config.nav else None


def _with_files(get_env: Any, wanted: bool) -> Any:
    """The theme's templates, which also tell its static files: all but its 12,000 icons, or none."""

    def quicker() -> Any:
        import jinja2

        class Loader(jinja2.FileSystemLoader):
            def list_templates(self) -> list[str]:
                found: set[str] = set()
                for base in self.searchpath if wanted else ():
                    for folder, inner, files in os.walk(base):
                        inner[:] = [name for name in inner if not name.startswith(".")]
                        where = os.path.relpath(folder, base).replace(os.sep, "/")
                        found.update(name if where == "." else f"{where}/{name}" for name in files)
                return sorted(found)

        environment = get_env()
        environment.loader = Loader(environment.loader.searchpath)
        environment.bytecode_cache = _compiled()
        return environment

    return quicker


@cache
def _compiled() -> Any:
    """The theme's templates as they were compiled for the pages before, while this process lives."""
    import jinja2

    class Compiled(jinja2.BytecodeCache):
        def __init__(self) -> None:
            self.known: dict[tuple[str, str], bytes] = {}

        def load_bytecode(self, bucket: Any) -> None:
            if (code := self.known.get((bucket.key, bucket.checksum))) is not None:
                bucket.bytecode_from_string(code)

        def dump_bytecode(self, bucket: Any) -> None:
            self.known[bucket.key, bucket.checksum] = bucket.bytecode_to_string()

    return Compiled()


def preload(archive: Path) -> None:
    """Load MkDocs and the theme into this process, by building a page of no consequence."""
    with tempfile.TemporaryDirectory(prefix="millbook-") as made:
        pages, out = Path(made) / "pages", Path(made) / "site"
        pages.mkdir()
        out.mkdir()
        (pages / "index.md").write_text("# Page\n\nIts words.\n")
        build_pages(PageBatch(("index.md",)), pages=pages, out=out, config=SiteConfig(archive, "Warming up"))


def _escaped(words: str | None) -> Markup | None:
    return None if words is None else Markup(escape(words))


# --------------------------------------------------------------------------------------------- hooks


def _hooks(batch: PageBatch, pages: Path, others: Collection[str]) -> Any:
    """Our plugin for one batch; made in a function so that MkDocs is imported only when a site is built."""
    from mkdocs.plugins import BasePlugin, event_priority
    from mkdocs.structure.files import File

    class Page(File):
        def is_modified(self) -> bool:
            return self.src_uri in names

    names = frozenset(batch.names)

    class Hooks(BasePlugin):  # type: ignore[type-arg, no-untyped-call]
        def on_config(self, config: Any) -> Any:
            config.theme.get_env = _with_files(config.theme.get_env, batch.include_theme_files)
            config.theme.static_templates &= {"404.html"} if batch.include_theme_files else set()
            self.parts: dict[str, list[str]] = {}
            return config

        def on_files(self, files: Any, *, config: Any) -> Any:
            for file in list(files):
                if _unused(file.src_uri, config):
                    files.remove(file)
            for name in sorted({*batch.names, *others}):
                files.append(Page(name, str(pages), config.site_dir, config.use_directory_urls))
            return files

        def on_nav(self, nav: Any, *, config: Any, files: Any) -> Any:
            self.nav, self.files = nav, files
            return nav

        def on_env(self, env: Any, *, config: Any, files: Any) -> Any:
            self.policies: dict[str, str] = {}
            self.env = env
            return env

        def on_page_markdown(self, markdown: str, *, page: Any, config: Any, files: Any) -> str:
            # The theme writes these into the head unescaped.
            page.meta = {key: _escaped(v) if isinstance(v, str) else v for key, v in page.meta.items()}
            markdown, self.parts[page.file.src_uri] = extract_raw_html(markdown)
            return markdown

        @event_priority(-100)
        def on_post_page(self, output: str, *, page: Any, config: Any) -> str:
            from mkdocs.utils import get_relative_url

            page.markdown = page.content = None  # written: nobody needs it any more
            output = restore_raw_html(output, self.parts.pop(page.file.src_uri))
            return add_csp(output, self.policy(get_relative_url(".", page.url), config))

        def on_post_template(self, output: str, *, template_name: str, config: Any) -> str:
            if not template_name.endswith(".html"):
                return output
            from urllib.parse import urlsplit

            return add_csp(output, self.policy(urlsplit(config.site_url or "/").path, config))

        def policy(self, base_url: str, config: Any) -> str:
            """The policy for pages so far down: it names the scripts of a page without any content."""
            if base_url not in self.policies:
                from mkdocs.commands.build import get_context

                context = get_context(self.nav, self.files, config, base_url=base_url)
                self.policies[base_url] = csp_for(self.env.get_template("404.html").render(context))
            return self.policies[base_url]

    return Hooks()


def _unused(name: str, config: MkDocsConfig) -> bool:
    """Whether a file of the theme serves no page: its source maps and logo, search in other languages, templates."""
    if name.endswith(".map") or name in ("assets/images/favicon.png", _ADDRESSES):
        return True
    english = config.theme["language"] == "en"
    return english and name.startswith("assets/javascripts/lunr/")


# ---------------------------------------------------------------------------------- list of addresses

_ADDRESSES = "sitemap.xml"


def _sitemap(site: Path, site_url: str | None, pages: Iterable[str]) -> None:
    """The list of addresses that search engines read; none without an address to publish under."""
    (site / _ADDRESSES).unlink(missing_ok=True)  # the site that stands may share it
    if not site_url:
        return
    addresses = sorted(f"{name[:-3]}.html" for name in pages if name.endswith(".md"))
    listed = "".join(f"  <url><loc>{escape(site_url.rstrip('/') + '/' + page)}</loc></url>\n" for page in addresses)
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<urlset xmlns="http://www.sitemaps.org/schemas/sitemap/0.9">\n'
    (site / _ADDRESSES).write_text(f"{head}{listed}</urlset>\n", encoding="utf-8", newline="\n")


# ------------------------------------------------------------------------------- quiet, and in plain words


_DEAD_LINK = re.compile(r"but the target '(?P<target>[^']+)' is not found")


def _is_relevant(warning: str, pages: Path) -> bool:
    """Whether a warning is one: not about building only some pages, and not about a file that is no page."""
    dead = _DEAD_LINK.search(warning)
    return "'dirty' build" not in warning and not (dead and (pages / dead["target"]).is_file())


class _LogCapture(logging.Handler):
    """Keeps what MkDocs has to say instead of letting it into the shop's terminal."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.warnings: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.warnings.append(record.getMessage())


@contextlib.contextmanager
def _quiet_mkdocs() -> Iterator[_LogCapture]:
    """Silence, a fixed date, and no announcement of the theme's, while MkDocs works."""
    date = os.environ.get("SOURCE_DATE_EPOCH", _FIXED_DATE)
    fixed = {"NO_MKDOCS_2_WARNING": "true", "SOURCE_DATE_EPOCH": date}
    before = {name: os.environ.get(name) for name in fixed}
    os.environ.update(fixed)
    logger = logging.getLogger("mkdocs")
    heard, propagate, level = _LogCapture(), logger.propagate, logger.level
    logger.addHandler(heard)
    logger.propagate = False
    logger.setLevel(logging.WARNING)
    try:
        yield heard
    finally:
        logger.removeHandler(heard)
        logger.propagate = propagate
        logger.setLevel(level)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@contextlib.contextmanager
def _translate_errors(config_file: str | None, captured: _LogCapture) -> Iterator[None]:
    """One sentence instead of MkDocs' ways of giving up. Trouble with the disk goes through as it is."""
    import jinja2
    import yaml
    from mkdocs.exceptions import MkDocsException

    try:
        yield
    except (MkDocsException, SystemExit) as error:
        why = "; ".join(captured.warnings) or str(error)
        raise PublishError(f"{config_file}: {' '.join(why.split())}") from error
    except yaml.YAMLError as error:
        raise PublishError(f"{config_file}: {' '.join(str(error).split())}") from error
    except jinja2.TemplateError as error:
        where = getattr(error, "filename", None) or getattr(error, "name", None) or "a template of the theme"
        number = getattr(error, "lineno", None)
        line = f":{number}" if number else ""
        raise PublishError(f"{where}{line}: {error.message or 'the template cannot be used'}") from error
