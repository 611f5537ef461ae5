"""matplotlib's artists and its SVG, without its figures.

A figure brings axes, ticks, projections and plots in three dimensions along, which takes as long to load as ten
drawings to make, and lays out every label before it writes it. Here the artists of a drawing, whose places are
all known, are written one after the other. Loaded only when something is drawn.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from matplotlib.artist import Artist
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.text import Text
from matplotlib.transforms import Affine2D


def downwards(height: float) -> Affine2D:
    """From pixels counted from the top left to matplotlib's, which count from the bottom."""
    return Affine2D().scale(1.0, -1.0).translate(0.0, height)


class Label(Text):
    """One line of level text that begins, ends or is centred on its place, and so needs no measuring."""

    def draw(self, renderer: Any) -> None:
        """Write it where it is."""
        x, y = self.get_transform().transform(self.get_unitless_position())
        renderer.open_group("text", self.get_gid())
        context = renderer.new_gc()
        context.set_foreground(self.get_color())
        font = self.get_fontproperties()
        renderer.draw_text(context, x, renderer.height - y, self.get_text(), font, 0.0, ismath=False, mtext=self)
        context.restore()
        renderer.close_group("text")


def render(artists: Sequence[Artist], width: float, height: float) -> str:
    """The artists as SVG of this size [px], those of a lower order first."""
    made = io.StringIO()
    svg: Any = RendererSVG  # it has no types
    renderer = svg(width, height, made, metadata={"Date": None, "Creator": None})
    for artist in sorted(artists, key=Artist.get_zorder):
        artist.draw(renderer)
    renderer.finalize()
    return made.getvalue()
