"""Drawings of panels: each by itself, and all of them side by side.

Every drawing says on ``REFERENCE`` what it was drawn with: kerf applied or not and its value,
clearance, thickness, unit and scale, each asked, measured or ASSUMED.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from boxjoint import __version__
from boxjoint.check.built import Built, Part
from boxjoint.fit.holes import with_notches
from boxjoint.fit.plan import Plan
from boxjoint.geometry.drawing import Curve, Drawing, Label, Layer
from boxjoint.units import both, mm_and_thou

__all__ = ["all_panels_drawing", "clearance_lines", "kerf_text", "notes_of", "panel_drawing"]

SPACING_MM = 8.0
ROW_MM = 600.0


def kerf_text(built: Built) -> str:
    """Say in one line whether the kerf is in the outlines, and what to enter where it is not."""
    if built.plan.tool is not None:
        return "KERF NOT IN THE OUTLINES: a router offsets by the radius of its tool"
    if built.kerf_by_controller:
        mean = built.one_kerf.kerf if built.one_kerf else built.plan.kerf_x.value
        full, half = mm_and_thou(mean, places=3), mm_and_thou(mean / 2, places=3)
        return (
            f"KERF NOT IN THE OUTLINES: enter the full kerf {full} in the controller, "
            f"or the half {half} where it asks for an edge's offset"
        )
    return "kerf is in the outlines: do not apply it again"


def notes_of(built: Built, part: Part | None = None) -> tuple[str, ...]:
    """Lines for ``REFERENCE``: what the outlines were drawn with."""
    plan, job = built.plan, built.job
    x, y = plan.kerf_x, plan.kerf_y
    lines = [f"boxjoint {__version__}: {job.title}"]
    if plan.tool is not None:
        lines += [
            "kerf applied: no. Router: offset outlines outward, holes inward,",
            f"by the radius {plan.tool.value / 2:.3f} mm of tool {mm_and_thou(plan.tool.value)} "
            f"({plan.tool.standing})",
        ]
    elif built.kerf_by_controller:
        lines.append("kerf applied: no. Enter it in the controller:")
        one = built.one_kerf.kerf if built.one_kerf else x.value
        if built.one_kerf is None:
            lines.append(f"full kerf {mm_and_thou(one, places=3)} ({x.standing}),")
        else:  # confirmed by the maker: a controller takes one, so the mean errs least
            lines += [
                f"full kerf {mm_and_thou(one, places=3)}, the mean of",
                f"{mm_and_thou(x.value, places=3)} across cuts along Y ({x.standing}) and",
                f"{mm_and_thou(y.value, places=3)} across cuts along X ({y.standing}),",
            ]
        lines.append(
            f"or half kerf {mm_and_thou(one / 2, places=3)} where it asks for an edge's offset"
        )
    else:
        same = x.value == y.value
        lines.append("kerf applied: yes" + (", do not apply it again" if same else ""))
        if same:
            lines.append(f"full kerf {mm_and_thou(x.value, places=3)} ({x.standing})")
        else:
            lines += [
                f"full kerf across cuts along Y {mm_and_thou(x.value, places=3)} ({x.standing})",
                f"full kerf across cuts along X {mm_and_thou(y.value, places=3)} ({y.standing})",
                "kerf differs along X and Y: DO NOT TURN this drawing",
            ]
    lines += clearance_lines(plan)
    lines.append(
        f"scale X {plan.scale_x.value:.5g}, Y {plan.scale_y.value:.5g} ({plan.scale_x.standing})"
    )
    if plan.proud.value:
        lines.append(f"tips proud by {plan.proud.value:+.2f} mm")
    if part is not None:
        t = job.thickness(part.panel.name)
        how = f"measured, {len(t.readings)} readings" if t.measured else "asked"
        lines.append(f"thickness {both(t.nm, job.unit)} ({how})")
        layers = job.layers(part.panel.name)
        if layers > 1:
            sheet = both(job.sheet(part.panel.name).nm, job.unit)
            lines.append(f"cut {layers} of these from {sheet} and glue them face to face")
        lines.append(f"material {job.material(part.panel.name)}")
        lines.append("seen from outside the box; lower left corner of the panel at 0, 0")
    return tuple(lines)


def clearance_lines(plan: Plan) -> list[str]:
    """What the joints get, least to greatest, what that is, and what it was computed from."""
    fit = f"fit {plan.fit}, " if plan.fit else ""
    least, most = min(plan.clearances, default=0.0), max(plan.clearances, default=0.0)
    values = f"{least:+.3f} mm"
    if f"{most:+.3f}" != f"{least:+.3f}":
        values = f"{least:+.3f} to {most:+.3f} mm over the joints"
    if plan.joint_source is plan.clearance.source or plan.edge_sd is None:
        return [f"clearance {values} ({fit}{plan.clearance.standing})"]
    return [
        f"clearance {values} ({fit}{plan.joint_source}",
        f"from {plan.clearance.value:+.3f} mm on the comb ({plan.clearance.standing})",
        f"and edge sd {plan.edge_sd.value:.3f} mm ({plan.edge_sd.standing}))",
    ]


def _curves(part: Part, dx: float = 0.0, dy: float = 0.0) -> tuple[Curve, ...]:
    curves = []
    shift = np.array([dx, dy])
    plain = part.drawn.rings.corners_only()
    for k, (xy, bulge) in enumerate(part.relieved.rings):
        arcs: NDArray[np.float64] | None = bulge
        if not bulge.any():  # drop what lies on straight lines; relief leaves corners as they are
            xy, arcs = plain[k] / 1e6, None
        if k == 0:
            xy, arcs = with_notches(xy, arcs, (h.drawn for h in part.holes), part.panel.name)
        curves.append(
            Curve(layer=Layer.CUT_OUTER if k == 0 else Layer.CUT_INNER, xy=xy + shift, bulge=arcs)
        )
    holes = [
        Curve(layer=Layer.CUT_INNER, xy=h.drawn.xy + shift, bulge=h.drawn.bulge)
        for h in part.holes
        if h.placed.hole.open is None
    ]
    # holes first: a controller that keeps the sequence of the file then cuts them first
    return (*holes, *curves[1:], curves[0])


def _label_height(width: float, height: float, text: str) -> float:
    """A letter height that fits the panel, mm."""
    return max(1.5, min(6.0, height / 4, 0.6 * width / max(len(text), 1)))


def panel_drawing(built: Built, part: Part) -> Drawing:
    """The drawing of one panel; its nominal lower left corner lies at the origin."""
    w, h = (s / 1e6 for s in part.panel.size)
    return Drawing(
        title=f"{built.job.title}: {part.panel.name}",
        size=(w, h),
        curves=_curves(part),
        labels=(
            Label(
                layer=Layer.REFERENCE,
                at=(w / 2, h / 2),
                text=part.panel.name,
                height=_label_height(w, h, part.panel.name),
            ),
        ),
        notes=notes_of(built, part),
    )


def all_panels_drawing(built: Built) -> Drawing:
    """All panels side by side in rows, unturned, spaced and labelled."""
    curves: list[Curve] = []
    labels: list[Label] = []
    x = y = row = widest = 0.0
    limit = max(ROW_MM, *(p.panel.size[0] / 1e6 for p in built.parts))
    for part in built.parts:
        w, h = (s / 1e6 for s in part.panel.size)
        if x and x + w > limit:
            x, y, row = 0.0, y + row + SPACING_MM, 0.0
        curves += _curves(part, x, y)
        name = part.panel.name
        labels.append(
            Label(
                layer=Layer.REFERENCE,
                at=(x + w / 2, y + h / 2),
                text=name,
                height=_label_height(w, h, name),
            )
        )
        widest, row = max(widest, x + w), max(row, h)
        x += w + SPACING_MM
    inner = [c for c in curves if c.layer is Layer.CUT_INNER]
    outer = [c for c in curves if c.layer is Layer.CUT_OUTER]
    return Drawing(
        title=f"{built.job.title}: all panels",
        size=(widest, y + row),
        curves=(*inner, *outer),
        labels=tuple(labels),
        notes=notes_of(built),
    )
