"""What Millbook changes in MkDocs and its theme, as a plugin for one batch of pages.

Each change is made at the hook that MkDocs offers for it:

- only the pages of the batch are built, and of the theme's files only those that a page uses are copied;
- every page carries a Content-Security-Policy that allows no script but those of the templates;
- text from a record stays text in the head of a page as well;
- HTML that is not for the search is not read by MkDocs (html_placeholders.py).
"""

from __future__ import annotations

import copy
import os
import re
from collections.abc import Collection
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from builder.publish.pages.templating import memory_cache, resolve_all
from builder.publish.site.csp import add_csp, csp_for
from builder.publish.site.html_placeholders import extract_raw_html, restore_raw_html
from builder.publish.site.sitemap import SITEMAP

if TYPE_CHECKING:
    from mkdocs.config.defaults import MkDocsConfig

_SAFE_URL = re.compile(r"[A-Za-z0-9._~%+,=@/-]*")
"""An address that stays text wherever a script of the theme has it."""


def batch_plugin(
    names: Collection[str], pages: Path, others: Collection[str], *, archive: Path, theme_files: bool
) -> Any:
    """Return the plugin that builds these pages of the folder; `others` may be linked to and are not built.

    The templates are those of the archive. With `theme_files` the theme's own files are copied too. The class is
    inside the function so that MkDocs is imported only when a site is built.
    """
    from mkdocs.plugins import BasePlugin, event_priority
    from mkdocs.structure.files import File, Files

    class BatchFile(File):
        def is_modified(self) -> bool:
            return self.src_uri in names

    class BatchPlugin(BasePlugin):  # type: ignore[type-arg, no-untyped-call]
        def on_config(self, config: Any) -> Any:
            config.theme.get_env = _theme_environment(config.theme.get_env, list_files=theme_files)
            config.theme.static_templates &= {"404.html"} if theme_files else set()
            self.raw_html: dict[str, list[str]] = {}
            return config

        def on_files(self, files: Any, *, config: Any) -> Any:
            for file in list(files):
                if _is_unused(file.src_uri, config):
                    files.remove(file)
            for name in sorted({*names, *others}):
                files.append(BatchFile(name, str(pages), config.site_dir, config.use_directory_urls))
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
            page.meta = {key: escaped(v) if isinstance(v, str) else v for key, v in page.meta.items()}
            markdown, self.raw_html[page.file.src_uri] = extract_raw_html(markdown)
            return markdown

        @event_priority(-100)
        def on_post_page(self, output: str, *, page: Any, config: Any) -> str:
            from mkdocs.utils import get_relative_url

            page.markdown = page.content = None  # not needed any more: frees the memory
            output = restore_raw_html(output, self.raw_html.pop(page.file.src_uri))
            return add_csp(output, self.policy(get_relative_url(".", page.url), config))

        def on_post_template(self, output: str, *, template_name: str, config: Any) -> str:
            if not template_name.endswith(".html"):
                return output
            from urllib.parse import urlsplit

            return add_csp(output, self.policy(urlsplit(config.site_url or "/").path, config))

        def policy(self, base_url: str, config: Any) -> str:
            """Return the policy for pages at this depth: it names the scripts of a page without text of the shop."""
            if base_url not in self.policies:
                from mkdocs.commands.build import get_context
                from mkdocs.structure.nav import Navigation

                empty = copy.copy(config)
                empty.site_name, empty.site_description, empty.site_url = "", None, ""
                safe_url = base_url if _SAFE_URL.fullmatch(base_url) else "/"
                context = get_context(Navigation([], []), Files([]), empty, base_url=safe_url)
                shell = self.env.get_template("404.html").render(context)
                self.policies[base_url] = csp_for(shell, self.template_sources)
            return self.policies[base_url]

        @cached_property
        def template_sources(self) -> list[str]:
            files = {**resolve_all(archive, "theme"), **resolve_all(archive, "pages")}
            return [
                file.read_text("utf-8", "replace") for name, file in files.items() if name.endswith((".html", ".j2"))
            ]

    return BatchPlugin()


def escaped(text: str | None) -> Markup | None:
    """Return a text with HTML's special characters escaped, marked as safe."""
    return None if text is None else Markup(escape(text))


def _is_unused(name: str, config: MkDocsConfig) -> bool:
    """Return whether no page uses a file of the theme: source maps, its logo, search in other languages."""
    if name.endswith(".map") or name in ("assets/images/favicon.png", SITEMAP):
        return True
    english = config.theme["language"] == "en"
    return english and name.startswith("assets/javascripts/lunr/")


def _theme_environment(get_env: Any, *, list_files: bool) -> Any:
    """Return a function for the theme's templates, which list its static files without 12,000 icons, or none."""

    def environment() -> Any:
        import jinja2

        class Loader(jinja2.FileSystemLoader):
            def list_templates(self) -> list[str]:
                names: set[str] = set()
                for base in self.searchpath if list_files else ():
                    for folder, subfolders, files in os.walk(base):
                        subfolders[:] = [name for name in subfolders if not name.startswith(".")]
                        path = os.path.relpath(folder, base).replace(os.sep, "/")
                        names.update(name if path == "." else f"{path}/{name}" for name in files)
                return sorted(names)

        env = get_env()
        env.loader = Loader(env.loader.searchpath)
        env.bytecode_cache = memory_cache()
        return env

    return environment
