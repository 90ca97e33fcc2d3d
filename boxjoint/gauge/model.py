"""The linear model of readings: one design row per reading, and the covariance of the noise.

A value read is ``drawn (1 + e) + m kerf - b + z + edges``: a part is narrower by a kerf (m = -1),
a hole wider (m = +1); a stack of N slices has lost a kerf at each of N - 1 cuts between slices and
half a kerf at each end the beam cut, and gained N - 1 gaps; backlash b has the same sign on a part
and on the hole it left; z is the zero error of the jaws in use. Calipers touch the proud section of
a tapered edge on parts and holes alike, so kerf is the contact kerf throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from boxjoint.gauge.distributions import Floats
from boxjoint.gauge.readings import Form, Reading

__all__ = ["Rows", "design_row", "merge_repeats", "noise_covariance", "rows_of"]

KX, KY, EX, EY, BX, BY, ZO, ZI, GAP = range(9)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """The readings as rows of a linear model; n rows.

    Parameters
    ----------
    design
        (n, 9) derivative of each row by the parameters.
    y_mm
        (n,) value minus drawn size (of a difference: the value), mm.
    count
        (n,) how many values the row is the mean of.
    own_u_mm
        (n,) the reading's own uncertainty, nan where the caliper's holds.
    edges
        (n, 2 c) 0 or 1: which of the edges of the c contours the row contains.
    feature
        (n,) index of the reading that the row came from.
    """

    design: Floats
    y_mm: Floats
    count: Floats
    own_u_mm: Floats
    edges: Floats
    feature: np.ndarray[tuple[int], np.dtype[np.intp]]

    def __len__(self) -> int:
        return len(self.y_mm)


def design_row(reading: Reading) -> Floats:
    """(9,) derivative of a reading's value by the parameters; see the module for the signs."""
    row = np.zeros(9)
    d = reading.drawn_mm
    if reading.form is Form.DIFFERENCE:
        half = 0.5 * reading.cut_ends
        row[[EX, EY, KX, KY, BX, BY]] = d, -d, -half, half, -half, half
        return row
    k, e, b = (KX, EX, BX) if reading.axis == "x" else (KY, EY, BY)
    half = 0.5 * reading.cut_ends
    row[e] = d
    row[b] = -half
    if reading.form.inside_jaws:
        row[k] = 1.0
    elif reading.form is Form.STACK:
        n = reading.slices or 0
        row[k] = -(n - 1) - half
        row[GAP] = n - 1
    else:
        row[k] = -half
    if reading.u_mm is None:
        row[ZI if reading.form.inside_jaws else ZO] = 1.0
    return row


def merge_repeats(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Join readings of one feature of a named contour into one reading with all its values.

    A feature read twice, in two rows of a form, is one feature: its edge errors are the same both
    times. Readings without a contour, or with their own uncertainty, are left as they are.
    """
    out: dict[object, Reading] = {}
    for i, r in enumerate(readings):
        key: object = (r.form, r.axis, r.drawn_mm, r.slices, r.cut_ends, r.contour, r.turned)
        if not r.contour or r.u_mm is not None:
            key = i
        first = out.get(key)
        out[key] = r if first is None else replace(first, values_mm=first.values_mm + r.values_mm)
    return tuple(out.values())


def rows_of(readings: tuple[Reading, ...], *, single: bool) -> Rows:
    """Rows of the model, one for each reading, or with ``single`` one for each of its values.

    A reading with its own uncertainty always makes one row, of its mean.
    """
    design, y, count, own, feature = [], [], [], [], []
    edges: list[tuple[int, ...]] = []
    contours: dict[object, int] = {}
    for i, r in enumerate(readings):
        start = 0.0 if r.form is Form.DIFFERENCE else r.drawn_mm
        apart = single and r.u_mm is None
        values = r.values_mm if apart else (r.mean_mm,)
        row = design_row(r)
        key: object = (r.contour, r.axis) if r.contour else i
        if r.form is Form.DIFFERENCE:
            key = i
        first = contours.setdefault(key, len(contours))
        mine: tuple[int, ...] = tuple(2 * first + end for end in range(r.cut_ends))
        if r.form is Form.DIFFERENCE:
            second = contours.setdefault((i, "second strip"), len(contours))
            mine += tuple(2 * second + end for end in range(r.cut_ends))
        for value in values:
            design.append(row)
            y.append(value - start)
            count.append(1.0 if apart else float(len(r.values_mm)))
            own.append(np.nan if r.u_mm is None else r.u_mm)
            feature.append(i)
            edges.append(mine)
    n = len(y)
    loading = np.zeros((n, 2 * len(contours)))
    for i, columns in enumerate(edges):
        loading[i, list(columns)] = 1.0
    return Rows(
        design=np.array(design).reshape(n, 9),
        y_mm=np.array(y),
        count=np.array(count),
        own_u_mm=np.array(own),
        edges=loading,
        feature=np.array(feature, dtype=np.intp),
    )


def noise_covariance(
    rows: Rows, *, hand_mm: float, rounding_mm: float, edge_sd_mm: float
) -> tuple[Floats, Floats]:
    """Covariance of the noise of the rows, and the part of it that repeats would reveal.

    Parameters
    ----------
    hand_mm
        Standard deviation of one value from the hand alone, mm.
    rounding_mm
        Standard deviation of rounding, mm. Repeats average it only if the hand scatters by more
        than half a step (sqrt(3) times this); otherwise every repeat is rounded alike.
    edge_sd_mm
        Standard deviation of the place of a cut edge, mm.

    Returns
    -------
    covariance, hand
        (n, n) mm^2 and (n,) mm^2: the variance from the hand, 0 where a reading has its own ``u``.
    """
    own = np.isfinite(rows.own_u_mm)
    hand = np.where(own, 0.0, hand_mm**2 / rows.count)
    averaged = rows.count if hand_mm >= np.sqrt(3.0) * rounding_mm else 1.0
    rounding = np.where(own, 0.0, rounding_mm**2 / averaged)
    other = np.where(own, np.square(np.nan_to_num(rows.own_u_mm)), rounding)
    covariance = edge_sd_mm**2 * (rows.edges @ rows.edges.T)
    covariance[np.diag_indices_from(covariance)] += hand + other
    return covariance, hand
