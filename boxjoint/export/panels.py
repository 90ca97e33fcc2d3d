"""Drawings of panels: each by itself, and all of them side by side.

Every drawing says on ``REFERENCE`` what it was drawn with: kerf applied or not and its value,
clearance, thickness, unit and scale, each asked, measured or ASSUMED.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from boxjoint import __version__
from boxjoint.check.built import Built, Part
from boxjoint.export.said import half_kerf, thickness_words
from boxjoint.fit.plan import Plan
from boxjoint.geometry.drawing import Curve, Drawing, Label, Layer
from boxjoint.job.figures import Figure
from boxjoint.job.records import Unit
from boxjoint.units import both, small_size

__all__ = ["all_panels_drawing", "clearance_lines", "kerf_text", "notes_of", "panel_drawing"]

SPACING_MM = 8.0
#: Rows are as wide as leaves room for the check square within 600 mm, a usual bed.
ROW_MM = 490.0

_SEQUENCE = tuple(Layer)


def kerf_text(built: Built) -> str:
    """Say in one line whether the kerf is in the outlines, and what to enter where it is not."""
    if built.plan.tool is not None:
        return "KERF NOT IN THE OUTLINES: a router offsets by the radius of its tool"
    if built.kerf_by_controller:
        mean = built.one_kerf.kerf if built.one_kerf else built.plan.kerf_x.value
        full, half = (small_size(v, built.job.unit) for v in (mean, mean / 2))
        return (
            f"KERF NOT IN THE OUTLINES: enter the full kerf {full} in the controller, "
            f"or the half {half} where it asks for an edge's offset"
        )
    return "kerf is in the outlines: do not apply it again"


def notes_of(built: Built, part: Part | None = None) -> tuple[str, ...]:
    """Lines for ``REFERENCE``: what the outlines were drawn with."""
    plan, job, unit = built.plan, built.job, built.job.unit
    x, y = plan.kerf_x, plan.kerf_y
    lines = [f"boxjoint {__version__}: {job.title}"]
    if plan.tool is not None:
        lines += [
            "kerf applied: no. Router: offset outlines outward, holes inward,",
            f"by the radius {small_size(plan.tool.value / 2, unit)} of tool "
            f"{_said(plan.tool, unit)}",
        ]
    elif built.kerf_by_controller:
        lines.append("kerf applied: no. Enter it in the controller:")
        one = built.one_kerf.kerf if built.one_kerf else x.value
        if built.one_kerf is None:
            lines.append(f"full kerf {_said(x, unit)},")
        else:  # confirmed by the maker: a controller takes one, so the mean errs least
            lines += [
                f"full kerf {small_size(one, unit)} (computed), the mean of",
                f"{_said(x, unit)} across cuts along Y and",
                f"{_said(y, unit)} across cuts along X,",
            ]
        lines.append(f"or half kerf {small_size(one / 2, unit)} where it asks for an edge's offset")
    else:
        same = x.value == y.value
        lines.append("kerf applied: yes" + (", do not apply it again" if same else ""))
        if same:
            lines += [f"full kerf {_said(x, unit)}:", half_kerf(x.value, unit)]
        else:
            lines += [
                f"full kerf across cuts along Y {_said(x, unit)}:",
                half_kerf(x.value, unit),
                f"full kerf across cuts along X {_said(y, unit)}:",
                half_kerf(y.value, unit),
                "kerf differs along X and Y: DO NOT TURN this drawing",
            ]
    lines += clearance_lines(plan, unit)
    used = built.figures
    for name in (
        "sheet_clearance",
        "proud",
        "shoulder_relief",
        "floor_relief",
        "seam_relief",
        "corner_relief",
    ):
        figure = used.get(name)
        if figure is not None and (figure.value or name == "sheet_clearance"):
            sign = name in ("sheet_clearance", "proud")
            said = _said(figure, unit, sign=sign)
            lines.append(f"{'tips proud by' if name == 'proud' else name.replace('_', ' ')} {said}")
    lines += [
        f"scale X {plan.scale_x.value:.5f} ({plan.scale_x.stands(unit)})",
        f"scale Y {plan.scale_y.value:.5f} ({plan.scale_y.stands(unit)})",
    ]
    shown = built.cut_parts if part is None else (part,)
    if any(m.face == "inside" for p in shown for m in p.marks):
        lines += [
            "marks of the inside are only shown, on this layer, as if seen through",
            "the panel: they are made on sheets, or with the panel turned over",
        ]
    if part is not None:
        name = part.home
        t = job.thickness(name)
        lines.append(f"thickness {both(t.nm, unit)} ({thickness_words(t, unit)})")
        layers = job.layers(name)
        if layers > 1:
            sheet = both(job.sheet(name).nm, unit)
            lines.append(f"cut {layers} of these from {sheet} and glue them face to face")
        lines.append(f"material {job.material(name)}")
        if part.of:
            lines += [
                f"a piece of {part.of}: glue it to its neighbour before the glue of the box;",
                "the straight steps of the seam hold by glue only",
            ]
        lines.append("seen from outside the box; lower left corner of the panel at 0, 0")
    return tuple(lines)


def clearance_lines(plan: Plan, unit: Unit = "mm") -> list[str]:
    """What the joints get, least to greatest, what that is, and what it was computed from."""
    fit = f"fit {plan.fit}, " if plan.fit else ""
    least, most = min(plan.clearances, default=0.0), max(plan.clearances, default=0.0)
    values = small_size(least, unit, sign=True)
    if f"{most:+.3f}" != f"{least:+.3f}":
        values += f" to {small_size(most, unit, sign=True)} over the joints"
    if plan.joint_source is plan.clearance.source or plan.edge_sd is None:
        return [f"clearance {values} ({fit}{plan.clearance.stands(unit)})"]
    return [
        f"clearance {values} ({fit}{plan.joint_source}",
        f"from {_said(plan.clearance, unit, sign=True)} on the comb",
        f"and edge sd {_said(plan.edge_sd, unit)})",
    ]


def _said(figure: Figure, unit: Unit, *, sign: bool = False) -> str:
    """A figure on a drawing: its size in both systems, and what it is."""
    return f"{small_size(figure.value, unit, sign=sign)} ({figure.stands(unit)})"


def _curves(part: Part, dx: float = 0.0, dy: float = 0.0) -> tuple[Curve, ...]:
    curves = []
    shift = np.array([dx, dy])
    plain = part.drawn.rings.corners_only()
    for k, (xy, bulge) in enumerate(part.relieved.rings):
        arcs: NDArray[np.float64] | None = bulge
        if not bulge.any():  # drop what lies on straight lines; relief leaves corners as they are
            xy, arcs = plain[k] / 1e6, None
        if k == 0 and part.holes:
            from boxjoint.fit.holes import with_notches

            xy, arcs = with_notches(xy, arcs, (h.drawn for h in part.holes), part.panel.name)
        curves.append(
            Curve(layer=Layer.CUT_OUTER if k == 0 else Layer.CUT_INNER, xy=xy + shift, bulge=arcs)
        )
    holes = [
        Curve(layer=Layer.CUT_INNER, xy=h.drawn.xy + shift, bulge=h.drawn.bulge)
        for h in part.holes
        if h.placed.hole.open is None
    ]
    # marks, then holes first: a controller that keeps the sequence of the file then takes them first
    return (*_marks(part, shift), *holes, *curves[1:], curves[0])


def _marks(part: Part, shift: NDArray[np.float64]) -> tuple[Curve, ...]:
    """Marks at the machine's scale; those of the inside are only shown, for it lies below here."""
    scale = part.drawn.beam.scale
    return tuple(
        Curve(
            layer=curve.layer if mark.face == "outside" else Layer.REFERENCE,
            xy=curve.xy / (scale.x, scale.y) + shift,
            closed=curve.closed,
        )
        for mark in part.marks
        for curve in mark.curves
    )


def _name(part: Part, dx: float = 0.0, dy: float = 0.0) -> Label:
    """The name of a panel in its middle, or where no mark stands."""
    w, h = (s / 1e6 for s in part.panel.size)
    text = part.panel.name
    height = max(1.5, min(6.0, h / 4, 0.6 * w / max(len(text), 1)))
    taken = [m.extent for m in part.marks]

    def free(y: float) -> bool:
        return all(y1 < y - height or y0 > y + height for _, y0, _, y1 in taken)

    y = next((h * k for k in (0.5, 0.25, 0.75, 0.12, 0.88) if free(h * k)), h / 2)
    return Label(layer=Layer.REFERENCE, at=(dx + w / 2, dy + y), text=text, height=height)


def panel_drawing(built: Built, part: Part) -> Drawing:
    """The drawing of one panel; its nominal lower left corner lies at the origin."""
    w, h = (s / 1e6 for s in part.panel.size)
    return Drawing(
        title=f"{built.job.title}: {part.panel.name}",
        size=(w, h),
        curves=_curves(part),
        labels=(_name(part),),
        notes=notes_of(built, part),
    )


def all_panels_drawing(built: Built) -> Drawing:
    """All panels side by side in rows, unturned, spaced and labelled."""
    curves: list[Curve] = []
    labels: list[Label] = []
    x = y = row = widest = 0.0
    limit = max(ROW_MM, *(p.panel.size[0] / 1e6 for p in built.cut_parts))
    for part in built.cut_parts:
        w, h = (s / 1e6 for s in part.panel.size)
        if x and x + w > limit:
            x, y, row = 0.0, y + row + SPACING_MM, 0.0
        curves += _curves(part, x, y)
        labels.append(_name(part, x, y))
        widest, row = max(widest, x + w), max(row, h)
        x += w + SPACING_MM
    return Drawing(
        title=f"{built.job.title}: all panels",
        size=(widest, y + row),
        curves=tuple(sorted(curves, key=lambda c: _SEQUENCE.index(c.layer))),
        labels=tuple(labels),
        notes=notes_of(built),
    )
