"""The common form of all charts: size, colours that stay apart in grey, and SVG that may stand in a page."""

from __future__ import annotations

import io
import re
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH = 4.0  # inches; a phone shows it at about six sevenths, a desk screen a third larger
#: From Okabe & Ito (2008), darkened where they carry text; their lightness differs too, for print in grey.
INK, MUTED, PALE = "#17262b", "#5b6b70", "#dfe6e6"
SUN, BLUE, RED, GREEN = "#e0a100", "#0b62a4", "#b5480a", "#0a7a5c"
FAN_COLOURS = (BLUE, RED, GREEN, "#7a3e86", INK)
FAN_DASHES = ("solid", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (3, 1)))
#: Behind words that lie over lines.
PLATE = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6}
_NUMBER = re.compile(r"\d+\.\d{3,}")


def settings(name: str) -> dict[Any, Any]:
    """Give the settings under which a chart is drawn; nothing of the user's own settings is touched."""
    return {
        "svg.fonttype": "none",
        "svg.hashsalt": f"solarvent {name}",
        "text.parse_math": False,
        "font.family": "sans-serif",
        "font.size": 8.5,
        "text.color": INK,
        "axes.edgecolor": MUTED,
        "axes.labelcolor": INK,
        "axes.linewidth": 0.6,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.axisbelow": True,
        "axes.titley": 1.0,  # else its place is sought anew for every drawing
        "axes.unicode_minus": False,
        "grid.color": PALE,
        "grid.linewidth": 0.6,
        "xtick.color": MUTED,
        "ytick.color": MUTED,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "hatch.linewidth": 0.5,
    }


def to_svg(figure: Figure, name: str, title: str, description: str) -> str:
    """Write a figure as an SVG element with a text alternative, its ids kept apart from those of other charts.

    Parameters
    ----------
    figure : Figure
        Drawn under :func:`settings`.
    name : str
        One word; goes before every id.
    title, description : str
        What the picture is, and what it shows, for those who do not see it.

    Returns
    -------
    str
        One ``svg`` element; the same figure gives the same text.
    """
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :].rstrip()
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    # A rule for every element would reach all of the page; the join of lines is said on the root in its place.
    text = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>\s*", "", text, flags=re.DOTALL)
    # A tenth of a pixel is finer than any screen.
    text = _NUMBER.sub(lambda found: f"{float(found[0]):.2f}".rstrip("0").rstrip("."), text)
    # One family that every machine has, in place of a list of names.
    text = re.sub(r"font-family: [^;\"]*", "font-family: sans-serif", text)
    text = re.sub(r"font: ([\d.]+px) [^;\"]*", r"font: \1 sans-serif", text)
    return labelled(text, name, title, description)


def labelled(text: str, name: str, title: str, description: str) -> str:
    """Give an SVG element a title and a description, and its ids a name of their own."""
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r'href="#', f'href="#{name}-', text)
    text = text.replace("url(#", f"url(#{name}-")
    _, _, inside = text.partition(">")
    box = re.search(r'viewBox="([^"]*)"', text)
    assert box is not None
    width, height = box[1].split()[2:]
    return (
        f'<svg class="picture" xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
        f' role="img" aria-labelledby="{name}-title {name}-words" viewBox="{box[1]}" width="{width}" height="{height}"'
        f' stroke-linejoin="round">'
        f'<title id="{name}-title">{escape(printable(title))}</title>'
        f'<desc id="{name}-words">{escape(printable(description))}</desc>{inside}'
    )


def printable(text: str) -> str:
    """Leave out what has no shape and XML may not hold: control characters and marks that turn the way of reading."""
    return "".join(letter for letter in text if letter.isprintable())
