"""What of an archive runs as code when it is published: its own mkdocs.yml with its hooks, and its templates."""

from __future__ import annotations

from pathlib import Path

from builder.publish.incremental.config_dependencies import config_dependencies
from builder.publish.pages.templating import STATIC, builtin_config, builtin_dir, resolve_all, search_path
from builder.publish.safeguards import SHOWN
from builder.record.wording import first_of


def own_code_in_force(archive: Path) -> str:
    """Return a line that names the archive's own mkdocs.yml, hooks and templates; empty where it has none.

    A file that equals the built-in one is not named: in a clone of this repository all of them do.
    """
    parts = []
    config = archive / "mkdocs.yml"
    if config.is_file() and not _same_content(config, builtin_config()):
        files = [path for path in config_dependencies(config)[0] if path.suffix == ".py"]
        hooks = [path.relative_to(archive).as_posix() if path.is_relative_to(archive) else str(path) for path in files]
        parts.append(f"mkdocs.yml (hooks: {first_of(hooks, SHOWN)})" if hooks else "mkdocs.yml")
    folders = search_path(archive)
    if len(folders) > 1:
        names = [name for name, path in resolve_all(archive).items() if path.is_relative_to(folders[0])]
        templates = [
            name
            for name in names
            if not name.startswith(f"{STATIC}/") and not _same_content(folders[0] / name, builtin_dir() / name)
        ]
        parts += [f"templates: {first_of(templates, SHOWN)}"] if templates else []
    return f"uses the archive's own {' and '.join(parts)}" if parts else ""


def _same_content(path: Path, builtin: Path) -> bool:
    return builtin.is_file() and path.read_bytes() == builtin.read_bytes()
