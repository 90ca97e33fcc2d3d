"""Long strips, one along X and one along Y: the only small thing that measures scale.

A gauge of 100 mm cannot tell scale: its U of 0.7e-3 is no better than usual machines are. Two
strips of 300 mm read with a rule or a long caliper bring the difference of the two scales to
0.55e-3, and the two laid against each other, one reading, to 0.37e-3 (computed). The difference is
what decides fits, since mating edges of a box are cut along different axes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from boxjoint.errors import InputError
from boxjoint.gauge.pieces import (
    SPACING_MM,
    GaugeKind,
    GaugePart,
    GaugePiece,
    GaugeStock,
    ReadingRow,
    arrow,
    code_of,
    rectangle_xy,
    require_range,
    stacked,
)
from boxjoint.gauge.readings import Form
from boxjoint.geometry.drawing import Curve, Label, Layer

__all__ = [
    "HARMLESS_SHIFT_MM",
    "U_SCALE_DIFFERENCE",
    "ScaleQuestion",
    "scale_matters",
    "strips",
]

#: Expanded uncertainty of scale_x - scale_y after the small gauge alone (computed).
U_SCALE_DIFFERENCE = 1.4e-3
#: The same after the two strips were laid against each other, read to +-0.03 mm (computed).
U_AFTER_STRIPS = 0.37e-3
#: Shift of a joint's end flanks that does no harm, mm (assumed; press-in is assumed at 0.06).
HARMLESS_SHIFT_MM = 0.02

LENGTH_MM = 300.0
_WIDTH_MM = 15.0
_RULE_U_MM = 0.05
_DIFFERENCE_U_MM = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleQuestion:
    """Whether the scale of the two axes matters for a job.

    Parameters
    ----------
    longest_mm
        The longest mating edge.
    shift_mm
        How far its end flanks may lie off by what is not known of the scales: U L / 2.
    after_mm
        The same once the strips were laid against each other.
    limit_mm
        Shift that does no harm.
    """

    longest_mm: float
    shift_mm: float
    after_mm: float
    limit_mm: float

    @property
    def matters(self) -> bool:
        """True when the strips should be offered."""
        return self.shift_mm > self.limit_mm

    @property
    def text(self) -> str:
        """One plain sentence with the numbers."""
        edge = f"the longest mating edge of {self.longest_mm:.0f} mm"
        if not self.matters:
            return (
                f"scale does not matter here: at the ends of {edge} flanks may be off by "
                f"{self.shift_mm:.3f} mm, harmless up to {self.limit_mm:.2f} mm"
            )
        return (
            f"scale matters: at the ends of {edge} flanks may be off by {self.shift_mm:.2f} mm, "
            f"harmless up to {self.limit_mm:.2f} mm; strip X laid against strip Y would bring it to "
            f"{self.after_mm:.2f} mm (boxjoint gauge draw strip JOB --out strips)"
        )


def scale_matters(
    edges_mm: Iterable[float],
    *,
    u_difference: float = U_SCALE_DIFFERENCE,
    limit_mm: float = HARMLESS_SHIFT_MM,
) -> ScaleQuestion:
    """Say whether a job's edges are long enough for scale to matter.

    Parameters
    ----------
    edges_mm
        Lengths of the job's mating edges, mm; those whose two panels are cut along different axes
        are concerned, and every closed box has at least four of them.
    u_difference
        Expanded uncertainty (95 %) of scale_x - scale_y now; the default is what a small gauge
        leaves.
    limit_mm
        Shift at the ends that does no harm, mm.

    Raises
    ------
    InputError
        A length that is not larger than zero, or no edge at all.
    """
    edges = list(edges_mm)
    bad = [e for e in edges if not (math.isfinite(e) and e > 0)]
    if bad or not edges:
        raise InputError(
            "lengths of mating edges", value=repr(bad[0]) if bad else "none", limit="above zero"
        )
    longest = max(edges)
    return ScaleQuestion(
        longest_mm=longest,
        shift_mm=u_difference * longest / 2,
        after_mm=min(U_AFTER_STRIPS, u_difference) * longest / 2,
        limit_mm=limit_mm,
    )


def strips(
    stock: GaugeStock,
    *,
    length_mm: float = LENGTH_MM,
    width_mm: float = _WIDTH_MM,
    bed_mm: tuple[float, float] | None = None,
    rule_u_mm: float = _RULE_U_MM,
    difference_u_mm: float = _DIFFERENCE_U_MM,
) -> GaugePiece:
    """Return a strip along X and one along Y of the same drawn length, with their form.

    Parameters
    ----------
    length_mm
        100 to 1200 mm, and no longer than the bed along either axis.
    width_mm
        6 to 60 mm.
    bed_mm
        Bed of the machine (X, Y), mm; ``None`` if it is not known.
    rule_u_mm, difference_u_mm
        Standard uncertainty of a strip read with a rule or long caliper, and of the difference of
        the two; written on the form, where they can be changed.

    Raises
    ------
    InputError
        A size outside its limits; says the longest that fits the bed.
    """
    most = min(1200.0, *(bed_mm or (1200.0, 1200.0)))
    require_range(
        "length of a strip", length_mm, 100.0, most, "both strips lie on the bed unturned"
    )
    require_range("width of a strip", width_mm, 6.0, 60.0)
    code = code_of(GaugeKind.STRIP, length_mm, width_mm, *stock.facts)

    def label(x: float, y: float, text: str, height: float) -> Label:
        return Label(layer=Layer.MARK, at=(x, y), text=text, height=height)

    middle, letter = width_mm / 2, min(4.0, 0.3 * width_mm)
    length = f"{length_mm:g}"
    along = GaugePart(
        name="strip x",
        size=(length_mm, width_mm),
        curves=(
            *arrow((length_mm - 40, middle), (length_mm - 15, middle)),
            Curve(layer=Layer.CUT_OUTER, xy=rectangle_xy(0, 0, length_mm, width_mm)),
        ),
        labels=(
            label(20, middle, f"X {length}", letter),
            label(length_mm / 2, middle, code, letter),
            label(length_mm - 8, middle, "X", letter),
        ),
        at=(width_mm + SPACING_MM, 0.0),
    )
    upright = GaugePart(
        name="strip y",
        size=(width_mm, length_mm),
        curves=(
            *arrow((middle, length_mm - 40), (middle, length_mm - 15)),
            Curve(layer=Layer.CUT_OUTER, xy=rectangle_xy(0, 0, width_mm, length_mm)),
        ),
        labels=(
            label(middle, 20 + 0.9 * letter, "Y", letter),
            label(middle, 20 - 0.9 * letter, length, min(letter, width_mm / 4)),
            *stacked(label(middle, length_mm / 2, code, letter)),
            label(middle, length_mm - 8, "Y", letter),
        ),
    )
    rule = "rule or long caliper, end to end; state its standard uncertainty u"
    rows = (
        ReadingRow(
            row=1,
            form=Form.STRIP,
            axis="x",
            drawn_mm=length_mm,
            what="strip X, length",
            jaws=rule,
            contour="strip x",
            u_mm=rule_u_mm,
            part="strip x",
            touch=((0.0, middle), (length_mm, middle)),
            optional=True,
        ),
        ReadingRow(
            row=2,
            form=Form.STRIP,
            axis="y",
            drawn_mm=length_mm,
            what="strip Y, length",
            jaws=rule,
            contour="strip y",
            u_mm=rule_u_mm,
            part="strip y",
            touch=((middle, 0.0), (middle, length_mm)),
            optional=True,
        ),
        ReadingRow(
            row=3,
            form=Form.DIFFERENCE,
            axis="x",
            drawn_mm=length_mm,
            what="strip X minus strip Y",
            jaws="side by side, one end of both against a stop: by how much X stands out (minus: Y)",
            u_mm=difference_u_mm,
        ),
    )
    return GaugePiece(
        kind=GaugeKind.STRIP,
        code=code,
        title=f"Strips of {length} mm along X and Y",
        stock=stock,
        parts=(upright, along),
        rows=rows,
        how=(
            "lay both side by side, one end of each against a stop, and read how far X stands out",
            "or read each with a rule or long caliper and state its uncertainty",
        ),
    )
