"""All gauge pieces of one session on one offcut, smallest first, or a refusal with the sizes.

Nothing is turned: X and Y are the machine's. The smallest part takes the lowest free place, then the
next; where that does not fit, larger parts choose first. Whatever the places, parts are cut smallest
first, so that a fault shows while there is still stock left.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from boxjoint import __version__
from boxjoint.errors import CannotBeCut, InputError
from boxjoint.gauge.pieces import (
    SPACING_MM,
    GaugePart,
    GaugePiece,
    Point,
    assemble,
    rectangle_xy,
    require_range,
)
from boxjoint.geometry.drawing import Curve, Drawing, Layer

__all__ = ["OnOffcut", "place_on_offcut"]

MARGIN_MM = 4.0  # from the offcut's edge (common practice, no source: 3 to 5)
_SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OnOffcut:
    """Pieces in their places on an offcut.

    Parameters
    ----------
    pieces
        As given.
    size
        The offcut, mm.
    placed
        Each part with its lower left corner, mm, in the sequence of cutting.
    drawing
        The one drawing of all of it, with the offcut's outline on ``REFERENCE``.
    """

    pieces: tuple[GaugePiece, ...]
    size: tuple[float, float]
    placed: tuple[tuple[GaugePart, Point], ...]
    drawing: Drawing

    @property
    def cut_length_mm(self) -> float:
        """Length of everything that is cut, mm."""
        return math.fsum(p.cut_length_mm for p in self.pieces)

    @property
    def area_mm2(self) -> float:
        """Stock used by the parts, mm2."""
        return math.fsum(p.area_mm2 for p in self.pieces)

    @property
    def used_mm(self) -> tuple[float, float]:
        """How far the parts reach along X and Y from the offcut's lower left corner, mm."""
        return (
            max(x + p.size[0] for p, (x, _) in self.placed),
            max(y + p.size[1] for p, (_, y) in self.placed),
        )

    def seconds(self, speed_mm_s: float) -> float:
        """Time of cutting at a speed, s; without marks, travel and acceleration."""
        return math.fsum(p.seconds(speed_mm_s) for p in self.pieces)


def place_on_offcut(
    pieces: Sequence[GaugePiece],
    width_mm: float,
    height_mm: float,
    *,
    spacing_mm: float = SPACING_MM,
    margin_mm: float = MARGIN_MM,
    title: str = "Gauge pieces",
) -> OnOffcut:
    """Place all parts of all pieces on an offcut, unturned.

    Parameters
    ----------
    pieces
        At least one; all from the same stock.
    width_mm, height_mm
        The offcut along the machine's X and Y, mm.
    spacing_mm
        Between parts, mm, >= 0.5.
    margin_mm
        From the offcut's edge, mm.

    Raises
    ------
    InputError
        No piece, pieces of different stock, or a size outside its limits.
    CannotBeCut
        When they do not fit; names what did not, with its size, and the room there is.
    """
    if not pieces:
        raise InputError("no gauge piece to place")
    require_range("width of an offcut", width_mm, 10.0, 5000.0)
    require_range("height of an offcut", height_mm, 10.0, 5000.0)
    require_range("spacing", spacing_mm, 0.5, 50.0)
    require_range("margin", margin_mm, 0.0, 100.0)
    thick = sorted({round(p.stock.thickness_mm, 2) for p in pieces})
    material = sorted({p.stock.material for p in pieces})
    if len(thick) > 1 or len(material) > 1:
        raise InputError(
            "pieces of different stock cannot be cut from one offcut",
            value="; ".join([*material, *(f"{t:.2f} mm" for t in thick)]),
            do="place the pieces of each stock apart",
        )
    parts = [(i, part) for i, piece in enumerate(pieces) for part in piece.parts]
    room = (width_mm - 2 * margin_mm, height_mm - 2 * margin_mm)
    for i, part in parts:
        if part.size[0] > room[0] + _SLACK or part.size[1] > room[1] + _SLACK:
            raise CannotBeCut(
                f"{part.name} of {pieces[i].code} is larger than the offcut",
                value=f"{part.size[0]:.1f} x {part.size[1]:.1f} mm",
                limit=f"{room[0]:.1f} x {room[1]:.1f} mm inside the margin of {margin_mm:g} mm",
                do="take a larger offcut, or leave this piece out",
            )

    def small(k: int) -> tuple[float, ...]:
        return parts[k][1].area_mm2, float(k)

    def tall(k: int) -> tuple[float, ...]:
        return -parts[k][1].size[1], -parts[k][1].size[0], float(k)

    def wide(k: int) -> tuple[float, ...]:
        return -parts[k][1].size[0], -parts[k][1].size[1], float(k)

    def large(k: int) -> tuple[float, ...]:
        return -parts[k][1].area_mm2, float(k)

    sizes = np.array([p.size for _, p in parts])
    ways: tuple[Callable[[int], tuple[float, ...]], ...] = (small, large, wide, tall)
    stuck: list[int] = []
    for way in ways:
        order = sorted(range(len(parts)), key=way)
        places, left = _pack(sizes[order], room, spacing_mm)
        if not left:
            break
        stuck = stuck or [order[k] for k in left]
    else:
        names = ", ".join(
            f"{parts[k][1].name} of {pieces[parts[k][0]].code} "
            f"({parts[k][1].size[0]:.0f} x {parts[k][1].size[1]:.0f} mm)"
            for k in stuck[:4]
        )
        area = math.fsum(p.area_mm2 for _, p in parts) / 100
        raise CannotBeCut(
            "the pieces do not fit the offcut unturned; no room was found for",
            value=names + (", ..." if len(stuck) > 4 else ""),
            limit=f"{area:.0f} cm2 of parts on {room[0] * room[1] / 100:.0f} cm2 inside the margin",
            do="take a larger offcut, or leave a piece out",
        )
    at = {k: places[i] for i, k in enumerate(order)}
    placed = tuple(
        (parts[k][1], (at[k][0] + margin_mm, at[k][1] + margin_mm))
        for k in sorted(range(len(parts)), key=small)
    )
    size = (width_mm, height_mm)
    drawing = assemble(title, placed, _notes(pieces, size), size)
    outline = Curve(layer=Layer.REFERENCE, xy=rectangle_xy(0.0, 0.0, width_mm, height_mm))
    return OnOffcut(
        pieces=tuple(pieces),
        size=size,
        placed=placed,
        drawing=Drawing(
            title=drawing.title,
            size=size,
            curves=(*drawing.curves, outline),
            labels=drawing.labels,
            notes=drawing.notes,
        ),
    )


def _pack(
    sizes: NDArray[np.float64], room: tuple[float, float], spacing: float
) -> tuple[list[Point], list[int]]:
    """Give each rectangle in turn the lowest, then leftmost free place; those without one are left.

    Candidate places have a left edge at the room's own or beside a placed rectangle, and a lower edge
    at the room's own or above one. O(n^4) at worst, for the few dozen parts of a session.
    """
    boxes: list[tuple[float, float, float, float]] = []
    places: list[Point] = []
    left: list[int] = []
    for k, (w, h) in enumerate(sizes.tolist()):
        b = np.array(boxes).reshape(-1, 4)
        x = np.unique(np.append(b[:, 2] + spacing, 0.0))
        y = np.unique(np.append(b[:, 3] + spacing, 0.0))
        x, y = x[x + w <= room[0] + _SLACK], y[y + h <= room[1] + _SLACK]
        spot: Point | None = None
        for low in y.tolist():
            beside = (b[:, 1] < low + h + spacing - _SLACK) & (b[:, 3] > low - spacing + _SLACK)
            c = b[beside]
            free = (
                (c[:, 0][:, None] >= x + w + spacing - _SLACK)
                | (c[:, 2][:, None] <= x - spacing + _SLACK)
            ).all(axis=0)
            if free.any():
                spot = float(x[np.flatnonzero(free)[0]]), low
                break
        if spot is None:
            left.append(k)
            places.append((math.nan, math.nan))
            continue
        places.append(spot)
        boxes.append((spot[0], spot[1], spot[0] + w, spot[1] + h))
    return places, left


def _notes(pieces: Sequence[GaugePiece], size: tuple[float, float]) -> tuple[str, ...]:
    applied = [p.code for p in pieces if p.kerf_applied]
    bare = [p.code for p in pieces if not p.kerf_applied]
    lines = [f"boxjoint {__version__}: gauge pieces on an offcut of {size[0]:g} x {size[1]:g} mm"]
    if bare:
        lines.append(
            f"kerf applied: NO, on purpose, to {', '.join(bare)}: cut at their drawn sizes"
        )
    if applied:
        lines.append(f"kerf applied: yes to {', '.join(applied)}")
    lines.append("switch off any kerf or offset in the controller")
    first = pieces[0]
    lines += first.stock.notes(applied=first.kerf_applied)
    for piece in pieces:
        lines.append(
            f"{piece.code}: {piece.title}; cut {piece.cut_length_mm:.0f} mm, "
            f"stock {piece.area_mm2 / 100:.1f} cm2, {piece.pieces} pieces"
        )
        lines += [f"{piece.code}: {line}" for line in piece.extra]
        lines += [f"CAUTION, {piece.code}: {w}" for w in piece.warnings]
    total = math.fsum(p.cut_length_mm for p in pieces)
    lines += [
        f"in all: cut {total:.0f} mm; cut smallest first, as in this file",
        "DO NOT TURN: X and Y are the machine's axes",
    ]
    return tuple(lines)
