"""The drawing of a sheet as it lies on the bed: what is cut from it, in the sequence of cutting.

Layers are taken one after another by a controller: what is engraved, marks, inner cuts, outlines. A panel that lies in
a window of another is cut with the inner cuts, before that window: after it, it would lie loose.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from boxjoint import __version__
from boxjoint.fit.holes import with_notches
from boxjoint.geometry.drawing import Curve, Drawing, Label, Layer
from boxjoint.order.records import Copy, Laid, LaidSheet
from boxjoint.units import both, mm_and_thou

__all__ = ["copy_curves", "faces_up", "notes_of", "sheet_drawing"]

_NAME_MM = 3.0


def copy_curves(copy: Copy) -> tuple[Curve, ...]:
    """The cut paths of one copy at its place on the sheet, mm; holes first, its outline last."""
    piece = copy.piece
    shift = np.array(copy.shift) / 1e6
    plain = piece.drawn.rings.corners_only()
    hosted = copy.placement.host is not None
    curves = []
    for k, (xy, bulge) in enumerate(piece.relieved.rings):
        arcs = bulge if bulge.any() else None
        points = xy if arcs is not None else plain[k] / 1e6
        if k == 0:
            points, arcs = with_notches(points, arcs, piece.holes, copy.name)
        inner = k > 0 or hosted
        curves.append(
            Curve(
                layer=Layer.CUT_INNER if inner else Layer.CUT_OUTER,
                xy=points + shift,
                bulge=arcs,
            )
        )
    holes = [
        Curve(layer=Layer.CUT_INNER, xy=h.xy + shift, bulge=h.bulge)
        for h in piece.holes
        if h.hole.open is None
    ]
    return (*holes, *curves[1:], curves[0])


def notes_of(laid: Laid, sheet: LaidSheet) -> tuple[str, ...]:
    """Lines for ``REFERENCE``: what lies here, and what it was compensated for."""
    stock, unit = sheet.nested.stock, laid.order.unit
    size = f"{both(stock.width, unit)} x {both(stock.height, unit)}"
    lines = [
        f"boxjoint {__version__}: {laid.order.title}, sheet {sheet.number} of {len(laid.sheets)}",
        f"{stock.material}, {both(stock.thickness, unit)}, {size}",
        f"lower left corner of the sheet at 0, 0; {len(sheet.copies)} panels",
        *faces_up(sheet),
    ]
    seen = []
    for copy in sheet.copies:
        plan, drawn = copy.piece.built.plan, copy.piece.drawn
        if plan.tool is not None:
            text = (
                f"kerf applied: no. Router: offset by the radius {plan.tool.value / 2:.3f} mm "
                f"({plan.tool.standing})"
            )
        elif drawn.beam.kerf.x == drawn.beam.kerf.y:
            text = f"kerf applied: yes, full kerf {mm_and_thou(drawn.beam.kerf.x, places=3)}"
            text += f" ({plan.kerf_x.standing})"
        else:
            text = (
                f"kerf applied: yes, across cuts along Y {mm_and_thou(drawn.beam.kerf.x, places=3)} "
                f"({plan.kerf_x.standing}), along X {mm_and_thou(drawn.beam.kerf.y, places=3)} "
                f"({plan.kerf_y.standing})"
            )
        seen.append(f"{copy.group}: {text}")
    lines += dict.fromkeys(seen)
    lines.append("DO NOT TURN or mirror this sheet: it is compensated for the way it lies")
    lines += laid.notes
    return tuple(lines)


def faces_up(sheet: LaidSheet) -> list[str]:
    """Which faces lie up on a sheet, in lines."""
    over = [c for c in sheet.copies if c.piece.mirrored]
    if not over:
        return ["the outside of the panels lies up"]
    if len(over) == len(sheet.copies):
        return ["the inside of the panels lies up: they are drawn mirrored"]
    names = list(dict.fromkeys(c.label for c in sheet.copies if not c.piece.mirrored))
    return [
        "the inside of the panels lies up: they are drawn mirrored;",
        *(f"but of {name} the outside" for name in names),
    ]


def sheet_drawing(laid: Laid, sheet: LaidSheet, cuts: Sequence[Curve]) -> Drawing:
    """One sheet in bed coordinates.

    Parameters
    ----------
    cuts
        Marks, inner cuts and outlines, in the sequence of cutting.
    """
    stock = sheet.nested.stock
    w, h = stock.width / 1e6, stock.height / 1e6
    reference = [_box(0, 0, w, h)]
    for keep in (*stock.keep_outs, *laid.ask.keep_outs):
        reference.append(_box(keep.x / 1e6, keep.y / 1e6, keep.width / 1e6, keep.height / 1e6))
    for x, y, a, b in sheet.nested.remains:
        reference.append(_box(x / 1e6, y / 1e6, a / 1e6, b / 1e6))
    labels = []
    for x, y, a, b in sheet.nested.remains:
        labels.append(
            Label(
                layer=Layer.REFERENCE,
                at=((x + a / 2) / 1e6, (y + b / 2) / 1e6),
                text=f"offcut {a / 1e6:.0f} x {b / 1e6:.0f}",
                height=_NAME_MM,
            )
        )
    for copy in sheet.copies:
        if sheet.marks and copy.piece.mirrored:
            continue  # its name is scored on it
        x0, y0, x1, y1 = (v / 1e6 for v in copy.placement.extent)
        height = max(1.2, min(_NAME_MM, (y1 - y0) / 3, 0.9 * (x1 - x0) / max(1, len(copy.label))))
        labels.append(
            Label(
                layer=Layer.REFERENCE,
                # what is marked is read first
                at=((x0 + x1) / 2, y0 + (y1 - y0) * (0.12 if copy.piece.part.marks else 0.5)),
                text=copy.label,
                height=height,
            )
        )
    engraved = [c for group in sheet.engraved for c in group]
    return Drawing(
        title=f"{laid.order.title}: sheet {sheet.number} of {len(laid.sheets)}",
        size=(w, h),
        curves=(*engraved, *cuts, *reference),
        labels=tuple(labels),
        notes=notes_of(laid, sheet),
    )


def _box(x: float, y: float, w: float, h: float) -> Curve:
    corners = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    return Curve(layer=Layer.REFERENCE, xy=corners)
