"""Combs: slots of stepped clearance with their tabs, cut to find the clearance that feels right.

A job draws a flank kerf/2 - clearance/4 outward, on the tab and on the slot alike. With nominal
width w, clearance c and kerf k that makes

    drawn tab   T = w + k - c/2
    drawn slot  D = w - k + c/2        D - T = c - 2k = x

so in the comb's coordinate x = D - T the same outlines are T = w - x/2 and D = w + x/2, whatever the
kerf: each flank is moved by o = -x/4. A comb drawn so is, slot by slot, the joint that the job
would draw with that offset, and the x that feels right is used as it is. As cut, slot minus tab
is x + 2k. The depth of a slot and the length of a tab are drawn as the mate's thickness, as in the
job: tip and shoulder both move by kerf/2.

A sheet comb tries cheeks: slots that take the sheet's own thickness t. The sheet cannot share the
clearance s, so D = t - k + s, x = D - t = s - k, and as cut slot minus sheet is x + k.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from boxjoint.errors import InputError
from boxjoint.fit.fits import SHEET_CLEARANCE_MM, assumed_clearance
from boxjoint.gauge.comb import LEAST_SLOTS, MOST_SLOTS, slot_positions
from boxjoint.gauge.pieces import (
    BRIDGE_MM,
    SPACING_MM,
    Floats,
    GaugeKind,
    GaugePart,
    GaugePiece,
    GaugeStock,
    SlotRow,
    arrow,
    bridged,
    code_of,
    require_range,
    stacked,
)
from boxjoint.gauge.readings import Axis
from boxjoint.geometry.drawing import Curve, Label, Layer

__all__ = ["fit_comb", "sheet_comb"]

SLOTS = 9
STEP_MM = 0.05
_BODY_MM = 15.0  # stock behind the shoulders
_LEAST_TILE_MM = 6.0  # how much a tile is wider than its tab
_ROOM_MM = 80.0  # a plate as wide as this has room for words


def fit_comb(
    stock: GaugeStock,
    *,
    tab_width_mm: float,
    mate_thickness_mm: float | None = None,
    centre_mm: float | None = None,
    step_mm: float = STEP_MM,
    slots: int = SLOTS,
    axis: Axis = "x",
    bridge_mm: float = BRIDGE_MM,
) -> GaugePiece:
    """Return a fit comb: a plate of slots, and for every slot its own numbered tile with a tab.

    Parameters
    ----------
    tab_width_mm
        Nominal width of the job's tabs, mm: twice that is the distance from slot to slot.
    mate_thickness_mm
        Depth of the slots and length of the tabs: the segments are then as long as the job's.
        ``None``: the stock's own thickness.
    centre_mm
        x of the middle slot, drawn slot less drawn tab, mm. ``None``: the assumed snug clearance of
        the material less twice the guessed kerf; in brittle stock the tightest slot then has no
        interference by that guess.
    step_mm
        From slot to slot, 0.01 to 0.3 mm.
    slots
        3 to 15.
    axis
        Along which the widths lie.
    bridge_mm
        Width of the bridge that holds each tile to the stock, mm, at the end away from its tab; 0
        for none.

    Raises
    ------
    InputError
        A size outside its limits, or tabs too narrow for the range of clearances.
    """
    t = stock.thickness_mm if mate_thickness_mm is None else mate_thickness_mm
    w = tab_width_mm
    _require(slots, step_mm, bridge_mm)
    require_range("width of a tab", w, 2.0, 60.0)
    require_range("thickness of the mate", t, 0.3, 40.0)
    kerf = stock.kerf_mm(axis)
    half_range = (slots - 1) / 2 * step_mm
    if centre_mm is None:
        centre_mm = assumed_clearance(stock.material, "snug") - 2 * kerf
        if stock.brittle:
            centre_mm = max(centre_mm, half_range - 2 * kerf)
    xs = slot_positions(centre_mm, step_mm, slots)
    rows = tuple(
        SlotRow(slot=j + 1, x_mm=x, slot_mm=w + x / 2, tab_mm=w - x / 2) for j, x in enumerate(xs)
    )
    _require_widths(rows, stock, 2 * w - rows[-1].slot_mm)
    code = code_of(GaugeKind.COMB, w, t, centre_mm, step_mm, slots, axis, bridge_mm, *stock.facts)

    plate = _plate(
        widths=[r.slot_mm for r in rows], pitch=2 * w, land=w, depth=t, code=code, axis=axis
    )
    gap = bridge_mm + stock.widest_kerf_mm if bridge_mm else 0.0
    body = max(2 * w - SPACING_MM, w + _LEAST_TILE_MM)
    tiles = [_tile(f"tile {r.slot}", str(r.slot), r.tab_mm, (body, _BODY_MM), t, gap) for r in rows]
    parts = _in_rows(plate, tiles)
    warnings = []
    if stock.brittle and xs[0] + 2 * kerf < -1e-9:
        tight = sum(x + 2 * kerf < -1e-9 for x in xs)
        warnings.append(
            f"brittle stock: by the guessed kerf slots 1 to {tight} have interference and would "
            "crack; start at the loosest slot and never force one"
        )
    return GaugePiece(
        kind=GaugeKind.COMB,
        code=code,
        title=f"Fit comb along {axis.upper()}",
        stock=stock,
        parts=parts if axis == "x" else _flipped(parts),
        slots=rows,
        axis=axis,
        how=(
            f"slot 1 is the tightest (x {xs[0]:+.3f} mm), slot {slots} the loosest "
            f"(x {xs[-1]:+.3f} mm); x is drawn slot less drawn tab",
            "press each tile, square to the plate, into the slot of its own number, once",
            "verdict: no (will not enter by hand), press, slides, loose",
        ),
        warnings=tuple(warnings),
        extra=(f"tabs {w:.2f} mm, segments {t:.2f} mm long",),
    )


def sheet_comb(
    stock: GaugeStock,
    *,
    segment_mm: float,
    centre_mm: float | None = None,
    step_mm: float = STEP_MM,
    slots: int = SLOTS,
    axis: Axis = "x",
    bridge_mm: float = BRIDGE_MM,
) -> GaugePiece:
    """Return a sheet comb: slots that take the sheet's own thickness, and one tile to try them with.

    For dividers, half-laps and mortises.

    Parameters
    ----------
    segment_mm
        Length of the cheeks in the job, mm: the width of a tab in its mortise, or half the height
        of a half-lap.
    centre_mm
        x of the middle slot, drawn slot less thickness, mm. ``None``: the assumed sheet clearance
        less the guessed kerf.
    step_mm, slots, axis, bridge_mm
        As for :func:`fit_comb`.

    Raises
    ------
    InputError
        A size outside its limits.

    Notes
    -----
    One tile goes through all slots, so its own thickness is common to all verdicts: update the
    estimate with ``own_tab=False``.
    """
    t = stock.thickness_mm
    _require(slots, step_mm, bridge_mm)
    require_range("length of a cheek", segment_mm, 2.0, 100.0)
    kerf = stock.kerf_mm(axis)
    half_range = (slots - 1) / 2 * step_mm
    if centre_mm is None:
        centre_mm = SHEET_CLEARANCE_MM - kerf
        if stock.brittle:
            centre_mm = max(centre_mm, half_range - kerf)
    xs = slot_positions(centre_mm, step_mm, slots)
    rows = tuple(SlotRow(slot=j + 1, x_mm=x, slot_mm=t + x, tab_mm=t) for j, x in enumerate(xs))
    land = max(2 * t, 6.0)
    _require_widths(rows, stock, land - (rows[-1].slot_mm - t))
    code = code_of(
        GaugeKind.SHEET_COMB,
        t,
        segment_mm,
        centre_mm,
        step_mm,
        slots,
        axis,
        bridge_mm,
        *stock.facts,
    )
    plate = _plate(
        widths=[r.slot_mm for r in rows],
        pitch=t + land,
        land=land,
        depth=segment_mm,
        code=code,
        axis=axis,
    )
    gap = bridge_mm + stock.widest_kerf_mm if bridge_mm else 0.0
    size = (max(20.0, segment_mm), segment_mm + _BODY_MM)
    tile = _tile("test tile", "T", 0.0, size, 0.0, gap)
    parts = _in_rows(plate, [tile])
    warnings = []
    if stock.brittle and xs[0] + kerf < -1e-9:
        warnings.append("brittle stock: never force the tile into a slot that is too tight")
    return GaugePiece(
        kind=GaugeKind.SHEET_COMB,
        code=code,
        title=f"Sheet comb along {axis.upper()}",
        stock=stock,
        parts=parts if axis == "x" else _flipped(parts),
        slots=rows,
        axis=axis,
        how=(
            f"slot 1 is the tightest (x {xs[0]:+.3f} mm), slot {slots} the loosest "
            f"(x {xs[-1]:+.3f} mm); x is drawn slot less thickness",
            "push the edge of the tile T, with its faces, into each slot in turn",
            "verdict: no (will not enter by hand), press, slides, loose",
        ),
        warnings=tuple(warnings),
        extra=(f"cheeks {segment_mm:.2f} mm long",),
    )


def _require(slots: int, step_mm: float, bridge_mm: float) -> None:
    if not LEAST_SLOTS <= slots <= MOST_SLOTS:
        raise InputError(
            "number of slots of a comb", value=str(slots), limit=f"{LEAST_SLOTS} to {MOST_SLOTS}"
        )
    require_range("step of a comb", step_mm, 0.01, 0.3)
    require_range("bridge", bridge_mm, 0.0, 2.0)


def _require_widths(rows: tuple[SlotRow, ...], stock: GaugeStock, land_mm: float) -> None:
    """Refuse slots, tabs and lands of which the kerf would leave nothing that holds."""
    least = 3 * stock.widest_kerf_mm
    narrowest = min(rows[0].slot_mm, rows[-1].tab_mm, land_mm)
    if not narrowest >= least:
        raise InputError(
            "a comb leaves nothing of a slot, a tab or the land between slots",
            value=f"{narrowest:.3f} mm as drawn",
            limit=f"at least {least:.3f} mm, three guessed kerfs",
            do="take wider tabs, a smaller step or fewer slots",
        )


def _plate(
    *, widths: list[float], pitch: float, land: float, depth: float, code: str, axis: Axis
) -> GaugePart:
    """A plate with slots open at its upper edge, numbered, tightest on the left."""
    n = len(widths)
    middles = [land + (j + 0.5) * pitch - land / 2 for j in range(n)]
    width, height = n * pitch + land, depth + _BODY_MM
    bottom = height - depth
    points: list[tuple[float, float]] = [(0.0, 0.0), (width, 0.0), (width, height)]
    for m, d in zip(reversed(middles), reversed(widths), strict=True):
        points += [
            (m + d / 2, height),
            (m + d / 2, bottom),
            (m - d / 2, bottom),
            (m - d / 2, height),
        ]
    points.append((0.0, height))
    number = min(4.0, 0.4 * pitch)
    labels = [
        Label(layer=Layer.MARK, at=(m, bottom - 2.0 - number / 2), text=str(j + 1), height=number)
        for j, m in enumerate(middles)
    ]
    line, small, c = 3.6, 2.8, width / 2
    if width < _ROOM_MM:  # no room for more than the code and the axis
        text = f"{code} {axis.upper()}"
        labels.append(Label(layer=Layer.MARK, at=(c, line), text=text, height=min(2.8, width / 11)))
        arrows: tuple[Curve, ...] = ()
    else:
        labels += [
            Label(layer=Layer.MARK, at=(10.0, line), text="TIGHT", height=small),
            Label(layer=Layer.MARK, at=(c - 7.5, line), text=code, height=small),
            Label(layer=Layer.MARK, at=(c + 15.0, line), text=axis.upper(), height=small),
            Label(layer=Layer.MARK, at=(width - 10.0, line), text="LOOSE", height=small),
        ]
        arrows = arrow((c + 5.0, line), (c + 11.5, line), 1.5)
    return GaugePart(
        name="plate",
        size=(width, height),
        curves=(*arrows, Curve(layer=Layer.CUT_OUTER, xy=np.array(points))),
        labels=tuple(labels),
    )


def _tile(
    name: str, text: str, tab: float, body: tuple[float, float], length: float, gap: float
) -> GaugePart:
    """A tile with a tab at its upper edge (none for a width of 0), held at its lower edge."""
    w, h = body
    corners: list[tuple[float, float]] = [(0.0, 0.0), (w, 0.0), (w, h)]
    if tab > 0:
        a, b = (w - tab) / 2, (w + tab) / 2
        corners += [(b, h), (b, h + length), (a, h + length), (a, h)]
    corners.append((0.0, h))
    ring: Floats = np.array(corners)
    return GaugePart(
        name=name,
        size=(w, h + length),
        curves=bridged(ring, [(w / 2, 0.0)], gap, Layer.CUT_OUTER),
        labels=(
            Label(layer=Layer.MARK, at=(w / 2, h / 2), text=text, height=min(5.0, 0.4 * w, h / 2)),
        ),
    )


def _in_rows(plate: GaugePart, tiles: list[GaugePart]) -> tuple[GaugePart, ...]:
    """The tiles in even rows above the plate, no wider than the plate where that is possible."""
    step = tiles[0].size[0] + SPACING_MM
    fit = max(1, int((plate.size[0] + SPACING_MM + 1e-9) // step))
    each = -(-len(tiles) // -(-len(tiles) // fit))
    base, rise = plate.size[1] + SPACING_MM, tiles[0].size[1] + SPACING_MM
    return plate, *(
        replace(tile, at=((i % each) * step, base + (i // each) * rise))
        for i, tile in enumerate(tiles)
    )


def _flipped(parts: tuple[GaugePart, ...]) -> tuple[GaugePart, ...]:
    """The same parts with X and Y exchanged; letters stay upright."""
    return tuple(
        replace(
            p,
            size=(p.size[1], p.size[0]),
            at=(p.at[1], p.at[0]),
            # exchanging X and Y turns rings round; reversed they run counter-clockwise again
            curves=tuple(replace(c, xy=c.xy[::-1, ::-1].copy()) for c in p.curves),
            labels=tuple(
                upright for t in p.labels for upright in stacked(replace(t, at=(t.at[1], t.at[0])))
            ),
        )
        for p in parts
    )
