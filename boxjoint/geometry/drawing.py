"""What a file shows, in neutral terms: curves on layers, stroke text and notes.

Rooms that draw (panels, gauges, sheets) make drawings; the export room writes them to DXF and SVG
and decides nothing. Coordinates are float millimetres, y up.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["Curve", "Drawing", "Label", "Layer"]


class Layer(StrEnum):
    """The layers, in the sequence in which a controller should take them.

    What is on ``ENGRAVE`` is filled by the even-odd rule, all other layers are lines. It is written
    only to files that have something on it.
    """

    ENGRAVE = "ENGRAVE"
    MARK = "MARK"
    CUT_INNER = "CUT_INNER"
    CUT_OUTER = "CUT_OUTER"
    REFERENCE = "REFERENCE"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """A polyline with optional arcs.

    Parameters
    ----------
    layer
        Where it goes.
    xy
        (n, 2) float64, mm. A closed curve does not repeat its first point.
    bulge
        (n,) float64 or ``None``: tan(angle / 4) of the arc from point i to the next, positive
        turning counter-clockwise, 0 for a straight side (DXF's own definition).
    closed
        True for anything that is cut.
    """

    layer: Layer
    xy: NDArray[np.float64]
    bulge: NDArray[np.float64] | None = None
    closed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Text drawn as strokes, never as live text; ``at`` is its centre, mm, ``height`` mm."""

    layer: Layer
    at: tuple[float, float]
    text: str
    height: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """One file's worth of curves.

    Parameters
    ----------
    title
        Shown in the file's own title.
    size
        (width, height) of what is cut, mm; it lies between (0, 0) and ``size``.
    curves, labels
        What to draw.
    notes
        Lines of plain text for ``REFERENCE``: kerf applied or not, clearance, thickness, unit,
        scale. The writer puts them with the check square, to the right of ``size``.
    """

    title: str
    size: tuple[float, float]
    curves: tuple[Curve, ...]
    labels: tuple[Label, ...] = ()
    notes: tuple[str, ...] = field(default=())
