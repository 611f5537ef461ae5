"""Templates and assets in force, and the Jinja2 environment that renders pages.

A shop restyles its archive with files in a folder `site_templates/` next to its `builds/`: each file there replaces
the built-in file of the same path.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import traceback
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish.errors import PublishError
from builder.publish.incremental.manifest import SYSTEM_FILES
from builder.publish.incremental.output_dir import write_if_changed
from builder.publish.pages.escaping import escape_text, inline, prose, yaml_scalar
from builder.publish.pages.formatting import anchor, group_thousands, sentence
from builder.record.wording import in_sentence

if TYPE_CHECKING:
    import jinja2

_PACKAGE = Path(__file__).resolve().parents[2]
FOLDER = "site_templates"
STATIC = "static"
"""The folder in it with files for the root of the site."""


def builtin_dir() -> Path:
    """Return the folder of the built-in templates: inside the installed package, or at the top of the source tree."""
    installed = _PACKAGE / "_installed" / FOLDER
    return installed if installed.is_dir() else _PACKAGE.parent / FOLDER


def builtin_config() -> Path:
    """Return the path of the built-in mkdocs.yml, next to the built-in templates."""
    return builtin_dir().parent / "mkdocs.yml"


def search_path(archive: Path | None) -> tuple[Path, ...]:
    """Return the template folders that exist, the shop's own first."""
    builtin = builtin_dir()
    if archive is None or not (own := archive.resolve() / FOLDER).is_dir() or own == builtin.resolve():
        return (builtin,)
    return (own, builtin)


def find(name: str, archive: Path | None) -> Path | None:
    """Return the file in force under a name such as `handover/booklet.typ`: the shop's own if there is one."""
    return next((path for folder in search_path(archive) if (path := folder / name).is_file()), None)


def resolve_all(archive: Path | None, folder: str = "") -> dict[str, Path]:
    """Return every file in force below `folder`, by its path relative to the template folder."""
    files: dict[str, Path] = {}
    for root in reversed(search_path(archive)):
        for path in sorted((root / folder).rglob("*")):
            name = path.relative_to(root).as_posix()
            if path.is_file() and not any(part.startswith(".") for part in name.split("/")):
                files[name] = path
    return dict(sorted(files.items()))


def assets(archive: Path | None) -> dict[str, bytes]:
    """Return the style sheets, scripts and pictures in force, by their path in the site."""
    return {name: path.read_bytes() for name, path in resolve_all(archive, "assets").items()}


def static_files(archive: Path) -> dict[str, Path]:
    """Return the files that the shop wants on its site unchanged, hidden ones included, by their path in the site.

    Raises PublishError for a symbolic link: what it leads to may be private.
    """
    folder = search_path(archive)[0] / STATIC
    files: dict[str, Path] = {}
    for path in sorted(folder.rglob("*")):
        if path.is_symlink():
            raise PublishError(f"{path} is a link: put the file itself there")
        if path.is_file() and path.name not in SYSTEM_FILES:
            files[path.relative_to(folder).as_posix()] = path
    return files


def copy_static(archive: Path, site: Path) -> list[str]:
    """Copy the static files to the site and return their names.

    Raises PublishError for one that would replace a file of the site itself.
    """
    files = static_files(archive)
    for name, path in files.items():
        target = site / name
        try:
            if name.startswith(("builds/", "engines/")) or os.path.lexists(target):
                raise FileExistsError
            target.parent.mkdir(parents=True, exist_ok=True)
        except (FileExistsError, NotADirectoryError):
            raise PublishError(f"{path} would replace {name} of the site itself: rename it") from None
        shutil.copyfile(path, target)
    return list(files)


@contextlib.contextmanager
def translate_template_errors() -> Iterator[None]:
    """Turn an error in a template into a PublishError that names the template and the line."""
    try:
        yield
    except PublishError:
        raise
    except Exception as error:
        if (location := error_location(error)) is None:
            raise
        raise PublishError(f"{location}: {error_text(error)}") from error


def error_location(error: BaseException) -> str | None:
    """Return the template and the line that raised an error, or None where no template did."""
    name, line = getattr(error, "filename", None), getattr(error, "lineno", None)
    if not str(name or "").endswith(".j2"):
        frames = [frame for frame in traceback.extract_tb(error.__traceback__) if frame.filename.endswith(".j2")]
        name, line = (frames[-1].filename, frames[-1].lineno) if frames else (None, None)
    if name is None:
        missing = getattr(error, "name", None) if type(error).__name__.startswith("Template") else None
        return f"{FOLDER}/{missing}" if missing else None
    return f"{name}:{line}" if line else str(name)


def error_text(error: BaseException) -> str:
    """Return an error as one line of text."""
    text = " ".join(str(getattr(error, "message", None) or error).split())
    return text if type(error).__module__.startswith("jinja2") else f"{type(error).__name__}: {text}"


def copy_assets(archive: Path | None, pages: Path) -> None:
    """Copy the assets in force into `pages/assets`; files that are the same are not written again."""
    for name, content in assets(archive).items():
        write_if_changed(pages / name, content)


@cache
def memory_cache() -> jinja2.BytecodeCache:
    """Return the compiled templates of this process, which its archives and batches share."""
    import jinja2

    class MemoryCache(jinja2.BytecodeCache):
        def __init__(self) -> None:
            self.codes: dict[tuple[str, str], bytes] = {}

        def load_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
            if (code := self.codes.get((bucket.key, bucket.checksum))) is not None:
                bucket.bytecode_from_string(code)

        def dump_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
            self.codes[bucket.key, bucket.checksum] = bucket.bytecode_to_string()

    return MemoryCache()


def page_environment(archive: Path | None, compiled: jinja2.BytecodeCache | None = None) -> jinja2.Environment:
    """Return the Jinja2 environment of the Markdown pages; it escapes each value as escaping.py says.

    Filters: `prose` (a text field with plain inline Markdown, as paragraphs), `inline` (the same without
    paragraphs), `yaml_scalar` (a value for the front matter), `anchor` (an id made of a title), `group_thousands`
    (commas in large numbers). `compiled` caches compiled templates, else this process does.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader([str(folder) for folder in search_path(archive)]),
        autoescape=True,
        finalize=escape_text,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
        bytecode_cache=compiled or memory_cache(),
    )
    environment.filters.update(
        prose=prose,
        inline=inline,
        yaml_scalar=yaml_scalar,
        anchor=anchor,
        group_thousands=group_thousands,
        sentence=sentence,
        in_sentence=in_sentence,
    )
    return environment
