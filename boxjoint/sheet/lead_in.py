"""Lead-ins: the beam starts in the waste beside an outline, so that the mark of the start is not on the part.

A lead-in that lies outside its outline never touches the part as cut: the beam takes half its width
beside its path, and that much lies between the path and the part. It keeps clear of everything else
that is cut, of keep-outs and of the sheet's margin as any cut path does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from boxjoint.errors import InputError
from boxjoint.geometry.rings import Ints
from boxjoint.sheet.cuts import NM_PER_MM, Cut, Floats
from boxjoint.sheet.sequence_check import points_inside

__all__ = ["LeadInAsk", "lead_in_start", "with_lead_in"]

_DIAGONAL = 0.7071067811865476
_WAYS = (
    (_DIAGONAL, _DIAGONAL), (-_DIAGONAL, _DIAGONAL), (-_DIAGONAL, -_DIAGONAL), (_DIAGONAL, -_DIAGONAL),
    (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0),
)  # fmt: skip
_LEAST_SHARE = (
    0.5  # of its length that the start lies away from its own outline: 30 degrees and more
)
_END = 0.01  # mm before the outline up to which a lead-in must not touch it


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadInAsk:
    """What lead-ins are asked, and what they keep clear of.

    Parameters
    ----------
    length
        nm.
    clear
        Least distance from all other cut paths and keep-outs, nm: the spacing of the nest.
    area
        (least x, least y, greatest x, greatest y) where anything may be cut, nm.
    keep_outs
        (least x, least y, greatest x, greatest y) of each, nm.

    Raises
    ------
    InputError
        A length that is not positive.
    """

    length: int
    clear: int
    area: tuple[int, int, int, int]
    keep_outs: tuple[tuple[int, int, int, int], ...] = ()

    def __post_init__(self) -> None:
        if self.length <= 0 or self.clear < 0:
            raise InputError(
                "the length of a lead-in must be positive, its clearance not negative",
                where="lead-in",
                value=f"{self.length / NM_PER_MM:g} mm, {self.clear / NM_PER_MM:g} mm",
            )


def lead_in_start(
    cut: Cut, entry: int, ask: LeadInAsk, others: Sequence[Cut]
) -> tuple[int, int] | None:
    """Return where the lead-in to a vertex of a closed outline starts, nm; ``None``: no room.

    Of eight ways out of the vertex the one is taken whose start lies farthest from the outline.

    Parameters
    ----------
    others
        Everything else that is cut on the sheet.
    """
    ring = cut.flat()
    vertex = cut.path[entry]
    own = _sides(ring, closed=True)
    reach = ask.length + ask.clear
    near = [c for c in others if _near(c, vertex, reach)]
    boxes = [_box(k) for k in ask.keep_outs]
    best: tuple[float, tuple[int, int]] | None = None
    for way in _WAYS:
        start = vertex + np.rint(np.array(way) * ask.length).astype(np.int64)
        x, y = int(start[0]), int(start[1])
        if not (ask.area[0] <= x <= ask.area[2] and ask.area[1] <= y <= ask.area[3]):
            continue
        if points_inside(start[None, :], ring)[0]:
            continue
        a, v = start / NM_PER_MM, vertex / NM_PER_MM
        away = float(_point_distance(a, own).min())
        if away < _LEAST_SHARE * ask.length / NM_PER_MM:
            continue
        short = v + (a - v) * (_END / (ask.length / NM_PER_MM))
        if _distance(a, short, own) < _LEAST_SHARE * _END:
            continue
        clear = ask.clear / NM_PER_MM
        if any(_distance(a, v, _sides(c.flat(), closed=c.closed)) < clear for c in near):
            continue
        if any(_distance(a, v, b) < clear for b in boxes):
            continue
        if any(k[0] <= x <= k[2] and k[1] <= y <= k[3] for k in ask.keep_outs):
            continue
        if best is None or away > best[0] + 1e-9:
            best = away, (x, y)
    return None if best is None else best[1]


def with_lead_in(cut: Cut, entry: int, start: tuple[int, int]) -> Cut:
    """Return a closed outline as one open path: from the start to the entry, round, and back to it."""
    path = np.roll(cut.path, -entry, axis=0)
    bulge = None
    if cut.bulge is not None:
        bulge = np.concatenate([[0.0], np.roll(cut.bulge, -entry), [0.0]])
    whole = np.concatenate([np.array([start], dtype=np.int64), path, path[:1]])
    entries = np.zeros(len(whole), dtype=np.bool_)
    entries[0] = True
    return Cut(
        path=whole,
        kind=cut.kind,
        part=cut.part,
        label=cut.label,
        host=cut.host,
        closed=False,
        entries=entries,
        bulge=bulge,
        ring=cut.flat(),
    )


def _near(cut: Cut, at: Ints, reach: int) -> bool:
    x0, y0, x1, y1 = cut.extent
    x, y = at.tolist()
    return bool(x0 - reach <= x <= x1 + reach and y0 - reach <= y <= y1 + reach)


def _sides(path: Ints, *, closed: bool) -> tuple[Floats, Floats]:
    p = path / NM_PER_MM
    return (p, np.roll(p, -1, axis=0)) if closed else (p[:-1], p[1:])


def _box(k: tuple[int, int, int, int]) -> tuple[Floats, Floats]:
    corners = [[k[0], k[1]], [k[2], k[1]], [k[2], k[3]], [k[0], k[3]]]
    return _sides(np.array(corners, dtype=np.int64), closed=True)


def _point_distance(point: Floats, sides: tuple[Floats, Floats]) -> Floats:
    """(n,) distance of a point from each side, mm."""
    p, q = sides
    d = q - p
    size = (d * d).sum(axis=1)
    along = ((point - p) * d).sum(axis=1) / np.where(size > 0, size, 1.0)
    foot = p + np.clip(along, 0.0, 1.0)[:, None] * d
    out: Floats = np.sqrt(((point - foot) ** 2).sum(axis=1))
    return out


def _distance(a: Floats, b: Floats, sides: tuple[Floats, Floats]) -> float:
    """Least distance of the line from a to b from any side, mm; 0 where they cross."""
    p, q = sides
    one, two = _turn(a, b, p), _turn(a, b, q)
    d = q - p
    three = d[:, 0] * (a[1] - p[:, 1]) - d[:, 1] * (a[0] - p[:, 0])
    four = d[:, 0] * (b[1] - p[:, 1]) - d[:, 1] * (b[0] - p[:, 0])
    if ((one * two < 0) & (three * four < 0)).any():
        return 0.0
    points = np.concatenate([p, q])
    way = b - a
    along = np.clip(((points - a) * way).sum(axis=1) / float((way * way).sum()), 0.0, 1.0)
    beside = np.sqrt(((a + along[:, None] * way - points) ** 2).sum(axis=1))
    return min(
        float(_point_distance(a, sides).min()),
        float(_point_distance(b, sides).min()),
        float(beside.min()),
    )


def _turn(a: Floats, b: Floats, points: Floats) -> Floats:
    out: Floats = (b[0] - a[0]) * (points[:, 1] - a[1]) - (b[1] - a[1]) * (points[:, 0] - a[0])
    return out
