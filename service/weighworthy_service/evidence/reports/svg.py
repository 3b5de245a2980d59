"""Parts of drawings: presentation attributes alone, so that browsers and PDF show the same."""

from collections.abc import Iterable, Sequence
from typing import Any, Final

from markupsafe import Markup, escape

INK: Final = "#16202b"
SOFT: Final = "#56626f"
LINE: Final = "#b9c2cb"
WASH: Final = "#e3e9ee"
DEEP: Final = "#123f5a"
_FONT: Final = "Liberation Sans, Arial, Helvetica, sans-serif"

Points = Sequence[tuple[float, float]]


def drawing(width: float, height: float, parts: Iterable[Markup], *, of: str, title: str) -> Markup:
    """A drawing of `width` by `height` tenths of a millimetre; `of` names its style."""
    inside = Markup("").join(parts)
    return _element(
        "svg",
        Markup("<title>{}</title>{}").format(title, inside),
        class_=of,
        role="img",
        viewBox=f"0 0 {_n(width)} {_n(height)}",
        width=f"{_n(width / 10)}mm",
        height=f"{_n(height / 10)}mm",
    )


def line(x1: float, y1: float, x2: float, y2: float, width: float = 2, **more: Any) -> Markup:
    """A straight line."""
    more = {"stroke": INK, "stroke_width": width, **more}
    return _element("line", None, x1=x1, y1=y1, x2=x2, y2=y2, **more)


def box(x: float, y: float, width: float, height: float, **more: Any) -> Markup:
    """A rectangle."""
    return _element("rect", None, x=x, y=y, width=width, height=height, **more)


def ring(x: float, y: float, radius: float, **more: Any) -> Markup:
    """A circle."""
    return _element("circle", None, cx=x, cy=y, r=radius, **more)


def shape(points: Points, *, closed: bool = True, **more: Any) -> Markup:
    """A polygon, or an open line through the points."""
    told = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
    more = {"fill": INK if closed else "none", **more}
    return _element("polygon" if closed else "polyline", None, points=told, **more)


def text(x: float, y: float, said: str, size: float = 24, **more: Any) -> Markup:
    """A line of text that begins (or ends, or is centred: `text_anchor`) at a point."""
    more = {"fill": INK, **more}
    return _element("text", escape(said), x=x, y=y, font_size=size, font_family=_FONT, **more)


def moved(part: Markup, x: float, y: float) -> Markup:
    """The part, drawn about a point."""
    return _element("g", part, transform=f"translate({_n(x)} {_n(y)})")


def diamond(x: float, y: float, half: float, **more: Any) -> Markup:
    """A square on its corner."""
    return shape([(x, y - half), (x + half, y), (x, y + half), (x - half, y)], **more)


def _element(name: str, inside: Markup | None, **attributes: Any) -> Markup:
    told = Markup("").join(
        Markup(' {}="{}"').format(key.rstrip("_").replace("_", "-"), _shown(value))
        for key, value in attributes.items()
        if value is not None
    )
    if inside is None:
        return Markup("<{}{}/>").format(Markup(name), told)  # noqa: S704  our own name
    return Markup("<{0}{1}>{2}</{0}>").format(Markup(name), told, inside)  # noqa: S704


def _shown(value: Any) -> str:
    return _n(value) if isinstance(value, float | int) else str(value)


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
