"""What both writers agree on: what is drawn where, and how a number is written.

A drawing comes with curves, labels and notes. Laid out, it is a list of polylines a layer, in whole
nanometres, and lines of text beside a square of 100 mm, to the right of what is cut. Text is live
there and only there, because ``REFERENCE`` is never cut and never marked; it starts in the square
and goes on in columns to the right of it, so that nothing lies over what is cut.
"""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.geometry.drawing import Curve, Drawing, Layer
from boxjoint.geometry.strokes import label_strokes, one_line

__all__ = ["BORDER_MM", "SQUARE_MM", "Laid", "Line", "Path", "lay_out", "written", "written_all"]

#: Room around everything drawn, mm: the edge of the page, or of a print, cuts no line in half.
BORDER_MM = 5
#: Side of the check square, mm.
SQUARE_MM = 100.0
_SQUARE_GAP_MM = 10.0

_TITLE_MM, _NOTE_MM = 3.5, 2.5  # heights of capitals
_TITLE_CHARACTERS, _NOTE_CHARACTERS = 28, 42  # what fits the square with the widest usual letters
_STEPS_MM = (4.2, 3.8, 3.5)  # from line to line; the first that needs one column
_COLUMN_MM = SQUARE_MM + 5.0
_PAD_MM = 4.0
_LONGEST_NOTE = 12  # rows of a note that are kept together

_CAPTION = ("All lengths in this file are in mm.", "Check: this square is 100 mm by 100 mm.")

# a metre short of 10 km; far above any sheet, and every nanometre below it is an exact float64
_LARGEST_MM = 9_999_000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """Polylines that belong together: one curve, or all strokes of a label.

    ``parts`` holds, for each, (n, 2) int64 nm, (n,) float64 bulge or ``None``, and closed or not.
    """

    layer: Layer
    parts: tuple[tuple[NDArray[np.int64], NDArray[np.float64] | None, bool], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of text: left end of its base line, mm, and height of its capitals, mm."""

    x: float
    y: float
    height: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """A drawing laid out.

    Parameters
    ----------
    title, notes
        As given, each on one line.
    paths
        In the sequence of :class:`~boxjoint.geometry.drawing.Layer`, then as given.
    lines
        Text for ``REFERENCE``.
    low, high
        Corners of everything drawn and of the columns of text, nm.
    """

    title: str
    notes: tuple[str, ...]
    paths: tuple[Path, ...]
    lines: tuple[Line, ...]
    low: tuple[int, int]
    high: tuple[int, int]


def written(nm: int) -> str:
    """Return nanometres as mm: exact, no exponent, no negative zero, no needless zeros."""
    return f"{nm / 1e6:.6f}".rstrip("0").rstrip(".")


def written_all(nm: NDArray[np.int64]) -> list[list[str]]:
    """Return an (n, 2) array of nanometres as n pairs of numbers in mm, like :func:`written`."""
    # one pass over plain floats; 0.3 us a number, a third of what formatting whole arrays costs
    text = [f"{v:.6f}".rstrip("0").rstrip(".") for v in (nm / 1e6).ravel().tolist()]
    return [text[i : i + 2] for i in range(0, len(text), 2)]


def lay_out(drawing: Drawing) -> Laid:
    """Return everything that a file of this drawing shows, in its final place.

    Raises
    ------
    InputError
        A coordinate, bulge or size is not finite or beyond 10 km, a curve has fewer than two points
        or a bulge too many or too few.
    """
    square_x = drawing.size[0] + _SQUARE_GAP_MM
    side = SQUARE_MM
    right = square_x + side
    corners = np.array([(square_x, 0.0), (right, 0.0), (right, side), (square_x, side)])
    square = Curve(layer=Layer.REFERENCE, xy=corners)

    groups = [(c.layer, [c]) for c in (*drawing.curves, square)]
    for label in drawing.labels:
        strokes = label_strokes(label)
        if strokes:
            curves = [Curve(layer=label.layer, xy=s, closed=False) for s in strokes]
            groups.append((label.layer, curves))
    paths = tuple(
        Path(layer=layer, parts=tuple(_part(c, drawing.title) for c in curves))
        for wanted in Layer
        for layer, curves in groups
        if layer is wanted
    )

    title = one_line(drawing.title)
    notes = tuple(n for note in drawing.notes for n in map(one_line, note.splitlines()) if n)
    lines, columns = _text(title, notes, square_x)
    bounds = np.concatenate([_bounds(*part) for path in paths for part in path.parts])
    column_end = round((right + (columns - 1) * _COLUMN_MM) * 1e6)
    return Laid(
        title=title,
        notes=notes,
        paths=paths,
        lines=lines,
        low=(int(bounds[:, 0].min()), int(bounds[:, 1].min())),
        high=(max(int(bounds[:, 0].max()), column_end), int(bounds[:, 1].max())),
    )


def _part(curve: Curve, title: str) -> tuple[NDArray[np.int64], NDArray[np.float64] | None, bool]:
    """One curve in whole nanometres, checked."""
    xy, bulge = curve.xy, curve.bulge
    if xy.ndim != 2 or xy.shape[1] != 2 or len(xy) < 2:
        raise InputError(
            "a curve needs at least two points of two coordinates",
            where=f"{one_line(title)}, {curve.layer}",
            value=str(xy.shape),
        )
    # written so that NaN fails too
    if not np.abs(xy).max() < _LARGEST_MM:
        raise InputError(
            "a coordinate is not finite or beyond 10 km",
            where=f"{one_line(title)}, {curve.layer}",
            value=f"{np.abs(xy).max()} mm",
        )
    if bulge is not None:
        if bulge.shape != (len(xy),) or not np.isfinite(bulge).all():
            raise InputError(
                "a bulge is missing or not finite", where=f"{one_line(title)}, {curve.layer}"
            )
        if not curve.closed:
            bulge = np.append(bulge[:-1], 0.0)  # nothing follows the last point
        if not bulge.any():
            bulge = None
        elif np.abs(bulge).max() > 1:
            xy, bulge = _halved(xy, bulge)
    return np.rint(xy * 1e6).astype(np.int64), bulge, curve.closed


def _halved(
    xy: NDArray[np.float64], bulge: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same curve with every arc of more than a half circle in two, cut at its middle.

    GDAL (3.12) draws such an arc as its complement on the other side of the chord.
    """
    points, bulges = [], []
    for start, end, b in zip(xy, np.roll(xy, -1, axis=0), bulge.tolist(), strict=True):
        points.append(start)
        if abs(b) <= 1:
            bulges.append(b)
            continue
        dx, dy = end - start
        # the middle lies half a chord times the bulge to the right of the chord
        points.append((start + end) / 2 + np.array([dy, -dx]) * (b / 2))
        bulges += [math.tan(math.atan(b) / 2)] * 2
    return np.array(points), np.array(bulges)


def _bounds(
    nm: NDArray[np.int64], bulge: NDArray[np.float64] | None, closed: bool
) -> NDArray[np.int64]:
    """Two corners, nm, of a polyline with its arcs."""
    low, high = nm.min(axis=0), nm.max(axis=0)
    if bulge is None:
        return np.array([low, high])
    extremes = [low.astype(float), high.astype(float)]
    for i in np.flatnonzero(bulge if closed else bulge[:-1]).tolist():
        b = float(bulge[i])
        start = complex(*nm[i].tolist())
        chord = complex(*nm[(i + 1) % len(nm)].tolist()) - start
        # the centre lies left of the chord for a counter-clockwise arc below a half circle
        centre = start + chord / 2 + chord * 1j * (1 - b * b) / (4 * b)
        radius = abs(start - centre)
        first = math.atan2((start - centre).imag, (start - centre).real)
        turn = 4 * math.atan(b)
        for quarter, way in enumerate((1, 1j, -1, -1j)):
            ahead = (quarter * math.pi / 2 - first) * (1 if b > 0 else -1) % math.tau
            if ahead < abs(turn):
                point = centre + radius * way
                extremes.append(np.array([point.real, point.imag]))
    stack = np.array(extremes)
    return np.array([np.floor(stack.min(axis=0)), np.ceil(stack.max(axis=0))]).astype(np.int64)


def _text(title: str, notes: tuple[str, ...], square_x: float) -> tuple[tuple[Line, ...], int]:
    """Title, notes and the square's caption as placed lines, and the number of columns.

    Lines stand closer where that keeps all of them in the square.
    """
    found = [_placed(title, notes, square_x, step) for step in _STEPS_MM]
    return next((f for f in found if f[1] == 1), found[0])


def _placed(
    title: str, notes: tuple[str, ...], square_x: float, step: float
) -> tuple[tuple[Line, ...], int]:
    """The same for lines that are ``step`` mm apart."""
    # (height, text, rows of the same note from here on)
    rows = [(_TITLE_MM, row, 1) for row in textwrap.wrap(title, _TITLE_CHARACTERS)]
    for note in notes:
        wrapped = textwrap.wrap(note, _NOTE_CHARACTERS, subsequent_indent="  ")
        rows += [(_NOTE_MM, row, len(wrapped) if not i else 1) for i, row in enumerate(wrapped)]

    lines = []
    x, top = square_x + _PAD_MM, SQUARE_MM - _PAD_MM - _TITLE_MM
    caption_top = _PAD_MM + step * (len(_CAPTION) - 1)
    y, columns = top, 1
    for height, row, together in rows:
        # only the first column has the caption below it
        low = caption_top + 1.5 * step if columns == 1 else _PAD_MM
        # a note is not parted by the end of a column, unless it is longer than any
        last = y - (together - 1) * step if together <= _LONGEST_NOTE else y
        if last < low:
            y, x, columns = top, x + _COLUMN_MM, columns + 1
        indent = len(row) - len(row.lstrip())
        lines.append(Line(x=x + indent, y=y, height=height, text=row.strip()))
        y -= step * (1.4 if height == _TITLE_MM else 1.0)
    for i, row in enumerate(_CAPTION):
        y = caption_top - i * step
        lines.append(Line(x=square_x + _PAD_MM, y=y, height=_NOTE_MM, text=row))
    return tuple(lines), columns
