"""A small site around the finder: its own templates and assets, an archive of invented builds, a strict policy."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path

import markdown

from builder.archive.fields import BY_SLUG, System
from builder.archive.finder_json import finder_data
from builder.archive.summary import Summary, newest_first
from builder.draw.chart_cache import ChartCache
from builder.publish.pages.archive.overview import draw_overviews, overview_charts, overview_pairs, overview_table
from builder.publish.pages.templating import page_environment

TEMPLATES = Path(__file__).parents[2] / "site_templates"
POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'none'"
PALETTE = """:root{--mb-paper:#fbfaf7;--mb-ink:#1d2327;--mb-quiet:#5d666d;--mb-rule:#d5d2c9;--mb-accent:#8a3b12;
--mb-second:#1f5a73;--mb-third:#5c6b1e;--mb-fourth:#6b3f73;--mb-band:#e9e2d2;--mb-caution:#a8220f}
body{margin:0 auto;max-width:1240px;padding:0 16px;background:var(--mb-paper);color:var(--mb-ink);
font:16px/1.5 system-ui,sans-serif}
.mb-plot{position:relative}.mb-slider{position:absolute;inset:0}"""


def write_site(out: Path, builds: Iterable[Summary], system: System = "inch") -> Path:
    """Write finder.html, compare.html and overview.html with their assets; return the folder."""
    rows = newest_first(builds)
    assets = out / "assets"
    assets.mkdir(parents=True)
    for name in ("finder*.js", "charts.js", "compare.js", "overview.js", "finder.css"):
        for source in (TEMPLATES / "assets").glob(name):
            shutil.copy(source, assets)
    (assets / "finder-data.js").write_text(finder_data(rows, system=system), encoding="utf-8")
    (assets / "page.css").write_text(PALETTE, encoding="utf-8")
    environment = page_environment(None)
    values = {
        "rows": rows,
        "system": system,
        "units": {slug: field.unit(system) for slug, field in BY_SLUG.items()},
        "assets": "assets",
        "link": "builds/{slug}.html",
        "compare": "compare.html",
        "finder": "finder.html",
        "all_builds": "builds.html",
        "charts": draw_overviews(overview_charts(rows, system), ChartCache(None)),
        "pairs": overview_pairs(rows),
        "table": overview_table(rows, system),
    }
    for name in ("finder", "compare", "overview"):
        text = environment.get_template(f"pages/{name}.md.j2").render(values)
        body = markdown.markdown(text.split("---\n", 2)[2], extensions=["md_in_html", "attr_list"])
        (out / f"{name}.html").write_text(
            '<!doctype html><html lang="en"><head><meta charset="utf-8">'
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}"><title>{name}</title>'
            f'<link rel="stylesheet" href="assets/page.css"></head><body><main>{body}</main></body></html>',
            encoding="utf-8",
        )
    return out
