"""The page of a gauge's form: numbered rows and caliper jaws, on top of what any page has."""

from __future__ import annotations

import numpy as np

from boxjoint.geometry.page import A4, INK, LINE, PALE, STOCK, Page, Point, point

__all__ = ["HIGH_MM", "INK", "LINE", "PALE", "STOCK", "WIDE_MM", "FormPage", "Point", "point"]

WIDE_MM, HIGH_MM = A4.wide, A4.high


class FormPage(Page):
    """A page with discs for the numbers of rows, and jaws."""

    def number(self, at: Point, row: int) -> None:
        """A row's number in a disc."""
        self.circle(at, 2.3, fill="#ffffff", width=0.3)
        self.text(at[0], at[1] + 1.05, str(row), 3.0, bold=True, anchor="middle")

    def jaws(
        self, a: Point, b: Point, *, inside: bool, row: int | None = None, share: float = 0.5
    ) -> None:
        """Two jaws that touch at ``a`` and ``b``, the measured length between, the row's number."""
        p, q = np.array(a), np.array(b)
        along = (q - p) / max(float(np.hypot(*(q - p))), 1e-9)
        across = np.array([-along[1], along[0]])
        self.line(a, b, width=0.25, stroke=INK, dash=(1.2, 0.8))
        for tip, way in ((p, -along), (q, along)):
            back = tip + (-way if inside else way) * 3.0
            self.shape(
                [point(tip), point(back + across * 1.3), point(back - across * 1.3)],
                fill=INK,
                width=0.1,
            )
        if row is not None:
            self.number(point(p + (q - p) * share), row)
