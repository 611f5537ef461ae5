"""The style of the drawings: colors for light and dark pages, type, and the marks of pulls.

Every color is a token with a light and a dark value. Drawings are in the light values; the SVG
carries a short style sheet that swaps them where the page is dark. Light values must differ from each
other, because the swap goes by them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Token:
    """One color of the palette, for paper and light pages and for dark pages."""

    name: str
    light: str
    dark: str


PALETTE: tuple[Token, ...] = (
    Token("paper", "#fbfaf7", "#15191c"),
    Token("ink", "#1d2327", "#e9e6df"),
    Token("quiet", "#5d666d", "#a3abb0"),
    Token("rule", "#d5d2c9", "#3a4247"),
    Token("accent", "#8a3b12", "#f0a070"),
    Token("second", "#1f5a73", "#86c5de"),
    Token("third", "#5c6b1e", "#c3cf7a"),
    Token("fourth", "#6b3f73", "#d3a6dc"),
    Token("band", "#e9e2d2", "#2c2a22"),
    Token("caution", "#a8220f", "#ff9c86"),
    Token("metal", "#dfe1e0", "#2b3236"),
)

PAPER, INK, QUIET, RULE, ACCENT, SECOND, THIRD, FOURTH, BAND, CAUTION, METAL = (t.light for t in PALETTE)

FONT_STACK = "'Avenir Next','Segoe UI','Helvetica Neue','Noto Sans',sans-serif"
"""The fonts of the pages. Labels are measured in DejaVu Sans, which is wider than any of these."""

MEASURING_FONT = "DejaVu Sans"


@dataclass(frozen=True)
class Size:
    """The width of a drawing and its type sizes [px]: a phone gets its own layout, not a shrunken one."""

    width: int
    text: float
    small: float

    @property
    def narrow(self) -> bool:
        """Whether there is too little room for labels next to the curves."""
        return self.width < 520


WIDE = Size(760, 13.0, 12.0)
NARROW = Size(360, 12.5, 11.5)


@dataclass(frozen=True)
class Mark:
    """What sets one pull (or build, or trace) apart without color."""

    marker: str
    dashes: tuple[float, ...]


_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "p")
_DASHES: tuple[tuple[float, ...], ...] = (
    (),
    (6.0, 2.5),
    (1.5, 2.0),
    (8.0, 2.0, 1.5, 2.0),
    (12.0, 3.0),
    (4.0, 1.5),
    (3.0, 2.0, 1.5, 2.0, 1.5, 2.0),
)
LINE_COLOURS = (ACCENT, SECOND, THIRD, FOURTH)


def series_style(position: int) -> Mark:
    """Return the mark of the pull at this position in the record (0 is the first): the same in every drawing.

    Ten markers and seven line styles give seventy different marks before one is repeated.
    """
    return Mark(_MARKERS[position % len(_MARKERS)], _DASHES[position % len(_DASHES)])


def line_colour(position: int) -> str:
    """Return a color for the build or trace at this position; it repeats after four, the marks do not."""
    return LINE_COLOURS[position % len(LINE_COLOURS)]


def formula_sheet() -> str:
    """Return CSS for a formula, which inlined takes the color of the text around it."""
    light, dark = next((t.light, t.dark) for t in PALETTE if t.name == "ink")
    on_dark = f"@media screen and (prefers-color-scheme:dark){{.drawn-formula:root{{color:{dark}}}}}"
    return f".drawn-formula:root{{color:{light}}}{on_dark}"


def style_sheet(svg: str, *, is_root: bool = True) -> str:
    """Return CSS that swaps the literal light colors in this SVG for those of the page around it.

    As a file shown by ``<img>`` the drawing follows the ``color-scheme`` of the element that embeds it (or the
    reader's own): a page sets that to light for print, which an image cannot know of. Inlined in a page the
    drawing follows that page's ``color-scheme``, and is light on paper by itself. A drawing that is not the root of
    its file follows the root.
    """
    tokens = [t for t in PALETTE if t.light == INK or f'"{t.light}"' in svg]
    light = "".join(f"--{t.name}:{t.light};" for t in tokens)
    dark = "".join(f"--{t.name}:{t.dark};" for t in tokens)
    either = "".join(f"--{t.name}:light-dark({t.light},{t.dark});" for t in tokens)
    swaps = "".join(
        f'.drawing [{attribute}="{t.light}"]{{{attribute}:var(--{t.name})}}'
        for t in tokens
        for attribute in ("fill", "stroke")
        if f'{attribute}="{t.light}"' in svg
    )
    root = f"@media screen and (prefers-color-scheme:dark){{.drawing:root{{{dark}}}}}" if is_root else ""
    links = ".drawing a:hover,.drawing a:focus{stroke:var(--ink);stroke-width:1.5}" if "<a " in svg else ""
    return (
        f".drawing{{{light}fill:var(--ink)}}"
        ".drawing text{font-variant-numeric:tabular-nums}"
        f"{root}@supports (color:light-dark(red,red)){{@media screen{{.drawing:not(:root){{{either}}}}}}}{swaps}{links}"
    )
