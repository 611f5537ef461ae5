"""The finished drawing: its SVG as a file, inlined in a page, and for a PDF maker."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple
from xml.sax.saxutils import escape, quoteattr

from builder.draw.style import FONT_STACK, INK, formula_sheet, style_sheet

NARROW_UP_TO = 460
"""Up to this width [px] the narrow form is shown; site_templates/pages/parts.md.j2 and the style sheet know it."""

_NAMESPACE = "http://www.w3.org/2000/svg"
_NAME = re.compile(r"[a-z][a-z0-9_-]{0,79}")
# The page's color scheme reaches an image through its root; both forms follow it (see style.py).
_SWITCH = (
    ":root{color-scheme:light dark}"
    f"@media(max-width:{NARROW_UP_TO}px){{:root>svg:first-of-type{{display:none}}}}"
    f"@media not all and (max-width:{NARROW_UP_TO}px){{:root>svg:last-of-type{{display:none}}}}"
)


@dataclass(frozen=True)
class Link:
    """Where a marker in the drawing leads, and its title when pointed at."""

    href: str
    title: str

    def __post_init__(self) -> None:
        """Refuse what could run as script: a link is relative, or http(s)."""
        scheme = re.match(r"([a-zA-Z][a-zA-Z0-9+.-]*):", self.href)
        if any(c <= " " or c == "\x7f" for c in self.href):
            raise ValueError(f"a link must not hold blanks or control characters: {self.href!r}")
        if scheme and scheme.group(1).lower() not in ("http", "https"):
            raise ValueError(f"a link must be relative, or http or https, not {self.href!r}")


class PlotArea(NamedTuple):
    """Where one pair of axes is in a drawing [px], and the values at its edges: what reading a value off needs.

    ``x_axis`` is the height of the line with the numbers of the horizontal axis.
    """

    left: float
    top: float
    width: float
    height: float
    x_low: float
    x_high: float
    y_low: float
    y_high: float
    x_axis: float


@dataclass(frozen=True)
class Drawing:
    """One drawing: the SVG elements of its body, its size [px], and its content in words and numbers.

    ``name`` prefixes every id in the SVG, so that several drawings can be inlined in one page. A formula takes the
    color of the text around it. With a ``narrow_form`` the file holds both forms, each with its own layout, and shows
    the one for which there is room. Raises ValueError where the name cannot be an id.
    """

    name: str
    title: str
    description: str
    size: tuple[float, float]
    body: str
    has_links: bool = False
    is_formula: bool = False
    narrow_form: Drawing | None = None
    plots: tuple[PlotArea, ...] = ()
    """The axes of the drawing, from top to bottom."""
    samples: tuple[str, ...] = ()
    """The SVG of a piece of each line with its marker, for a legend next to the drawing."""

    def __post_init__(self) -> None:
        """Check the name."""
        if not _NAME.fullmatch(self.name):
            raise ValueError(f"a drawing's name is of small letters, digits, - and _, not {self.name!r}")

    @property
    def width(self) -> int:
        """Width [px]."""
        return round(self.size[0])

    @property
    def height(self) -> int:
        """Height [px]."""
        return round(self.size[1])

    @property
    def narrow(self) -> tuple[int, int] | None:
        """Width and height [px] of the narrow form, if there is one."""
        return None if self.narrow_form is None else (self.narrow_form.width, self.narrow_form.height)

    def with_narrow(self, narrow: Drawing) -> Drawing:
        """Return this drawing with a narrow form. Raises ValueError where both have one name."""
        if self.name == narrow.name:
            raise ValueError(f"both forms are called {self.name}: their ids would be the same")
        return replace(self, narrow_form=narrow)

    @cached_property
    def svg(self) -> str:
        """The SVG as a file of its own, which follows the light or dark scheme of the page around it."""
        if self.narrow_form is None:
            return self._form(formula_sheet() if self.is_formula else style_sheet(self.body))
        # Each form is in a frame that scales it to the size at which the file is shown.
        forms = "".join(
            f'<svg viewBox="0 0 {form.width} {form.height}">{form._form()}</svg>' for form in (self, self.narrow_form)
        )
        sheet = style_sheet(self.body + self.narrow_form.body, is_root=False)
        return f'<svg xmlns="{_NAMESPACE}" width="100%" height="100%"><style>{_SWITCH}{sheet}</style>{forms}</svg>\n'

    @property
    def inline_svg(self) -> str:
        """The SVG to be set into a page whose style sheet has its colors, without its narrow form."""
        return self._form()

    @property
    def forms(self) -> tuple[Drawing, ...]:
        """The drawing, and its narrow form if there is one."""
        return (self,) if self.narrow_form is None else (self, self.narrow_form)

    def for_pdf(self, font: str = FONT_STACK) -> str:
        """Return the SVG for a PDF maker that reads no style sheets: wide, in light colors, in the given type."""
        return self._form(font=font, colour=INK)

    def _form(self, sheet: str = "", font: str = FONT_STACK, colour: str = "") -> str:
        """Return the SVG of this form alone, with this style sheet."""
        width, height = (format_number(value) for value in self.size)
        css_class, fill = ("drawn-formula", "currentColor") if self.is_formula else ("drawing", INK)
        # Links inside an image would be hidden from a screen reader; a group lets them be reached.
        role = "group" if self.has_links else "img"
        style = f"<style>{sheet}</style>" if sheet else ""
        return (
            f'<svg xmlns="{_NAMESPACE}" class="{css_class}" id="{self.name}" role="{role}" width="{width}" '
            f'height="{height}" viewBox="0 0 {width} {height}" aria-labelledby="{self.name}-title {self.name}-desc" '
            f'font-family={quoteattr(font)} fill="{colour or fill}" stroke-linejoin="round">'
            f'<title id="{self.name}-title">{escape(self.title)}</title>'
            f'<desc id="{self.name}-desc">{escape(self.description)}</desc>{style}{self.body}</svg>\n'
        )


def format_number(value: float, decimals: int = 2) -> str:
    """Return a number in as few characters as SVG allows: ``-0.50`` becomes ``-.5``."""
    text = f"{value:.{decimals}f}"
    if decimals:
        text = text.rstrip("0").rstrip(".")
    if text in ("-0", ""):
        return "0"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text
