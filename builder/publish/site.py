"""Everything Millbook knows of MkDocs and its theme: from a folder of Markdown pages to a folder of HTML.

The theme has announced its end of life, so this file is the only one to rewrite when a shop moves on.
Beyond MkDocs' own work it sees to five things, each at the hook where MkDocs offers it:

- no page asks another host for anything, and what the theme brings but no page uses stays out of the site;
- the text search also works in a folder opened without a server;
- every page carries a Content-Security-Policy that lets no script run but the theme's and ours;
- text from a record stays text in the head of a page as well;
- the same pages give the same bytes, on any day.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import logging
import os
import re
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from builder.publish import templates
from builder.publish.swap import PublishProblem

if TYPE_CHECKING:
    from mkdocs.config.defaults import MkDocsConfig

#: Pages of the navigation: title and Markdown file, in order.
Nav = Sequence[tuple[str, str]]

_FIXED_DATE = "315532800"  # 1 January 1980, the first day that zip archives know


def build_site(
    pages: Path,
    out: Path,
    *,
    archive: Path,
    site_name: str,
    site_url: str | None = None,
    site_description: str | None = None,
    copyright_line: str | None = None,
    nav: Nav | None = None,
    standing: bool = False,
    gone: Collection[str] = (),
    search: bool = True,
) -> list[str]:
    """Build the Markdown folder `pages` into `out`; return what MkDocs warned of, such as a dead link.

    With `standing`, `out` holds the whole site as it was and `pages` only what changed: those pages are built
    anew, `gone` (files of the site) go, and the search index and the list of addresses stay whole.

    Without `search`, the pages have no text search: a record of one page needs none.
    `archive` is the folder that holds `builds/`; its own `mkdocs.yml` and `site_templates/` come before ours.
    With no `nav` given, the configuration's own is used, without the entries that have no page.
    Raises PublishProblem when the configuration or a template is at fault, OSError when the disk is.
    """
    templates.lay_assets(archive, pages)
    kept = _kept_entries(out, gone) if standing else {}
    for name in gone:
        (out / name).unlink(missing_ok=True)
    with _quiet_mkdocs() as heard:
        config = _configuration(
            pages,
            out,
            archive,
            heard,
            site_name=Markup(escape(site_name)),
            site_url=site_url or "",
            site_description=_escaped(site_description),
            copyright=_escaped(copyright_line),
        )
        config.nav = [{title: page} for title, page in nav] if nav else _nav_with_pages(config, pages)
        if not search and (plugin := config.plugins.pop("material/search", None)) is not None:
            plugin.config["enabled"] = False  # its hooks stay, and do nothing
        from mkdocs.commands.build import build

        config.plugins["millbook"].kept = kept  # type: ignore[attr-defined]
        with _plain_failures(config.config_file_path, heard):
            # MkDocs empties the folder before it builds, unless it is told that something stands there.
            build(config, dirty=standing)
    return [warning for warning in heard.warnings if "dirty" not in warning]


# ------------------------------------------------------------------------------------- configuration


def _configuration(pages: Path, out: Path, archive: Path, heard: _Heard, **settings: Any) -> MkDocsConfig:
    from mkdocs.config import load_config

    own = archive / "mkdocs.yml"
    file = own if own.is_file() else templates.our_config()
    with _plain_failures(str(file), heard):
        config = load_config(
            str(file), docs_dir=str(pages.resolve()), site_dir=str(out.resolve()), strict=False, **settings
        )
    # The shop's own theme files come first, then ours, then the theme's.
    folders = [str(folder / "theme") for folder in templates.folders(archive) if (folder / "theme").is_dir()]
    config.theme.dirs = list(dict.fromkeys([*folders, *config.theme.dirs]))
    config.theme.get_env = _without_icons(config.theme.get_env)  # type: ignore[method-assign]
    config.plugins["millbook"] = _hooks()
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


def _without_icons(get_env: Any) -> Any:
    """The theme looks for static files among its 12,000 icons, of which it publishes none; walk past them."""

    def quicker() -> Any:
        import jinja2

        class Loader(jinja2.FileSystemLoader):
            def list_templates(self) -> list[str]:
                found: set[str] = set()
                for base in self.searchpath:
                    for folder, inner, files in os.walk(base):
                        inner[:] = [name for name in inner if not name.startswith(".")]
                        where = os.path.relpath(folder, base).replace(os.sep, "/")
                        found.update(name if where == "." else f"{where}/{name}" for name in files)
                return sorted(found)

        environment = get_env()
        environment.loader = Loader(environment.loader.searchpath)
        return environment

    return quicker


def _escaped(words: str | None) -> Markup | None:
    return None if words is None else Markup(escape(words))


# --------------------------------------------------------------------------------------------- hooks


def _hooks() -> Any:
    """Our plugin; made in a function so that MkDocs is imported only when a site is built."""
    from mkdocs.plugins import BasePlugin, event_priority

    class Hooks(BasePlugin):  # type: ignore[type-arg, no-untyped-call]
        kept: dict[str, list[dict[str, Any]]]

        def on_files(self, files: Any, *, config: Any) -> Any:
            for file in list(files):
                if _unused(file.src_uri, config):
                    files.remove(file)
                else:
                    # The standing site may share this file with the one it replaces: write beside it, not into it.
                    Path(file.abs_dest_path).unlink(missing_ok=True)
            for name in _MADE_LAST:
                (Path(config.site_dir) / name).unlink(missing_ok=True)
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
            return markdown

        def on_post_page(self, output: str, *, page: Any, config: Any) -> str:
            from mkdocs.utils import get_relative_url

            return _with_policy(output, self.policy(get_relative_url(".", page.url), config))

        def on_post_template(self, output: str, *, template_name: str, config: Any) -> str:
            if not template_name.endswith(".html"):
                return output
            from urllib.parse import urlsplit

            return _with_policy(output, self.policy(urlsplit(config.site_url or "/").path, config))

        @event_priority(-100)
        def on_post_build(self, *, config: Any) -> None:
            site = Path(config.site_dir)
            _whole_index(site, self.kept)
            _addresses(site, config.site_url)

        def policy(self, base_url: str, config: Any) -> str:
            """The policy for pages so far down: it names the scripts of a page without any content."""
            if base_url not in self.policies:
                from mkdocs.commands.build import get_context

                context = get_context(self.nav, self.files, config, base_url=base_url)
                self.policies[base_url] = policy_for(self.env.get_template("404.html").render(context))
            return self.policies[base_url]

    return Hooks()


def _unused(name: str, config: MkDocsConfig) -> bool:
    """Whether a file of the theme serves no page: its source maps, its logo, search in other languages."""
    if name.endswith(".map") or name == "assets/images/favicon.png":
        return True
    english = config.theme["language"] == "en"
    return english and name.startswith("assets/javascripts/lunr/")


_INDEX, _INDEX_SCRIPT = "search/search_index.json", "search/search_index.js"
_MADE_LAST = (_INDEX, _INDEX_SCRIPT, "sitemap.xml", "sitemap.xml.gz", "404.html")


def _kept_entries(site: Path, gone: Collection[str]) -> dict[str, list[dict[str, Any]]]:
    """The search index of a standing site by page, without the pages that go."""
    try:
        entries = json.loads((site / _INDEX).read_bytes())["docs"]
    except (OSError, ValueError, KeyError):
        raise PublishProblem(f"the search index of {site} is damaged: publish with --full") from None
    kept: dict[str, list[dict[str, Any]]] = {}
    for entry in entries:
        page = _page_of(entry)
        if page not in gone:
            kept.setdefault(page, []).append(entry)
    return kept


def _page_of(entry: dict[str, Any]) -> str:
    location = str(entry["location"]).partition("#")[0]
    return location or "index.html"


def _whole_index(site: Path, kept: dict[str, list[dict[str, Any]]]) -> None:
    """Put what was just built beside what stood already, in one order whichever way a page came in.

    The index is written once more as a script: a page opened as a file may not read a JSON file beside it.
    """
    path = site / _INDEX
    if not path.is_file():
        return
    index = json.loads(path.read_bytes())
    built: dict[str, list[dict[str, Any]]] = {}
    for entry in index["docs"]:
        built.setdefault(_page_of(entry), []).append(entry)
    pages = {**kept, **built}
    index["docs"] = [entry for page in sorted(pages) for entry in pages[page]]
    text = json.dumps(index, sort_keys=True, separators=(",", ":")).encode()
    path.write_bytes(text)
    (site / _INDEX_SCRIPT).write_bytes(b"var __index = " + text)


def _addresses(site: Path, site_url: str | None) -> None:
    """The list of addresses that search engines read; none without an address to publish under."""
    for name in ("sitemap.xml", "sitemap.xml.gz"):
        (site / name).unlink(missing_ok=True)
    if not site_url:
        return
    pages = sorted(path.relative_to(site).as_posix() for path in site.rglob("*.html") if path.name != "404.html")
    listed = "".join(f"  <url><loc>{escape(site_url.rstrip('/') + '/' + page)}</loc></url>\n" for page in pages)
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<urlset xmlns="http://www.sitemaps.org/schemas/sitemap/0.9">\n'
    (site / "sitemap.xml").write_text(f"{head}{listed}</urlset>\n", encoding="utf-8", newline="\n")


# --------------------------------------------------------------------------- Content-Security-Policy

_SCRIPT = re.compile(r"<script(?P<attributes>[^>]*)>(?P<code>.*?)</script>", re.DOTALL | re.IGNORECASE)
_CHARSET = '<meta charset="utf-8">'

# `file:` is there for a site opened from a folder, where some browsers take 'self' to mean nothing at all;
# a page that came from a server may not load files in any case.
_POLICY = (
    ("default-src", "'none'"),
    ("script-src", "'self' file:"),
    ("worker-src", "'self' file:"),
    ("style-src", "'self' file:"),
    ("img-src", "'self' file: data:"),
    ("font-src", "'self' file:"),
    ("connect-src", "'self' file:"),
    ("form-action", "'self' file:"),
    ("base-uri", "'none'"),
)


def policy_for(shell: str) -> str:
    """The policy that lets run the inline scripts of `shell`, a page without content, and no other."""
    allowed = dict(_POLICY)
    for digest in dict.fromkeys(_digests(shell)):
        allowed["script-src"] += f" '{digest}'"
    return "; ".join(f"{what} {where}" for what, where in allowed.items())


def _digests(page: str) -> Iterator[str]:
    for script in _SCRIPT.finditer(page):
        attributes = script["attributes"].lower()
        if "src=" in attributes or "json" in attributes:
            continue
        digest = hashlib.sha256(script["code"].encode()).digest()
        yield "sha256-" + base64.b64encode(digest).decode()


def _with_policy(page: str, policy: str) -> str:
    if _CHARSET not in page:
        raise PublishProblem(f"a page of the theme has no {_CHARSET}, after which its security policy belongs")
    meta = f'{_CHARSET}\n      <meta http-equiv="Content-Security-Policy" content="{policy}">'
    return page.replace(_CHARSET, meta, 1)


# ------------------------------------------------------------------------------- quiet, and in plain words


class _Heard(logging.Handler):
    """Keeps what MkDocs has to say instead of letting it into the shop's terminal."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.warnings: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.warnings.append(record.getMessage())


@contextlib.contextmanager
def _quiet_mkdocs() -> Iterator[_Heard]:
    """Silence, a fixed date, and no announcement of the theme's, while MkDocs works."""
    date = os.environ.get("SOURCE_DATE_EPOCH", _FIXED_DATE)
    fixed = {"NO_MKDOCS_2_WARNING": "true", "SOURCE_DATE_EPOCH": date}
    before = {name: os.environ.get(name) for name in fixed}
    os.environ.update(fixed)
    logger = logging.getLogger("mkdocs")
    heard, propagate, level = _Heard(), logger.propagate, logger.level
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
def _plain_failures(config_file: str | None, heard: _Heard) -> Iterator[None]:
    """One sentence instead of MkDocs' ways of giving up. Trouble with the disk goes through as it is."""
    import jinja2
    import yaml
    from mkdocs.exceptions import MkDocsException

    try:
        yield
    except (MkDocsException, SystemExit) as error:
        why = "; ".join(heard.warnings) or str(error)
        raise PublishProblem(f"{config_file}: {' '.join(why.split())}") from error
    except yaml.YAMLError as error:
        raise PublishProblem(f"{config_file}: {' '.join(str(error).split())}") from error
    except jinja2.TemplateError as error:
        where = getattr(error, "filename", None) or getattr(error, "name", None) or "a template of the theme"
        number = getattr(error, "lineno", None)
        line = f":{number}" if number else ""
        raise PublishProblem(f"{where}{line}: {error.message or 'the template cannot be used'}") from error
