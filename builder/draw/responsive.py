"""One drawing in two forms, in one file: for the width of a page, and for that of a phone.

Either form is a whole drawing with a layout of its own. The file shows the one for which there is room, by a style
sheet that goes by the width at which the file itself is shown; it has no proportions of its own, so that the page
says how high it is in either form.
"""

from __future__ import annotations

from dataclasses import replace

from builder.draw.canvas import Drawing
from builder.draw.svg_backend import SVG

NARROW_UP_TO = 460
"""Up to this width [px] the narrow form is shown; site_templates/pages/parts.md.j2 and the style sheet know it."""

# Which scheme the page has is handed to an image through its root; either form goes by it (see style.py).
_SHEET = (
    ":root{color-scheme:light dark}"
    f"@media(max-width:{NARROW_UP_TO}px){{:root>svg:first-of-type{{display:none}}}}"
    f"@media not all and (max-width:{NARROW_UP_TO}px){{:root>svg:last-of-type{{display:none}}}}"
)


def wide_and_narrow(wide: Drawing, narrow: Drawing) -> Drawing:
    """The wide drawing, with its narrow form in the same file. Raises ValueError where both have one name."""
    if wide.name == narrow.name:
        raise ValueError(f"both forms are called {wide.name}: their ids would be the same")
    # Each is left as it is, in a frame that brings it to the size at which the file is shown.
    forms = "".join(f'<svg viewBox="0 0 {each.width} {each.height}">{each.svg}</svg>' for each in (wide, narrow))
    svg = f'<svg xmlns="{SVG}" width="100%" height="100%"><style>{_SHEET}</style>{forms}</svg>\n'
    return replace(wide, svg=svg, narrow=(narrow.width, narrow.height))
