"""The wiring picture: the cord from the panel down to each fan, drawn for somebody who holds the parts."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil
from typing import TYPE_CHECKING, Any, Literal

from solarvent.bench.steps import WiringRow
from solarvent.report import charts as form

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_WIDTH = 72 * form.WIDTH
_STEP, _LEFT, _GAP = 24.0, 15.0, 30.0
_LINE = 10.6
_TALL = 420.0  # a circuit taller than this goes on beside itself
_APART = 2.6  # half the way between the two conductors
#: schemdraw reads these as markup of its own; they travel as signs that mean nothing to anybody.
_DISGUISE = {"&": "\ue000", "$": "\ue001", "<": "\ue002", ">": "\ue003", "\\": "\ue004"}
_UNVEIL = {"\ue000": "&amp;", "\ue001": "$", "\ue002": "&lt;", "\ue003": "&gt;", "\ue004": "\\"}
_SIGNS = {disguise: sign for sign, disguise in _DISGUISE.items()}
_SHARED = (' font-family="sans"', ' font-family="sans-serif"', "stroke-linecap:round;", "stroke-linejoin:round;",
           "stroke-dasharray:-;")  # fmt: skip
#: Behind what must not be joined so.
_WRONG = "#fdeae4"
_HALVES = {"plug": (3.6, form.INK), "jack": (6.0, "white"), "either": (5.0, form.MUTED)}
_HEIGHT = {"panel": 52.0, "fan": 38.0, "splitter": 22.0, "converter": 26.0, "lead": 24.0, "joint": 14.0}


@dataclass(frozen=True)
class _Placed:
    """A row with its lines of text and its place; y grows upwards."""

    row: WiringRow
    lines: tuple[tuple[str, str], ...]
    x: float
    top: float
    bottom: float

    @property
    def middle(self) -> float:
        return (self.top + self.bottom) / 2


def wiring_drawing(rows: Sequence[WiringRow]) -> str:
    """Draw how the parts of a plan are joined, as SVG.

    The + conductor is the thick line and stands left; every part and joint has its words, each fault a shape and words,
    each place for the meter a letter, each joint the number of its step. Circuits that share nothing are pictures of
    their own, and a tall one goes on in further ones; they stand beside each other where there is room.
    """
    return "".join(pane for number, part in enumerate(_circuits(rows), 1) for pane in _panes(part, number))


def _panes(rows: Sequence[WiringRow], number: int) -> Iterator[str]:
    """Draw one circuit; a tall one is cut before the branches that come nearest to equal parts."""
    whole, placed = _named(rows, number), _place(rows)
    height = -placed[-1].bottom
    branches = [-item.top for item in placed for above in item.row.above if placed[above].row.column < item.row.column]
    parts = ceil(height / _TALL) if branches else 1
    cuts = {min(branches, key=lambda cut: abs(cut - height * part / parts)) for part in range(1, parts)}
    for top, bottom in pairwise([0.0, *sorted(cuts), height]):
        yield _window(whole, number, top, bottom)


def _named(rows: Sequence[WiringRow], number: int) -> str:
    """Draw one circuit, with a name for its strokes by which windows on them are made."""
    return _picture(rows, number).replace("<g font-family", f'<g id="drawn-{number}" font-family', 1)


def _window(whole: str, number: int, top: float, bottom: float) -> str:
    """Show a named circuit between two heights: the first window holds its strokes, words for it and all."""
    box = f'viewBox="0 {top:g} {_WIDTH:g} {bottom - top:g}" width="{_WIDTH:g}" height="{bottom - top:g}"'
    if top == 0.0:
        return re.sub(r'viewBox="[^"]*" width="[^"]*" height="[^"]*"', box, whole, count=1)
    return f'<svg class="picture" aria-hidden="true" {box}><use href="#drawn-{number}"/></svg>'


@dataclass(frozen=True)
class Piece:
    """A piece of the wiring picture as SVG, down to a place for the meter.

    `probe` is the letter of that place, empty at the end of a circuit; `cords` is SVG of any height, with which the
    conductors go on at the left of what stands between this piece and the next.
    """

    picture: str
    probe: str = ""
    cords: str = ""


def wiring_pieces(rows: Sequence[WiringRow]) -> list[Piece]:
    """Cut the wiring picture below each place for the meter, so that something can stand there."""
    pieces = []
    for number, part in enumerate(_circuits(rows), 1):
        whole, top = _named(part, number), 0.0
        placed, left = _place(part), _text_left(part) - 18.0
        # Below a panel come its signs for + and -.
        cuts = [(item.row.probe, 4.5 * (item.row.kind == "panel") - item.bottom) for item in placed if item.row.probe]
        for probe, cut in [*cuts, ("", -placed[-1].bottom)]:
            picture = _window(whole, number, top, cut)
            slit = f'viewBox="0 {cut - 0.2:g} {left:g} 0.1" width="{left / _WIDTH:.1%}" preserveAspectRatio="none"'
            cords = f'<svg class="cords" aria-hidden="true" {slit}><use href="#drawn-{number}"/></svg>' if probe else ""
            pieces.append(Piece(picture, probe, cords))
            top = cut
    return pieces


def _circuits(rows: Sequence[WiringRow]) -> list[list[WiringRow]]:
    """Part rows where nothing comes down to any of those that follow."""
    starts = [
        at for at in range(len(rows)) if all(above >= at for row in rows[at:] for above in row.above)
    ]  # fmt: skip
    return [
        [replace(row, above=[above - start for above in row.above]) for row in rows[start:end]]
        for start, end in zip(starts, [*starts[1:], len(rows)], strict=True)
    ]


def _picture(rows: Sequence[WiringRow], number: int) -> str:
    """Draw one circuit, the so-many-th of all."""
    import schemdraw
    from schemdraw.backends import svg as backend

    backend.config.text = "text"
    pen, bottom = _drawn(rows)
    drawing = schemdraw.Drawing(canvas="svg", show=False, transparent=True)
    drawing.config(unit=1, inches_per_unit=1 / 72, margin=0)
    drawing.add(pen.element())
    text = drawing.get_imagedata("svg").decode()
    name = "wiring" if number == 1 else f"wiring-{number}"
    return form.labelled(_framed(text, bottom), name, "How the parts are joined", wiring_words(rows))


def wiring_figure(rows: Sequence[WiringRow]) -> Figure:
    """Draw the same as a figure of matplotlib."""
    import matplotlib
    import schemdraw
    from matplotlib.figure import Figure

    pen, bottom = _drawn(rows)
    figure = Figure(figsize=(form.WIDTH, -bottom / 72))
    axis = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    with matplotlib.rc_context({"text.parse_math": False}):
        drawing = schemdraw.Drawing(canvas=axis, show=False)
        drawing.config(unit=1, inches_per_unit=1 / 72, margin=0)
        drawing.add(pen.element())
        drawing.draw(show=False)
    for text in axis.texts:
        text.set_text("".join(_SIGNS.get(letter, letter) for letter in text.get_text()))
    axis.set(xlim=(0, _WIDTH), ylim=(bottom, 0))
    axis.set_axis_off()
    return figure


def _drawn(rows: Sequence[WiringRow]) -> tuple[_Pen, float]:
    """Collect the strokes of the picture; and how far down it goes."""
    placed = _place(rows)
    pen = _Pen()
    # Cords first, so that they pass under parts and joints.
    for item in placed:
        for above in item.row.above:
            pen.cord(placed[above], item)
    for item in placed:
        pen.shape(item)
        pen.words(item, _text_left(rows))
    return pen, min(item.bottom for item in placed)


def _framed(text: str, bottom: float) -> str:
    """Give the picture the width of all pictures, and take the disguise off its words."""
    text = re.sub(r'viewBox="[^"]*"', f'viewBox="0 0 {_WIDTH:g} {-bottom:g}"', text[text.index("<svg") :], count=1)
    for sign, plain in _UNVEIL.items():
        text = text.replace(sign, plain)
    # What all strokes and words share is said once, on the whole.
    for shared in _SHARED:
        text = text.replace(shared, "")
    head, _, inside = text.partition(">")
    inside = inside.rstrip().removesuffix("</svg>")
    return f'{head}><g font-family="sans-serif" stroke-linecap="round">{inside}</g></svg>'


def _text_left(rows: Sequence[WiringRow]) -> float:
    return _LEFT + _STEP * max(row.column for row in rows) + _GAP


def _place(rows: Sequence[WiringRow]) -> list[_Placed]:
    """Put rows under each other, each as high as its shape and its words."""
    # A letter of 8.5 points is about 4.6 wide; lines are broken before they are drawn.
    letters = int((_WIDTH - _text_left(rows)) / 4.6)
    placed, y = [], 0.0
    for row in rows:
        lines = tuple(_lines(row, letters))
        height = max(_HEIGHT[row.kind], _LINE * len(lines) + 9.0)
        if row.kind == "joint" and not lines:
            height = 8.0
        placed.append(_Placed(row, lines, _LEFT + _STEP * row.column, y, y - height))
        y -= height
    return placed


def _lines(row: WiringRow, letters: int) -> list[tuple[str, str]]:
    """Lines of text with their manner: title, plain, mark or probe."""
    lines = [("title", row.title)] if row.title else []
    if row.step:
        lines.append(("step", f"Step {row.step}"))
    for manner, texts in (("plain", row.words), ("mark", [row.mark_words])):
        for text in texts:
            lines += [(manner, line) for line in textwrap.wrap(text, letters)]
    if row.probe:
        words = textwrap.wrap(f"{row.probe}: {row.probe_words}", letters)
        lines += [("probe", line) for line in words]
    return lines


class _Pen:
    """Collects the strokes of the picture."""

    def __init__(self) -> None:
        self.strokes: list[Any] = []

    def element(self) -> Any:
        """Give all strokes as one element of a drawing."""
        from schemdraw.elements import Element

        class Picture(Element):
            def __init__(self, strokes: list[Any]) -> None:
                super().__init__()
                self.segments.extend(strokes)

        return Picture(self.strokes)

    def line(self, *points: tuple[float, float], width: float = 1.0, color: str = form.INK, dash: Any = None) -> None:
        from schemdraw.segments import Segment

        self.strokes.append(Segment(list(points), lw=width, color=color, ls=dash, zorder=len(self.strokes)))

    def box(self, left: float, bottom: float, right: float, top: float, fill: str, color: str = form.INK,
            width: float = 1.0) -> None:  # fmt: skip
        from schemdraw.segments import SegmentPoly

        corners = [(left, bottom), (left, top), (right, top), (right, bottom)]
        self.strokes.append(SegmentPoly(corners, fill=fill, color=color, lw=width, zorder=len(self.strokes)))

    def circle(self, x: float, y: float, radius: float, fill: str, color: str = form.INK, width: float = 1.0) -> None:
        from schemdraw.segments import SegmentCircle

        self.strokes.append(SegmentCircle((x, y), radius, fill=fill, color=color, lw=width, zorder=len(self.strokes)))

    def text(self, x: float, y: float, words: str, size: float = 8.5, color: str = form.INK,
             align: Literal["left", "center"] = "left") -> None:  # fmt: skip
        from schemdraw.segments import SegmentText

        words = form.printable(words)
        for sign, disguise in _DISGUISE.items():
            words = words.replace(sign, disguise)
        self.strokes.append(
            SegmentText((x, y), words, align=(align, "center"), fontsize=size, color=color, font="sans-serif",
                        zorder=len(self.strokes))
        )  # fmt: skip

    def cord(self, above: _Placed, below: _Placed) -> None:
        """Draw both conductors from one row to the next, + left and thick; branches turn off to the right."""
        for side, width, color in ((-_APART, 2.4, form.RED), (_APART, 1.0, form.INK)):
            start, end = above.x + side, below.x + side
            if above.x == below.x:
                self.line((start, above.middle), (end, below.middle), width=width, color=color)
            elif above.x < below.x:
                # The bus comes down on the left and turns to the right; the outer conductor turns lower.
                turn = below.middle + side
                self.line((start, above.middle), (start, turn), (end, turn), width=width, color=color)
            else:
                turn = above.middle - side
                self.line((start, above.middle), (start, turn), (end, turn), (end, below.middle), width=width,
                          color=color)  # fmt: skip

    def shape(self, item: _Placed) -> None:
        """Draw a part or a joint."""
        if item.row.mark == "bad":
            self.box(item.x - 14, item.bottom + 1, _WIDTH - 1, item.top - 1, _WRONG, form.STOP, 1.6)
        getattr(self, f"_{item.row.kind}")(item)
        if item.row.mark == "bad":
            self._cross(item.x, item.middle)
        elif item.row.mark == "unknown":
            self._badge(item.x + 11, item.middle, "?", "white")

    def _panel(self, item: _Placed) -> None:
        x, y = item.x, item.middle
        self.box(x - 13, y - 19, x + 13, y + 19, "#ffffff", width=1.4)
        self.box(x - 11, y - 17, x + 11, y + 17, form.SUN, form.SUN, width=0.1)
        for across in (-3.7, 3.7):
            self.line((x + across, y - 17), (x + across, y + 17), color="#ffffff")
        for up in (-8.5, 0.0, 8.5):
            self.line((x - 11, y + up), (x + 11, y + up), color="#ffffff")
        self._poles(x, item.bottom + 1)

    def _lead(self, item: _Placed) -> None:
        """A loop of cord, or a crossing if the poles change places in it."""
        x, y = item.x, item.middle
        if item.row.mark == "flip":
            self.box(x - 7, y - 8, x + 7, y + 8, "white")
            self.line((x - _APART, y + 8), (x + _APART, y - 8), width=2.4, color=form.RED)
            self.line((x + _APART, y + 8), (x - _APART, y - 8))
        else:
            for width, color in ((12, form.MUTED), (10.4, form.PALE)):
                self.line((x, y - 4), (x, y + 4), width=width, color=color)

    def _splitter(self, item: _Placed) -> None:
        x, y = item.x, item.middle
        self.box(x - 8, y - 7, x + 8, y + 7, "white", width=1.4)
        self.text(x - 3.6, y - 0.5, "+", 8.5, form.RED, "center")
        self.text(x + 3.8, y - 0.5, "–", 8.5, form.INK, "center")

    def _converter(self, item: _Placed) -> None:
        x, y = item.x, item.middle
        self.box(x - 10, y - 9, x + 10, y + 9, "white", width=1.4)
        self.line((x - 10, y - 9), (x + 10, y + 9))

    def _fan(self, item: _Placed) -> None:
        x, y = item.x, item.middle
        self.box(x - 11, y - 11, x + 11, y + 11, "white", width=1.4)
        self.circle(x, y, 9.2, "white", form.INK)
        for dx, dy in ((0, 5), (4.6, -2.6), (-4.6, -2.6)):
            self.circle(x + dx, y + dy, 3.1, form.GREEN, form.GREEN, 0.1)
        self.circle(x, y, 1.8, form.INK)
        self._poles(x, y + 16)

    def _poles(self, x: float, y: float) -> None:
        self.text(x - 9, y, "+", 8.5, form.RED, "center")
        self.text(x + 9, y, "–", 8.5, form.INK, "center")

    def _joint(self, item: _Placed) -> None:
        x, y = item.x, item.middle
        if item.row.words:
            for body, low in zip(item.row.bodies, (y, y - 7), strict=True):
                # A plug is dark and narrow, a jack white and wide; what is both stands between.
                half, fill = _HALVES[body]
                self.box(x - half, low, x + half, low + 7, fill)
        elif item.row.probe:
            self.circle(x, y, 2.6, "white")

    def _cross(self, x: float, y: float) -> None:
        for sign in (1, -1):
            # White below the red, so that the cross stands out on any part.
            self.line((x - 9, y - 9 * sign), (x + 9, y + 9 * sign), width=5, color="white")
        for sign in (1, -1):
            self.line((x - 9, y - 9 * sign), (x + 9, y + 9 * sign), width=2.6, color=form.STOP)

    def _badge(self, x: float, y: float, letter: str, fill: str) -> None:
        from schemdraw.segments import SegmentPoly

        corners = [(x, y + 7), (x + 7, y), (x, y - 7), (x - 7, y)]
        self.strokes.append(SegmentPoly(corners, fill=fill, color=form.INK, lw=1, zorder=len(self.strokes)))
        self.text(x, y - 0.3, letter, 8.5, form.INK if fill == "white" else "white", "center")

    def words(self, item: _Placed, left: float) -> None:
        """Write the words of a row at the right, in line with those of all rows."""
        y = item.middle + _LINE * (len(item.lines) - 1) / 2
        for manner, line in item.lines:
            size = 9.5 if manner == "title" else 8.5
            color = {"title": form.INK, "step": form.INK, "plain": form.MUTED, "mark": form.STOP, "probe": form.BLUE}[
                manner
            ]
            self.text(left, y, line, size, color)
            if manner == "probe" and line.startswith(f"{item.row.probe}:"):
                self.line((item.x + 14 if item.row.kind == "panel" else item.x + 6, y), (left - 13, y), width=0.7,
                          color=form.BLUE, dash=":")  # fmt: skip
                self._badge(left - 8, y, item.row.probe, form.BLUE)
            y -= _LINE


def wiring_words(rows: Sequence[WiringRow]) -> str:
    """Tell the wiring picture in words, for those who do not see it."""
    sentences = []
    for row in rows:
        texts = [*row.words, *([row.mark_words] if row.mark_words else [])]
        if row.probe:
            texts.append(f"meter at {row.probe}: {row.probe_words}")
        if row.title or texts:
            name = row.title or (f"Joint of step {row.step}" if row.step else "Joint")
            sentences.append(f"{name}: {'; '.join(texts)}.")
    return " ".join(sentences)
