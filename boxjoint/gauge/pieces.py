"""Gauge pieces: small parts that are cut only to be measured or tried, and the rows of their forms.

A piece knows its drawing, how it is read (which size, along which axis, between which points the
jaws go) and what it costs (length of cut, area of stock). A row holds everything that a reading
needs beside the value, so that a form filled in by hand becomes readings without further questions.

Kerf gauges, strips and combs are drawn at their sizes: no kerf is applied, because the kerf is what
they measure. Coupons are drawn as the job is drawn, kerf applied.

Every piece has a code made from its parameters. It is marked on the piece and printed on its form,
so that a form of another gauge is refused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from boxjoint import __version__
from boxjoint.errors import InputError
from boxjoint.gauge.curves import Floats, Point, arrow, bridged, curve_length, rectangle_xy, stacked
from boxjoint.gauge.readings import Axis
from boxjoint.gauge.rows import GaugeKind, ReadingRow, SlotRow, code_of, plain
from boxjoint.gauge.stock import GaugeStock, require_range
from boxjoint.geometry.drawing import Curve, Drawing, Label, Layer

__all__ = [
    "BRIDGE_MM",
    "SPACING_MM",
    "Floats",
    "GaugeKind",
    "GaugePart",
    "GaugePiece",
    "GaugeStock",
    "Point",
    "ReadingRow",
    "SlotRow",
    "arrow",
    "assemble",
    "bridged",
    "code_of",
    "curve_length",
    "plain",
    "rectangle_xy",
    "require_range",
    "stacked",
]

#: Width of a bridge as cut, mm (common practice, no source: 0.5, up to 1).
BRIDGE_MM = 0.5
SPACING_MM = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GaugePart:
    """One part of a piece, in one place of the sheet.

    Parameters
    ----------
    name
        Unique in its piece.
    size
        (width, height), mm: everything lies between (0, 0) and this.
    curves, labels
        What to draw, about the part's own lower left corner.
    at
        Its place in the piece's own drawing, mm.
    pieces
        How many pieces it comes apart into, bridges cut.
    holes
        Rectangles (x0, y0, x1, y1), mm, that stand open once what is in them is taken out.
    """

    name: str
    size: tuple[float, float]
    curves: tuple[Curve, ...]
    labels: tuple[Label, ...] = ()
    at: Point = (0.0, 0.0)
    pieces: int = 1
    holes: tuple[tuple[float, float, float, float], ...] = ()

    @property
    def cut_length_mm(self) -> float:
        """Length of everything that is cut, mm."""
        cut = (Layer.CUT_INNER, Layer.CUT_OUTER)
        return math.fsum(curve_length(c) for c in self.curves if c.layer in cut)

    @property
    def area_mm2(self) -> float:
        """Stock used, mm2: the rectangle around it."""
        return self.size[0] * self.size[1]

    def moved(self, x: float, y: float) -> tuple[tuple[Curve, ...], tuple[Label, ...]]:
        """Return curves and labels with the part's lower left corner at (x, y), mm."""
        by = np.array([x, y])
        return (
            tuple(replace(c, xy=c.xy + by) for c in self.curves),
            tuple(replace(t, at=(t.at[0] + x, t.at[1] + y)) for t in self.labels),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GaugePiece:
    """A gauge piece with its form.

    Parameters
    ----------
    kind
        What it is for.
    code
        Made from its parameters; marked on it.
    title
        For people.
    stock
        What it is cut from.
    parts
        One or more; none may be turned, since X and Y are the machine's.
    rows, slots
        What to read, and what to try.
    how
        How to use it, line by line.
    kerf_applied
        False for everything but coupons.
    axis
        Along which a comb's widths lie.
    warnings
        What the maker should look at.
    extra
        Further lines for ``REFERENCE``.
    """

    kind: GaugeKind
    code: str
    title: str
    stock: GaugeStock
    parts: tuple[GaugePart, ...]
    rows: tuple[ReadingRow, ...] = ()
    slots: tuple[SlotRow, ...] = ()
    how: tuple[str, ...] = ()
    kerf_applied: bool = False
    axis: Axis = "x"
    warnings: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()

    @property
    def cut_length_mm(self) -> float:
        """Length of everything that is cut, mm."""
        return math.fsum(p.cut_length_mm for p in self.parts)

    @property
    def area_mm2(self) -> float:
        """Stock used, mm2: the rectangles around the parts, without the spacing between them."""
        return math.fsum(p.area_mm2 for p in self.parts)

    @property
    def pieces(self) -> int:
        """How many pieces it comes apart into."""
        return sum(p.pieces for p in self.parts)

    @property
    def values(self) -> int:
        """How many values the form wants, optional rows left out."""
        return sum(r.times for r in self.rows if not r.optional)

    def seconds(self, speed_mm_s: float) -> float:
        """Time of cutting at a speed, s; without marks, travel and acceleration.

        Raises
        ------
        InputError
            A speed that is not larger than zero.
        """
        if not (math.isfinite(speed_mm_s) and speed_mm_s > 0):
            raise InputError(
                "a speed must be larger than zero", value=f"{speed_mm_s!r} mm/s", do="give mm/s"
            )
        return self.cut_length_mm / speed_mm_s

    @property
    def notes(self) -> tuple[str, ...]:
        """Lines for ``REFERENCE``."""
        if self.kerf_applied:
            applied = ("kerf applied: yes, as for the job; do not apply it again",)
        elif self.kind is GaugeKind.COUPON:
            applied = ("kerf applied: no, as for the job: the controller offsets",)
        else:
            applied = (
                "kerf applied: NO, on purpose: a gauge is cut at its drawn sizes; "
                "switch off any kerf or offset in the controller",
            )
        return (
            f"boxjoint {__version__}: gauge {self.code}, marked on the piece and on its form",
            *applied,
            *self.extra,
            *self.stock.notes(applied=self.kerf_applied),
            "DO NOT TURN: X and Y are the machine's axes",
            f"cut {self.cut_length_mm:.0f} mm, stock {self.area_mm2 / 100:.1f} cm2, "
            f"{self.pieces} pieces",
            *self.how,
            *(f"CAUTION: {w}" for w in self.warnings),
        )

    @property
    def drawing(self) -> Drawing:
        """The piece by itself, its lower left corner at (0, 0)."""
        return assemble(f"{self.title}, {self.code}", [(p, p.at) for p in self.parts], self.notes)


def assemble(
    title: str,
    placed: Sequence[tuple[GaugePart, Point]],
    notes: tuple[str, ...],
    size: tuple[float, float] | None = None,
) -> Drawing:
    """Return one drawing of parts in their places, cut in the sequence given.

    Parameters
    ----------
    size
        (width, height), mm; ``None``: what the parts cover.
    """
    curves: list[Curve] = []
    labels: list[Label] = []
    width = height = 0.0
    for part, (x, y) in placed:
        more, text = part.moved(x, y)
        curves += more
        labels += text
        width, height = max(width, x + part.size[0]), max(height, y + part.size[1])
    return Drawing(
        title=title,
        size=size or (width, height),
        curves=tuple(curves),
        labels=tuple(labels),
        notes=notes,
    )
