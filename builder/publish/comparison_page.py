"""A page that sets builds against each other: their curves in one chart, and a table of what differs."""

from __future__ import annotations

import html
from collections.abc import Sequence
from pathlib import Path

from builder.archive.compare import Comparison, compare
from builder.archive.query import QueryError, open_index
from builder.publish.pages.build.similar_builds import overlay_request

_MAX_CURVES = 4
_STYLE = """
body { font: 1rem/1.5 system-ui, sans-serif; margin: 2rem auto; max-width: 60rem; padding: 0 1rem;
  color: #1d2327; background: #fbfaf7; color-scheme: light dark; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { border-bottom: 1px solid #d5d2c9; padding: 0.35rem 1rem 0.35rem 0; text-align: left; vertical-align: top; }
svg { max-width: 100%; height: auto; }
@media (prefers-color-scheme: dark) { body { color: #e9e6df; background: #15191c; } th, td { border-color: #3a4247; } }
"""


def write_comparison(archive: Path, slugs: Sequence[str], out: Path) -> Path:
    """Write the page of the builds named into ``out`` and return its path. Raises QueryError."""
    context = open_index(archive)
    if not 2 <= len(set(slugs)) == len(slugs):
        raise QueryError("name two or more different builds to compare")
    summaries = [context.get(slug) for slug in slugs]
    request = overlay_request(summaries[:_MAX_CURVES], context.system)
    path = out / f"{'-and-'.join(slugs)[:120]}.html"
    path.parent.mkdir(parents=True, exist_ok=True)
    page = _render(compare(summaries, context.system), request.draw().svg if request else "")
    path.write_text(page, encoding="utf-8", newline="\n")
    return path


def _render(comparison: Comparison, svg: str) -> str:
    escape = html.escape
    titles = [escape(summary.title) for summary in comparison.summaries]
    rows = "".join(
        f"<tr><th scope='row'>{escape(row.title)}</th>"
        f"{''.join(f'<td>{escape(value)}</td>' for value in row.values)}</tr>\n"
        for row in comparison.rows
    )
    header = "".join(f"<th scope='col'>{title}</th>" for title in titles)
    identical = f"<p>Alike: {escape(', '.join(comparison.alike).lower())}.</p>" if comparison.alike else ""
    return (
        "<!doctype html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width'>"
        f"<title>{' and '.join(titles)}</title><style>{_STYLE}</style></head>\n<body><h1>{' and '.join(titles)}</h1>\n"
        f"{svg}\n<h2>What differs</h2>\n"
        f"<table><thead><tr><td></td>{header}</tr></thead><tbody>\n{rows}</tbody></table>\n"
        f"{identical}</body></html>\n"
    )
