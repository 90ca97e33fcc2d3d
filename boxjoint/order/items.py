"""Panels to nest: each in the way it may lie, with the size that it then has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from boxjoint.check.built import Built, Part
from boxjoint.errors import InputError
from boxjoint.fit.compensate import compensate, virtual_cut
from boxjoint.fit.holes import compensate_hole
from boxjoint.fit.relief import relieve
from boxjoint.geometry.holes import mirrored_hole, turned_hole
from boxjoint.geometry.rings import Rings, mirrored
from boxjoint.job.sheets import Nesting
from boxjoint.order.records import Line, Piece
from boxjoint.sheet.records import Axis, Item, Place, SheetStock, Strip
from boxjoint.sheet.strips import (
    WALKING,
    continuous_strip,
    mating_edges,
    orient,
    oriented,
    strip_pieces,
)

__all__ = ["Pieces", "items_of", "places_of"]


class Pieces:
    """Makes the pieces of one built job, each once."""

    def __init__(self, line: Line, built: Built, nesting: Nesting) -> None:
        self.line = line
        self.built = built
        self._inside_up = nesting.face == "inside"
        # a strip of walls shows how the grain runs on only while all of them lie the same way
        self._as_one = WALKING if nesting.continuous else ()
        self._made: dict[tuple[str, int], Piece] = {}

    @cached_property
    def parts(self) -> dict[str, Part]:
        """What is cut, by its name: of a divided panel its pieces."""
        return {p.panel.name: p for p in self.built.cut_parts}

    def inside_up(self, name: str) -> bool:
        """Whether the inside of the named panel lies up: the face that is marked has to."""
        names = self._as_one if name in self._as_one else (name,)
        faces = {m.face for n in names if n in self.parts for m in self.parts[n].marks}
        if len(faces) == 1:
            return faces == {"inside"}
        return self._inside_up

    def piece(self, name: str, quarters: int) -> Piece:
        """The named panel turned so, compensated for lying so."""
        key = (name, quarters % 4)
        if key not in self._made:
            self._made[key] = self._make(self.parts[name], quarters % 4)
        return self._made[key]

    def _make(self, part: Part, quarters: int) -> Piece:
        built, panel = self.built, part.panel
        over = self.inside_up(panel.name)
        nominal = mirrored(panel.rings) if over else panel.rings
        drawn = compensate(
            nominal,
            built.beam,
            built.plan.allowance(guest=panel.slab.guest),
            quarters=quarters,
            name=panel.name,
        )
        cut = virtual_cut(drawn.rings, built.beam, quarters=quarters, name=panel.name)
        return Piece(
            built=built,
            part=part,
            mirrored=over,
            quarters=quarters,
            drawn=drawn,
            relieved=relieve(
                drawn,
                built.plan.corner_relief.value,
                web=part.relieved.web,
                neck=part.relieved.neck,
                style=part.relieved.style,
            ),
            as_cut=mirrored(cut) if over else cut,
            holes=tuple(
                compensate_hole(
                    turned_hole(mirrored_hole(h.placed.hole) if over else h.placed.hole, quarters),
                    built.beam,
                    name=panel.name,
                )
                for h in part.holes
            ),
        )

    def size(self, name: str, quarters: int) -> tuple[int, int]:
        """Extent of the cut path along X and Y, nm."""
        x0, y0, x1, y1 = self.piece(name, quarters).drawn.rings.extent
        return x1 - x0, y1 - y0


def items_of(pieces: Pieces) -> tuple[Item, ...]:
    """The panels of one job as items to nest, in the job's own sequence."""
    job = pieces.line.job
    found = []
    for part in pieces.built.cut_parts:
        name = part.panel.name
        width, height = pieces.size(name, 0)
        grain = job.grain(part.home)
        found.append(
            Item(
                name=name,
                group=pieces.line.group,
                width=width,
                height=height,
                turned=pieces.size(name, 1),
                material=job.material(part.home),
                thickness=job.sheet(part.home).nm,
                quantity=pieces.line.quantity * job.layers(part.home),
                turn=job.turn(part.home),
                grain=_axis(grain),
                windows=_windows(pieces.piece(name, 0).drawn.rings),
                face_up="inside" if pieces.inside_up(name) else "outside",
            )
        )
    return tuple(found)


def _axis(grain: str) -> Axis:
    return "x" if grain == "x" else "y" if grain == "y" else ""


def _windows(rings: Rings) -> tuple[tuple[int, int, int, int], ...]:
    """Rectangular holes of drawn outlines, from the lower left corner of their extent, nm."""
    x0, y0 = rings.extent[:2]
    found = []
    for corners in rings.corners_only()[1:]:
        if len(corners) == 4:
            a, b = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
            found.append((a[0] - x0, a[1] - y0, b[0] - a[0], b[1] - a[1]))
    return tuple(found)


def places_of(
    all_pieces: Sequence[Pieces],
    items: Sequence[Item],
    nesting: Nesting,
    spacing: int,
    stocks: Sequence[SheetStock],
    margin: int,
) -> tuple[tuple[Place, ...], tuple[str, ...]]:
    """Apply what the job wants of its panels together: walls in a strip, edges along one axis.

    Returns
    -------
    places
        What to nest.
    notes
        What could not be had, or not wholly.
    """
    by_group: dict[str, list[Item]] = {}
    for item in items:
        by_group.setdefault(item.group, []).append(item)
    places: list[Place] = []
    notes: list[str] = []
    for pieces in all_pieces:
        group = by_group[pieces.line.group]
        if nesting.continuous:
            strips, rest, said = _strips(
                group, spacing, stocks, margin, pieces.inside_up(WALKING[0])
            )
            places += [*strips, *rest]
            notes += said
        elif nesting.one_axis:
            turned, said = _along_one_axis(pieces, group)
            places += turned
            notes += said
        else:
            places += group
    return tuple(places), tuple(notes)


def _strips(
    items: Sequence[Item],
    spacing: int,
    stocks: Sequence[SheetStock],
    margin: int,
    inside_up: bool,
) -> tuple[list[Place], list[Item], list[str]]:
    """Walls of one job end to end; seen from the inside one walks the other way round."""
    strip = continuous_strip(items, spacing)
    if inside_up:
        strip = replace(strip, members=strip.members[::-1])
    taken = {m.key for m in strip.members}
    longest = max((max(s.width, s.height) - 2 * margin for s in stocks), default=0)
    pieces = strip_pieces(strip, longest) if longest > 0 else (strip,)
    notes = []
    if len(pieces) > 1:
        walls = "; ".join(
            ", ".join(m.name for m in p.members) if isinstance(p, Strip) else p.name for p in pieces
        )
        notes.append(
            f"{strip.group}: the walls are longer than any sheet, the figure of the grain runs on "
            f"only within: {walls}"
        )
    missing = [w for w in WALKING if w not in {m.name for m in strip.members}]
    if missing:
        notes.append(f"{strip.group}: no {', '.join(missing)} to go into the strip of walls")
    return list(pieces), [i for i in items if i.key not in taken], notes


def _along_one_axis(pieces: Pieces, items: Sequence[Item]) -> tuple[list[Item], list[str]]:
    """Turn panels so that edges that mate are cut along the same axis of the machine."""
    locked = {i.name: i.quarters for i in items if i.turn != "free" or i.grain}
    names = [i.name for i in items]
    found = orient(names, mating_edges(pieces.built.solution), locked)
    notes = []
    if found.unlike:
        longest = max(m.length for m in found.unlike) / 1e6
        notes.append(
            f"{pieces.line.group}: {len(found.unlike)} mating edges lie along different axes, the "
            f"longest {longest:.1f} mm; no way of lying does better"
        )
    turned = oriented(items, found)
    if len(turned) != len(items):
        raise InputError("panels were lost while they were turned", where=pieces.line.group)
    return list(turned), notes


def shifted(rings: Rings, shift: tuple[int, int]) -> Rings:
    """Rings moved to their place."""
    return Rings(
        xy=rings.xy + np.array(shift, dtype=np.int64),
        start=rings.start,
        role=rings.role,
        joint=rings.joint,
    )
