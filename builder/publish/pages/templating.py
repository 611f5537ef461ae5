"""Finding templates, and the Jinja2 environment in which pages are written.

A shop restyles its archive by laying files into `site_templates/` beside its `builds/`: each file there takes
the place of ours with the same path, the rest stay ours.

What comes from a record is text, never markup. On its way into a page every plain string is escaped twice
over: HTML's special characters, and those that Markdown would act on, all as character references, which read
the same in a Markdown paragraph, a raw HTML block and an attribute. (Not in a code span: write `<code>`.)
"""

from __future__ import annotations

import contextlib
import json
import re
import traceback
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from builder.publish.errors import PublishError

if TYPE_CHECKING:
    import jinja2

_PACKAGE = Path(__file__).resolve().parents[2]
FOLDER = "site_templates"


def builtin_dir() -> Path:
    """Our own templates: inside the installed package, or at the top of the source tree."""
    installed = _PACKAGE / "_installed" / FOLDER
    return installed if installed.is_dir() else _PACKAGE.parent / FOLDER


def our_config() -> Path:
    """Our own mkdocs.yml, which lies beside our templates."""
    return builtin_dir().parent / "mkdocs.yml"


def search_path(archive: Path | None) -> tuple[Path, ...]:
    """The template folders that exist, the shop's own before ours."""
    ours = builtin_dir()
    if archive is None or not (shops := archive.resolve() / FOLDER).is_dir() or shops == ours.resolve():
        return (ours,)
    return (shops, ours)


def find(name: str, archive: Path | None) -> Path | None:
    """The file that stands for `name`, such as `handover/booklet.typ`: the shop's own if there is one."""
    return next((f for folder in search_path(archive) if (f := folder / name).is_file()), None)


def resolve_all(archive: Path | None, under: str = "") -> dict[str, Path]:
    """Every template in force below the folder `under`, by its name relative to the template folder."""
    found: dict[str, Path] = {}
    for folder in reversed(search_path(archive)):
        for path in sorted((folder / under).rglob("*")):
            name = path.relative_to(folder).as_posix()
            if path.is_file() and not any(part.startswith(".") for part in name.split("/")):
                found[name] = path
    return dict(sorted(found.items()))


def assets(archive: Path | None) -> dict[str, bytes]:
    """The style sheets, scripts and pictures in force, by their path in the site."""
    return {name: source.read_bytes() for name, source in resolve_all(archive, "assets").items()}


@contextlib.contextmanager
def translate_template_errors() -> Iterator[None]:
    """Turn what goes wrong in a template into a PublishError that says where."""
    try:
        yield
    except PublishError:
        raise
    except Exception as error:
        if (where := error_location(error)) is None:
            raise
        raise PublishError(f"{where}: {error_text(error)}") from error


def error_location(error: BaseException) -> str | None:
    """The template and line at fault in an error, or None where it was no template's."""
    name, line = getattr(error, "filename", None), getattr(error, "lineno", None)
    if not str(name or "").endswith(".j2"):
        frames = [frame for frame in traceback.extract_tb(error.__traceback__) if frame.filename.endswith(".j2")]
        name, line = (frames[-1].filename, frames[-1].lineno) if frames else (None, None)
    if name is None:
        missing = getattr(error, "name", None) if type(error).__name__.startswith("Template") else None
        return f"{FOLDER}/{missing}" if missing else None
    return f"{name}:{line}" if line else str(name)


def error_text(error: BaseException) -> str:
    """An error in one line."""
    words = " ".join(str(getattr(error, "message", None) or error).split())
    return words if type(error).__module__.startswith("jinja2") else f"{type(error).__name__}: {words}"


def copy_assets(archive: Path | None, pages: Path) -> None:
    """Copy the style sheets and scripts in force into `pages/assets`, touching only what differs."""
    for name, source in resolve_all(archive, "assets").items():
        target = pages / name
        content = source.read_bytes()
        if not target.is_file() or target.read_bytes() != content:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)


def page_environment(archive: Path | None, compiled: jinja2.BytecodeCache | None = None) -> jinja2.Environment:
    """Jinja2 for the Markdown pages: `pages/build.md.j2` and so on, escaping as this module promises.

    Filters: `prose` (a text field with plain inline Markdown, as paragraphs), `inline` (the same without
    paragraphs), `front` (a value for the page's front matter), `anchor` (an id made of a title), `aligned`
    (the numbers of a column with their decimal points in line). `compiled` keeps compiled templates.
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
        bytecode_cache=compiled,
    )
    environment.filters.update(prose=prose, inline=inline, front=yaml_scalar, anchor=anchor, aligned=align_decimals)
    return environment


# ------------------------------------------------------------------------------------- text into pages

# Markdown acts on these wherever they stand...
_ANYWHERE = {ord(c): f"&#{ord(c)};" for c in "\\`*_[]{}|~^=$!&<>\"'"}
# ...and on these, or on "1.", where a line begins with them.
_LEADING = "#+-:."
_NUMBERED = re.compile(r"^(\d+)([.)])")
# No page needs these: control characters, halves of a character, and marks that turn the writing round.
_CONTROL = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)


def escape_text(value: Any) -> Any:
    """A value as it goes into a page: markup of ours as it is, anything else as inert text on one line."""
    if value is None:
        return ""
    if hasattr(value, "__html__") or isinstance(value, bool | int | float):
        return value
    words = str(value)
    return _escape_cached(words) if len(words) < 80 else _one_line(words)


@lru_cache(maxsize=1 << 13)
def _escape_cached(words: str) -> Markup:
    """Kept, since the same few thousand names and dates stand in one list after the other."""
    return _one_line(words)


def _one_line(value: str) -> Markup:
    return Markup(_escape_markdown(" ".join(_CONTROL.sub("", value).split())))


def _escape_markdown(line: str) -> str:
    numbered = _NUMBERED.match(line)
    safe = line.translate(_ANYWHERE)
    if numbered:
        safe = f"{numbered[1]}&#{ord(numbered[2])};{safe[numbered.end() :]}"
    elif line and line[0] in _LEADING:
        safe = f"&#{ord(line[0])};{safe[1:]}"
    return safe


_INLINE = re.compile(
    r"`(?P<code>[^`]+)`"
    r"|\*\*(?P<strong>[^*]+)\*\*"
    r"|(?<![*\w])\*(?P<em>[^*\s](?:[^*]*[^*\s])?)\*(?![*\w])"
    r"|\[(?P<label>[^\[\]]+)\]\((?P<target>(?:https?://|mailto:)[^\s()<>\"']+)\)"
)


def inline(value: Any) -> Markup:
    """A text field with *emphasis*, **strong**, `code` and [links](https://...); all else is inert."""
    source = " ".join(_CONTROL.sub("", str(value or "")).split())
    parts: list[str] = []
    at = 0
    for found in _INLINE.finditer(source):
        parts.append(_middle(source[at : found.start()], at == 0))
        if found["code"] is not None:
            parts.append(f"<code>{_middle(found['code'])}</code>")
        elif found["strong"] is not None:
            parts.append(f"<strong>{_middle(found['strong'])}</strong>")
        elif found["em"] is not None:
            parts.append(f"<em>{_middle(found['em'])}</em>")
        else:
            parts.append(f'<a href="{escape(found["target"])}" rel="noopener">{_middle(found["label"])}</a>')
        at = found.end()
    parts.append(_middle(source[at:], at == 0))
    return Markup("".join(parts))


def _middle(piece: str, starts_line: bool = False) -> str:
    return _escape_markdown(piece) if starts_line else piece.translate(_ANYWHERE)


def prose(value: Any) -> Markup:
    """A longer text field as HTML paragraphs; a blank line parts them, `- ` begins a line of a list."""
    blocks: list[str] = []
    for block in re.split(r"\n[ \t]*\n", str(value or "").replace("\r\n", "\n").strip()):
        lines = [line.strip() for line in block.split("\n") if line.strip()]
        if lines and all(line.startswith("- ") for line in lines):
            items = "".join(f"<li>{inline(line[2:])}</li>" for line in lines)
            blocks.append(f"<ul>{items}</ul>")
        elif lines:
            blocks.append(f"<p>{inline(' '.join(lines))}</p>")
    return Markup("\n".join(blocks))


def yaml_scalar(value: Any) -> Markup:
    """A value for the YAML front matter of a page, quoted so that it stays a string."""
    line = " ".join(_CONTROL.sub("", str(value if value is not None else "")).split())
    return Markup(json.dumps(line, ensure_ascii=False))


def anchor(value: Any) -> str:
    """A title as an id: lower case, words joined by hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", str(value).lower()).strip("-") or "part"


def align_decimals(numbers: Iterable[Any]) -> list[Markup]:
    """The numbers of one right-aligned column as written, padded so that their decimal points stand in line.

    The padding is of the width of digits and of a point, and hidden from screen readers.
    """
    written = [str(number if number is not None else "") for number in numbers]
    behind = [len(w) - w.rindex(".") - 1 if "." in w else -1 for w in written]
    most = max(behind, default=-1)
    padded = []
    for w, places in zip(written, behind, strict=True):
        gap = ("\u2008" if places < 0 <= most else "") + "\u2007" * (most - max(places, 0))
        padded.append(Markup(f'{escape_text(w)}<span aria-hidden="true">{gap}</span>' if gap and w else escape_text(w)))
    return padded
