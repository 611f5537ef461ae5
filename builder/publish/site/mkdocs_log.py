"""MkDocs kept quiet: its warnings are collected, and its errors become one sentence."""

from __future__ import annotations

import contextlib
import logging
import os
import re
from collections.abc import Iterator
from pathlib import Path

from builder.publish.errors import PublishError

_FIXED_DATE = "315532800"  # 1 January 1980, the first day that zip archives know
_DEAD_LINK = re.compile(r"but the target '(?P<target>[^']+)' is not found")


class LogCapture(logging.Handler):
    """Collects what MkDocs warns of, which does not reach the shop's terminal."""

    def __init__(self) -> None:
        """Start with no warning."""
        super().__init__(logging.WARNING)
        self.warnings: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Add the message of a log record."""
        self.warnings.append(record.getMessage())

    def relevant(self, pages: Path) -> tuple[str, ...]:
        """Return the warnings, but for those about a batch not being the whole folder."""
        return tuple(warning for warning in self.warnings if _is_relevant(warning, pages))


def _is_relevant(warning: str, pages: Path) -> bool:
    """Return whether a warning is about neither a partial build nor a link to a file that is no page."""
    dead_link = _DEAD_LINK.search(warning)
    return "'dirty' build" not in warning and not (dead_link and (pages / dead_link["target"]).is_file())


@contextlib.contextmanager
def quiet_mkdocs() -> Iterator[LogCapture]:
    """Give MkDocs a fixed date and no terminal inside the block, and the theme no announcement."""
    date = os.environ.get("SOURCE_DATE_EPOCH", _FIXED_DATE)
    fixed = {"NO_MKDOCS_2_WARNING": "true", "SOURCE_DATE_EPOCH": date}
    before = {name: os.environ.get(name) for name in fixed}
    os.environ.update(fixed)
    logger = logging.getLogger("mkdocs")
    captured, propagate, level = LogCapture(), logger.propagate, logger.level
    logger.addHandler(captured)
    logger.propagate = False
    logger.setLevel(logging.WARNING)
    try:
        yield captured
    finally:
        logger.removeHandler(captured)
        logger.propagate = propagate
        logger.setLevel(level)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@contextlib.contextmanager
def translate_mkdocs_errors(config_file: str | None, captured: LogCapture) -> Iterator[None]:
    """Turn what stops MkDocs into a PublishError of one sentence; OSError goes through as it is."""
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
