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

import hashlib
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from boxjoint import __version__
from boxjoint.errors import InputError
from boxjoint.fit.fits import ASSUMED_KERF_MM, family_of
from boxjoint.gauge.readings import Axis, Form, Reading
from boxjoint.geometry.drawing import Curve, Drawing, Label, Layer
from boxjoint.job.records import PerAxis, Source
from boxjoint.units import mm_and_thou

__all__ = [
    "BRIDGE_MM",
    "GaugeKind",
    "GaugePart",
    "GaugePiece",
    "GaugeStock",
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

Floats = NDArray[np.float64]
Point = tuple[float, float]

#: Width of a bridge as cut, mm (common practice, no source: 0.5, up to 1).
BRIDGE_MM = 0.5
SPACING_MM = 3.0

# consonants only: a code is no word, and no spreadsheet takes it for a number or a date
_LETTERS = "BCDFGHJKMNPQRSTVWXZ"


class GaugeKind(StrEnum):
    """What a gauge piece is for."""

    KERF = "kerf"
    STRIP = "strip"
    COMB = "comb"
    SHEET_COMB = "sheet comb"
    COUPON = "coupon"


_CODE_LETTER = {
    GaugeKind.KERF: "K",
    GaugeKind.STRIP: "S",
    GaugeKind.COMB: "C",
    GaugeKind.SHEET_COMB: "T",
    GaugeKind.COUPON: "F",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStock:
    """The stock a piece is cut from, and the kerf that is guessed for it.

    Parameters
    ----------
    material
        Its name, as in the job.
    thickness_mm
        mm, > 0; measure it.
    kerf
        Guessed full kerf, mm. It widens the gaps of bridges and places the middle of a comb; no
        size of a gauge depends on it.
    thickness_source, kerf_source
        What these figures are.
    """

    material: str
    thickness_mm: float
    kerf: PerAxis = field(default_factory=lambda: PerAxis(x=ASSUMED_KERF_MM, y=ASSUMED_KERF_MM))
    thickness_source: Source = Source.ASKED
    kerf_source: Source = Source.ASSUMED

    def __post_init__(self) -> None:
        require_range("thickness", self.thickness_mm, 0.3, 40.0)
        for axis in ("x", "y"):
            require_range(f"guessed kerf {axis}", getattr(self.kerf, axis), 0.01, 1.5)

    @property
    def facts(self) -> tuple[str, ...]:
        """What ties a piece's code to this stock: material, thickness and kerf, as they are shown."""
        material = " ".join(self.material.lower().split())
        kerf = (f"{self.kerf.x:.3f}", f"{self.kerf.y:.3f}")
        return (material, f"{self.thickness_mm:.2f}", *kerf)

    def kerf_mm(self, axis: Axis) -> float:
        """Guessed kerf along an axis, mm."""
        return self.kerf.x if axis == "x" else self.kerf.y

    @property
    def widest_kerf_mm(self) -> float:
        """The larger of the two guessed kerfs, mm."""
        return max(self.kerf.x, self.kerf.y)

    @property
    def brittle(self) -> bool:
        """Whether interference cracks it."""
        return family_of(self.material).brittle

    def notes(self, *, applied: bool) -> tuple[str, ...]:
        """Lines for ``REFERENCE``; ``applied``: whether the outlines allow for the kerf."""
        standing = {s: str(s) for s in Source} | {Source.ASSUMED: "ASSUMED"}
        kerf = "full kerf applied" if applied else "kerf guessed, not applied"
        return (
            f"material {self.material or 'not named'}, "
            f"thickness {self.thickness_mm:.2f} mm ({standing[self.thickness_source]})",
            f"{kerf}: X {mm_and_thou(self.kerf.x)}, Y {mm_and_thou(self.kerf.y)} "
            f"({standing[self.kerf_source]})",
        )


def require_range(name: str, value: float, least: float, most: float, do: str = "") -> None:
    """Raise :class:`InputError` unless ``least <= value <= most`` (mm; NaN is refused too)."""
    if not least <= value <= most:
        raise InputError(
            f"{name} of a gauge piece",
            value=f"{value:.6g} mm",
            limit=f"{least:.4g} to {most:.4g} mm",
            do=do,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRow:
    """One reading to be taken: all of it but the value.

    Parameters
    ----------
    row
        Number on the form, from 1.
    form, axis, drawn_mm, slices, cut_ends, contour, turned, u_mm
        As in :class:`~boxjoint.gauge.readings.Reading`.
    what
        What is measured, in a few words.
    jaws
        How, and where the jaws go.
    part
        Name of the part that ``touch`` lies on; ``""`` where the reading is taken on loose slices
        or on two parts held together.
    touch
        The two points that the jaws touch, mm on the part; ``None`` where there are none.
    times
        How many values are wanted.
    optional
        True for a reading that the estimate can do without.
    """

    row: int
    form: Form
    axis: Axis
    drawn_mm: float
    what: str
    jaws: str
    slices: int | None = None
    cut_ends: int = 2
    contour: str = ""
    turned: bool = False
    u_mm: float | None = None
    part: str = ""
    touch: tuple[Point, Point] | None = None
    times: int = 1
    optional: bool = False

    def reading(
        self, values_mm: Iterable[float], *, where: str = "", u_mm: float | None = None
    ) -> Reading:
        """Return the reading, with its values in mm; ``u_mm`` replaces the row's own.

        Raises
        ------
        ReadingError
            As :class:`~boxjoint.gauge.readings.Reading` does, naming ``where``.
        """
        return Reading(
            form=self.form,
            axis=self.axis,
            drawn_mm=self.drawn_mm,
            values_mm=tuple(values_mm),
            slices=self.slices,
            cut_ends=self.cut_ends,  # type: ignore[arg-type]
            contour=self.contour,
            u_mm=self.u_mm if u_mm is None else u_mm,
            turned=self.turned,
            where=where or f"row {self.row}",
        )

    def code(self, piece: str) -> str:
        """Return four letters that tie this row to the piece of that code."""
        facts = (self.form, self.axis, plain(self.drawn_mm), self.slices, self.cut_ends)
        return _letters((piece, self.row, *facts, self.contour, self.turned), 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotRow:
    """One slot of a comb, to be tried and judged.

    Parameters
    ----------
    slot
        Number marked on the piece, from 1.
    x_mm
        Drawn slot less drawn tab (of a sheet comb: less the thickness), mm.
    slot_mm, tab_mm
        Drawn widths, mm; of a sheet comb ``tab_mm`` is the thickness.
    """

    slot: int
    x_mm: float
    slot_mm: float
    tab_mm: float

    def code(self, piece: str) -> str:
        """Return four letters that tie this row to the piece of that code."""
        return _letters((piece, self.slot, plain(self.x_mm)), 4)


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


def code_of(kind: GaugeKind, *facts: object) -> str:
    """Return the code of a piece from its parameters, for example ``K-BCDFG``."""
    written = [plain(f) if isinstance(f, float) else str(f) for f in facts]
    return f"{_CODE_LETTER[kind]}-{_letters((kind, *written), 5)}"


def _letters(facts: tuple[object, ...], count: int) -> str:
    digest = hashlib.sha256("|".join(map(str, facts)).encode()).digest()
    number = int.from_bytes(digest[:16], "big")
    out = ""
    for _ in range(count):
        number, k = divmod(number, len(_LETTERS))
        out += _LETTERS[k]
    return out


def plain(mm: float) -> str:
    """Write mm to the nanometre, without needless zeros."""
    text = f"{mm:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def rectangle_xy(x0: float, y0: float, x1: float, y1: float) -> Floats:
    """Return the corners of a rectangle, counter-clockwise from the lower left, (4, 2) mm."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def bridged(
    ring: Floats, places: Sequence[Point], gap_mm: float, layer: Layer
) -> tuple[Curve, ...]:
    """Return a closed ring as curves with a gap at each place, so that what it cuts stays held.

    Without a place or with a gap of 0 it is one closed curve. A gap is drawn as wide as the bridge
    plus the kerf, because the beam reaches half its width beyond each end.

    Parameters
    ----------
    ring
        (n, 2) corners, mm.
    places
        Middles of the gaps, mm, each on a side; a gap must lie within its side.
    gap_mm
        Width of each gap as drawn, mm.

    Raises
    ------
    InputError
        A place off the ring, or a gap that reaches beyond its side or into another gap.
    """
    if gap_mm <= 0 or not places:
        return (Curve(layer=layer, xy=ring),)
    ahead = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(ahead[:, 0], ahead[:, 1])
    start = np.concatenate([[0.0], np.cumsum(length)])
    middles = []
    for place in places:
        off = np.array(place) - ring
        along = (off * ahead).sum(axis=1) / length
        across = np.abs(off[:, 0] * ahead[:, 1] - off[:, 1] * ahead[:, 0]) / length
        within = (
            (across < 1e-9) & (along >= gap_mm / 2 - 1e-9) & (along <= length - gap_mm / 2 + 1e-9)
        )
        if not within.any():
            raise InputError(
                "a bridge does not fit its side",
                where=f"at x {place[0]:.3f}, y {place[1]:.3f} mm",
                value=f"gap of {gap_mm:.3f} mm",
                do="take a narrower bridge",
            )
        side = int(np.flatnonzero(within)[0])
        middles.append(float(start[side] + along[side]))
    middles.sort()
    total = float(start[-1])
    curves = []
    for here, there in zip(middles, [*middles[1:], middles[0] + total], strict=True):
        begin, end = here + gap_mm / 2, there - gap_mm / 2
        if end <= begin:
            raise InputError("two bridges run into each other", value=f"gap of {gap_mm:.3f} mm")
        corners = np.concatenate([start[:-1], start[:-1] + total])
        inner = np.flatnonzero((corners > begin + 1e-9) & (corners < end - 1e-9)) % len(ring)
        points = [_at(ring, start, begin), *ring[inner], _at(ring, start, end % total)]
        curves.append(Curve(layer=layer, xy=np.array(points), closed=False))
    # what lets go last is cut last: the long pieces first, then the short ones between gaps
    curves.sort(key=lambda c: -len(c.xy))
    return tuple(curves)


def _at(ring: Floats, start: Floats, s: float) -> Floats:
    """The point at distance ``s`` along a ring, with its corner exact on the side's own line."""
    side = min(int(np.searchsorted(start, s, side="right")) - 1, len(ring) - 1)
    a, b = ring[side], ring[(side + 1) % len(ring)]
    share = (s - start[side]) / (start[side + 1] - start[side])
    point: Floats = np.where(a == b, a, a + (b - a) * share)
    return point


def curve_length(curve: Curve) -> float:
    """Length of a curve, mm, arcs included."""
    ends = np.roll(curve.xy, -1, axis=0)
    chord = np.hypot(*(ends - curve.xy).T)
    if not curve.closed:
        chord[-1] = 0.0
    if curve.bulge is not None:
        half = 2 * np.arctan(np.abs(curve.bulge))  # half the angle of each arc
        chord = np.where(half > 1e-9, chord * half / np.sin(np.maximum(half, 1e-9)), chord)
    return math.fsum(chord.tolist())


def arrow(start: Point, end: Point, head_mm: float = 2.0) -> tuple[Curve, ...]:
    """Return an arrow along X or Y as strokes on ``MARK``."""
    a, b = np.array(start), np.array(end)
    along = (b - a) / np.hypot(*(b - a))
    across = np.array([-along[1], along[0]])
    barbs = [b - head_mm * along + s * head_mm / 2 * across for s in (1, -1)]
    return (
        Curve(layer=Layer.MARK, xy=np.array([a, b]), closed=False),
        Curve(layer=Layer.MARK, xy=np.array([barbs[0], b, barbs[1]]), closed=False),
    )


def stacked(label: Label) -> tuple[Label, ...]:
    """Return a word as one label a letter, the first on top, about the same middle.

    For narrow parts that stand upright. One or two letters are left as they are.
    """
    n = len(label.text)
    if n <= 2:
        return (label,)
    size = label.height * min(1.0, 6.0 / n)
    step = 1.35 * size
    x, y = label.at
    return tuple(
        replace(label, at=(x, y + ((n - 1) / 2 - i) * step), text=letter, height=size)
        for i, letter in enumerate(label.text)
        if letter != " "
    )
