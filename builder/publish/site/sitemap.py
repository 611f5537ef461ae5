"""The list of addresses that search engines read."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from markupsafe import escape

SITEMAP = "sitemap.xml"


def write_sitemap(site: Path, site_url: str | None, pages: Iterable[str]) -> None:
    """Write the addresses of these Markdown pages; no file where there is no address to publish under."""
    path = site / SITEMAP
    path.unlink(missing_ok=True)  # the published site may share it
    if not site_url:
        return
    addresses = sorted(f"{name[:-3]}.html" for name in pages if name.endswith(".md"))
    listed = "".join(f"  <url><loc>{escape(site_url.rstrip('/') + '/' + page)}</loc></url>\n" for page in addresses)
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<urlset xmlns="http://www.sitemaps.org/schemas/sitemap/0.9">\n'
    path.write_text(f"{head}{listed}</urlset>\n", encoding="utf-8", newline="\n")
