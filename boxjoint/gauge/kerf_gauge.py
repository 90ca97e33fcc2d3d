"""The kerf gauge: a frame with two windows of slices, one along X and one along Y.

All sizes are drawn as they are; no kerf is applied. What the beam takes away shows in every size:
the frame is a plug, a window is a hole, and its slices pressed together are a stack that has lost
a kerf at each cut between them and half a kerf at each end. A stack and its window come from the
same contour, so that the noise of its edges cancels between them.

Each slice is held to the frame by one bridge, at the side of the window that lies nearer to the
frame's outside, off the middle of the slice, where no jaw goes. The windows are therefore open
polylines, which is right here: a gauge is cut on the line, and no controller may offset it. Cuts
between slices are single lines (N - 1 of them); no two lines lie on top of each other. They are
drawn before the windows, so that both faces of a slice are cut while it is still held all along.
"""

from __future__ import annotations

import math

import numpy as np

from boxjoint.errors import InputError
from boxjoint.gauge.pieces import (
    BRIDGE_MM,
    GaugeKind,
    GaugePart,
    GaugePiece,
    GaugeStock,
    ReadingRow,
    arrow,
    bridged,
    code_of,
    rectangle_xy,
    require_range,
)
from boxjoint.gauge.readings import Axis, Form
from boxjoint.geometry.drawing import Curve, Label, Layer

__all__ = ["FRAME_MM", "LEAST_SLICES", "SLICES", "kerf_gauge", "slices_that_stand"]

#: Size of the frame, mm: windows of 72 x 12 and 12 x 50 then fit.
FRAME_MM = (100.0, 60.0)
#: Slices of each window; fewer where the stock is thick.
SLICES = 8
#: Fewer slices do not measure a kerf well enough: U(k) of 0.017 mm at 4, 0.013 at 8 (computed).
LEAST_SLICES = 4
MOST_SLICES = 15

_WINDOW_MM = 12.0  # across the slices
_WEB_MM = 5.0  # from a window to the frame's outside
_BETWEEN_MM = 6.0  # between the windows
_STANDING = 1.5  # least pitch over thickness: a narrower slice tips when it is pressed
_LEAST_PITCH_MM = 4.0  # narrower slices are hard to hold and to number
_MOST_FRAME_MM = 400.0
_CLEAR = 0.65  # where on a slice's pitch the jaws go, clear of its stub at a quarter
_JAW_MM = 1.2  # half the width of a jaw's tip (assumed)


def slices_that_stand(length_mm: float, thickness_mm: float, most: int = SLICES) -> int:
    """How many slices of a window stand flat: pitch at least 1.5 thicknesses and 4 mm.

    Parameters
    ----------
    length_mm
        Length of the window, mm.
    most
        Not more than this.
    """
    pitch = max(_STANDING * thickness_mm, _LEAST_PITCH_MM)
    return min(most, math.floor(length_mm / pitch + 1e-9))


def kerf_gauge(
    stock: GaugeStock,
    *,
    quick: bool = False,
    slices: int | None = None,
    frame_mm: tuple[float, float] = FRAME_MM,
    bridge_mm: float = BRIDGE_MM,
) -> GaugePiece:
    """Return the kerf gauge with its form: 12 values, or 6 for the quick form of the same piece.

    Parameters
    ----------
    stock
        What it is cut from. Thick stock gets fewer slices, so that they stand flat.
    quick
        Only frame, window and stack along each axis, once each. It costs 9 % in U(k) (computed).
    slices
        Slices of both windows, 4 to 15; ``None``: 8, or as many as stand flat.
    frame_mm
        Outside (X, Y), mm; larger where the stock is too thick for 4 slices.
    bridge_mm
        Width of each slice's bridge as cut, mm; 0 for none: the slices then fall out.

    Returns
    -------
    GaugePiece
        One part; 1 + slices of both windows pieces.

    Raises
    ------
    InputError
        A size outside its limits, or slices that would not stand flat; says what would.
    """
    fx, fy = frame_mm
    require_range("frame along X", fx, 60.0, _MOST_FRAME_MM)
    require_range("frame along Y", fy, 45.0, _MOST_FRAME_MM)
    require_range("bridge", bridge_mm, 0.0, 2.0)
    long_x, long_y = fx - 2 * _WEB_MM - _BETWEEN_MM - _WINDOW_MM, fy - 2 * _WEB_MM
    nx = _slices("x", long_x, stock.thickness_mm, slices)
    ny = _slices("y", long_y, stock.thickness_mm, slices)
    code = code_of(GaugeKind.KERF, fx, fy, nx, ny, bridge_mm, *stock.facts)
    gap = bridge_mm + stock.widest_kerf_mm if bridge_mm else 0.0

    x0 = y0 = _WEB_MM
    wx = fx - _WEB_MM - _WINDOW_MM
    curves = [
        *_window(x0, y0, long_x, nx, gap, stock, along_x=True),
        *_window(wx, y0, long_y, ny, gap, stock, along_x=False),
        Curve(layer=Layer.CUT_OUTER, xy=rectangle_xy(0.0, 0.0, fx, fy)),
    ]
    labels = [
        *_numbers(x0, y0, long_x, nx, along_x=True),
        *_numbers(wx, y0, long_y, ny, along_x=False),
    ]
    marks, words = _marks(code, frame_mm, nx, ny)
    part = GaugePart(
        name="frame",
        size=frame_mm,
        curves=(*marks, *curves),
        labels=(*labels, *words),
        pieces=1 + nx + ny,
        holes=(
            (x0, y0, x0 + long_x, y0 + _WINDOW_MM),
            (wx, y0, wx + _WINDOW_MM, y0 + long_y),
        ),
    )
    return GaugePiece(
        kind=GaugeKind.KERF,
        code=code,
        title="Kerf gauge, quick form" if quick else "Kerf gauge",
        stock=stock,
        parts=(part,),
        rows=_rows(frame_mm, (long_x, nx), (long_y, ny), quick=quick),
        how=(
            f"N = {nx} slices along X, N = {ny} along Y: count them",
            "read the frame first; then cut the bridges with a knife, pare the stubs flush and take the "
            "slices out",
            "read the windows; press the slices of one window together, numbers up and in their "
            "sequence, and read the stack",
        ),
    )


def _slices(axis: Axis, length: float, thickness: float, asked: int | None) -> int:
    stand = slices_that_stand(length, thickness, MOST_SLICES)
    pitch = max(_STANDING * thickness, _LEAST_PITCH_MM)
    around = 2 * _WEB_MM + (_BETWEEN_MM + _WINDOW_MM if axis == "x" else 0.0)
    n = min(SLICES, stand) if asked is None else asked
    if not LEAST_SLICES <= n <= MOST_SLICES:
        if asked is not None:
            raise InputError(
                "number of slices of a window",
                value=str(n),
                limit=f"{LEAST_SLICES} to {MOST_SLICES}",
            )
        raise InputError(
            f"the stock is too thick for {LEAST_SLICES} slices along {axis.upper()} that stand flat",
            value=f"{thickness:.2f} mm",
            limit=f"at most {length / LEAST_SLICES / _STANDING:.2f} mm in this frame",
            do=f"take a frame of {LEAST_SLICES * pitch + around:.0f} mm or more along {axis.upper()}",
        )
    if n > stand:
        raise InputError(
            f"slices along {axis.upper()} would be too narrow to stand flat",
            value=f"{n} slices of {length / n:.2f} mm in stock of {thickness:.2f} mm",
            limit=f"at least {pitch:.2f} mm each",
            do=f"take {stand} slices, or a frame of {n * pitch + around:.0f} mm along {axis.upper()}",
        )
    return n


def _off_middle(pitch: float) -> float:
    """From a slice's edge to the middle of its bridge, mm."""
    return min(2.0, pitch / 4)


def _window(
    x: float, y: float, length: float, n: int, gap: float, stock: GaugeStock, *, along_x: bool
) -> list[Curve]:
    pitch = length / n
    at = [i * pitch for i in range(n + 1)]
    bridges = [a + _off_middle(pitch) for a in at[:-1]]
    off = _off_middle(pitch)
    if gap and off < (gap + stock.widest_kerf_mm) / 2:
        raise InputError(
            "a bridge reaches the cut between two slices",
            value=f"bridge and kerf {gap:.2f} mm, slices of {pitch:.2f} mm",
            do="take a narrower bridge, or fewer slices",
        )
    if off + gap / 2 + _JAW_MM > _CLEAR * pitch:
        raise InputError(
            "the stub of a bridge would lie under the jaws",
            value=f"bridge and kerf {gap:.2f} mm, slices of {pitch:.2f} mm",
            do="take a narrower bridge, or fewer slices",
        )
    if along_x:
        cuts = [[(x + a, y), (x + a, y + _WINDOW_MM)] for a in at[1:-1]]
        ring = rectangle_xy(x, y, x + length, y + _WINDOW_MM)
        places = [(x + b, y) for b in bridges]
    else:
        cuts = [[(x, y + a), (x + _WINDOW_MM, y + a)] for a in at[1:-1]]
        ring = rectangle_xy(x, y, x + _WINDOW_MM, y + length)
        places = [(x + _WINDOW_MM, y + b) for b in bridges]
    return [
        *(Curve(layer=Layer.CUT_INNER, xy=np.array(c), closed=False) for c in cuts),
        *bridged(ring, places, gap, Layer.CUT_INNER),
    ]


def _numbers(x: float, y: float, length: float, n: int, *, along_x: bool) -> list[Label]:
    pitch = length / n
    height = min(4.0, 0.45 * pitch)
    out = []
    for i in range(n):
        a, b = (i + 0.5) * pitch, _WINDOW_MM / 2
        at = (x + a, y + b) if along_x else (x + b, y + a)
        out.append(Label(layer=Layer.MARK, at=at, text=str(i + 1), height=height))
    return out


def _marks(
    code: str, frame: tuple[float, float], nx: int, ny: int
) -> tuple[list[Curve], list[Label]]:
    """Arrows along both windows with their axis and N, and the code in the middle."""
    fx, fy = frame
    top, right = _WEB_MM + _WINDOW_MM, fx - _WEB_MM - _WINDOW_MM - _BETWEEN_MM
    low, left = top + 4.0, right - 3.0  # lines of the two arrows
    high = fy - 8.0
    curves = [
        *arrow((8.0, low), (left - 10.0, low)),
        *arrow((left, low + 4.0), (left, high)),
    ]
    middle = (left - 10.0 + 8.0) / 2

    def label(at: tuple[float, float], text: str, height: float) -> Label:
        return Label(layer=Layer.MARK, at=at, text=text, height=height)

    room = high - low
    labels = [
        label((left - 4.5, low), "X", 3.0),
        label((left, fy - 5.5), "Y", 3.0),
        label((middle, low + 4.0), f"N = {nx}", 3.0),
        label((left - 8.5, low + room * 0.62), f"N = {ny}", 3.0),
        label(((left - 10.0) / 2, low + room * 0.62), code, min(6.0, (left - 22.0) / 6.5)),
    ]
    return curves, labels


def _rows(
    frame: tuple[float, float], x: tuple[float, int], y: tuple[float, int], *, quick: bool
) -> tuple[ReadingRow, ...]:
    """Rows in the sequence of the bench: the piece whole, then without slices, then the slices."""
    fx, fy = frame
    (lx, nx), (ly, ny) = x, y
    x0 = y0 = _WEB_MM
    wx = fx - _WEB_MM - _WINDOW_MM
    clear_x = x0 + (nx // 2) * lx / nx + _CLEAR * lx / nx  # clear of the bridges' stubs
    clear_y = y0 + (ny // 2) * ly / ny + _CLEAR * ly / ny
    column = wx - _BETWEEN_MM / 2
    band = fy - _WEB_MM / 2
    rows: list[ReadingRow] = []

    def add(form: Form, axis: Axis, drawn: float, what: str, jaws: str, **more: object) -> None:
        row = len(rows) + 1
        rows.append(
            ReadingRow(row=row, form=form, axis=axis, drawn_mm=drawn, what=what, jaws=jaws, **more)  # type: ignore[arg-type]
        )

    outside = "outside jaws"
    inside = "inside jaws, slices taken out"
    add(
        Form.PLUG,
        "x",
        fx,
        "frame, X",
        f"{outside}, at the solid edge that has no window",
        contour="frame",
        part="frame",
        touch=((0.0, band), (fx, band)),
    )
    add(
        Form.PLUG,
        "y",
        fy,
        "frame, Y",
        f"{outside}, on the bar between the windows",
        contour="frame",
        part="frame",
        touch=((column, 0.0), (column, fy)),
    )
    add(
        Form.WINDOW,
        "x",
        lx,
        "window X, length",
        inside,
        contour="window x",
        part="frame",
        touch=((x0, y0 + _WINDOW_MM / 2), (x0 + lx, y0 + _WINDOW_MM / 2)),
    )
    if not quick:
        add(
            Form.WINDOW,
            "y",
            _WINDOW_MM,
            "window X, width",
            f"{inside}, clear of the stubs",
            contour="window x",
            part="frame",
            touch=((clear_x, y0), (clear_x, y0 + _WINDOW_MM)),
        )
    add(
        Form.WINDOW,
        "y",
        ly,
        "window Y, length",
        inside,
        contour="window y",
        part="frame",
        touch=((wx + _WINDOW_MM / 2, y0), (wx + _WINDOW_MM / 2, y0 + ly)),
    )
    if not quick:
        add(
            Form.WINDOW,
            "x",
            _WINDOW_MM,
            "window Y, width",
            f"{inside}, clear of the stubs",
            contour="window y",
            part="frame",
            touch=((wx, clear_y), (wx + _WINDOW_MM, clear_y)),
        )
    for axis, other, length, n in (("x", "y", lx, nx), ("y", "x", ly, ny)):
        name = axis.upper()
        add(
            Form.STACK,
            axis,  # type: ignore[arg-type]
            length,
            f"stack {name}, {n} slices",
            f"{outside}, all {n} slices pressed together, numbers up"
            + ("" if quick else "; take apart, press and read again"),
            slices=n,
            contour=f"window {axis}",
            times=1 if quick else 2,
        )
        if not quick:
            add(
                Form.PLUG,
                other,  # type: ignore[arg-type]
                _WINDOW_MM,
                f"one slice of {name}, length",
                f"{outside}, along one slice of window {name}, clear of its stub",
                contour=f"window {axis}",
            )
    for axis, length, n in (("x", lx, nx), ("y", ly, ny)):
        add(
            Form.STACK,
            axis,  # type: ignore[arg-type]
            length,
            f"stack {axis.upper()}, turned",
            f"{outside}, every second slice turned over (even numbers down): gives the taper",
            slices=n,
            contour=f"window {axis}",
            turned=True,
            optional=True,
        )
    return tuple(rows)
