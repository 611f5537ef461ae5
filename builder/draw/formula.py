"""A mathematical formula as outlines, in the color of the text around it."""

from __future__ import annotations

from builder.draw.canvas import rc_settings
from builder.draw.drawing import Drawing
from builder.draw.labels import sanitise


def formula(tex: str, plain: str, *, name: str = "formula") -> Drawing:
    r"""Draw the formula ``tex`` (mathtext, without dollar signs) as outlines, with type of 19 px.

    ``plain`` is the same in words or plain characters, for readers who cannot see it. Inlined, the formula takes the
    color of the text around it; as an image, the ink of the page. Example: ``formula(r"\dfrac{B}{S}", "B/S")``,
    with dfrac for a fraction of full size.
    Raises ValueError if the formula is empty or cannot be read.
    """
    import matplotlib
    from matplotlib.font_manager import FontProperties
    from matplotlib.patches import PathPatch
    from matplotlib.textpath import TextPath
    from matplotlib.transforms import Affine2D

    from builder.draw.svg_backend import render

    if not tex.strip() or not sanitise(plain):
        raise ValueError("a formula needs its TeX and the same in plain text")
    font = FontProperties(family="DejaVu Sans", math_fontfamily="stix")
    with rc_settings():
        matplotlib.rcParams["text.parse_math"] = True
        try:
            path = TextPath((0, 0), f"${tex.strip().strip('$')}$", size=19.0, prop=font)
        except ValueError as error:
            raise ValueError(f"the formula {tex!r} cannot be read: {str(error).splitlines()[0]}") from error
        box = path.get_extents()
        if not path.vertices.size or box.width <= 0:
            raise ValueError(f"the formula {tex!r} draws nothing")
        width, height = box.width + 4, box.height + 4
        place = Affine2D().scale(1.0, -1.0).translate(2 - box.x0, 2 + box.y1)  # with y downwards
        body = render([PathPatch(path, facecolor="#000000", linewidth=0, transform=place)], name, {})
    words = sanitise(plain)
    return Drawing(name, f"Formula: {words}", words, (width, height), body, is_formula=True)
