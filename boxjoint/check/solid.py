"""The solid proof: the same claims as the exact proof, on solids, by a kernel that others wrote.

It shares no code with the exact proof. What it takes from the solution are the panels' rings and
frames, the slabs, the insides and, for the cut set, which slabs meet in a joint.

On NOMINAL solids:

1. every panel is a solid of positive volume, equal to the area of its rings times its thickness;
2. every panel lies inside its slab;
3. no two panels share volume;
4. the volumes add up to that of the union of the slabs. With 2 and 3 this leaves no void: panels
   that do not overlap, within a space, and with its volume, fill it;
5. no panel enters an inside that was asked for, and a layer one micrometre thin beyond each of its
   faces that is not open is filled by panels.

On CUT solids, each kept where its nominal panel stands:

6. every pair shares what the clearances predict (``boxjoint.check.interference``);
7. every shoulder touches its mate's inner face, less a guest's relief: the panels are seated;
8. the inside, face to face, is as asked: between opposite panels, and between the shoulders of each
   panel that spans it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal

import numpy as np

from boxjoint.check import kernel
from boxjoint.check.interference import SIDE_MM, outward_mm, predict, predicted_outline
from boxjoint.check.kernel import Extent
from boxjoint.errors import InputError, ProofFailed
from boxjoint.fit.compensate import Allowance
from boxjoint.geometry.rings import Rings, Role
from boxjoint.solve.arrangement import InsideBlock
from boxjoint.solve.solution import Solution

__all__ = ["Held", "InsideFound", "Shared", "SolidFault", "SolidProof", "solid_proof"]

_NM = 1e6

VOLUME_MM3 = 1e-5
"""Volumes closer than this are equal, mm3. A micrometre over one square millimetre is a hundred
times as much; the kernel's sums over plane faces were seen to be off by less than 1e-8."""
LAYER_MM = 1e-3
"""Thickness of the layer that must be filled beyond a face of the inside, mm."""

Kind = Literal[
    "no solid",
    "volume",
    "outside slab",
    "overlap",
    "void",
    "inside entered",
    "inside not closed",
    "interference",
    "seat",
    "inside size",
]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidFault:
    """One claim that does not hold.

    Parameters
    ----------
    kind
        Which claim.
    panels
        The panels in it.
    where
        The place, mm, world axes, or the inside and its face.
    size, unit
        How large: shared or missing volume (mm3), missing face (mm2), distance (mm).
    extent
        Box around the faulty space, mm, where there is one.
    """

    kind: Kind
    panels: tuple[str, ...]
    where: str
    size: float
    unit: Literal["mm", "mm2", "mm3"]
    extent: Extent | None = None

    def __str__(self) -> str:
        return f"{self.kind}: {', '.join(self.panels)}: {self.size:.9g} {self.unit} at {self.where}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """The space that two cut panels share, mm3: predicted from the clearances, and found."""

    panels: tuple[str, str]
    predicted: float
    found: float
    tolerance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The distance between two opposite panels to which a third holds them, by its shoulders, mm."""

    panel: str
    distance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideFound:
    """One direction of one inside, on cut solids.

    Parameters
    ----------
    inside, axis
        Name of the inside; 0, 1 or 2.
    asked
        mm.
    face_to_face
        Least distance between the panels at its two ends, mm.
    held
        By each panel that spans both with its shoulders; guests, which keep a relief, are left out.
    """

    inside: str
    axis: int
    asked: float
    face_to_face: float
    held: tuple[Held, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidProof:
    """What the solid kernel found.

    Parameters
    ----------
    volumes
        (panel, nominal volume, mm3).
    union
        Volume of the union of all slabs, mm3.
    pairs
        How many pairs of nominal panels were tried for common volume; the others are apart.
    shared
        Pairs of cut panels that share space, or should; empty without a cut set.
    insides
        Directions of insides that are closed at both ends; empty without a cut set.
    faults
        Empty when all holds.
    """

    volumes: tuple[tuple[str, float], ...]
    union: float
    pairs: int
    shared: tuple[Shared, ...]
    insides: tuple[InsideFound, ...]
    faults: tuple[SolidFault, ...]

    @property
    def passed(self) -> bool:
        """Whether every claim holds."""
        return not self.faults

    def require(self) -> SolidProof:
        """Return itself.

        Raises
        ------
        ProofFailed
            When there are faults; ``data['faults']`` holds them.
        """
        if self.passed:
            return self
        first = self.faults[0]
        raise ProofFailed(
            f"the solid proof found {len(self.faults)} faults; the first is {first.kind}",
            where=f"{', '.join(first.panels)}, {first.where}",
            value=f"{first.size:.9g} {first.unit}",
            faults=self.faults,
        )


def solid_proof(
    solution: Solution,
    as_cut: Mapping[str, Rings] | None = None,
    allowances: Mapping[str, Allowance] | None = None,
    progress: Progress | None = None,
) -> SolidProof:
    """Prove a solution on solids.

    Parameters
    ----------
    solution
        The nominal panels.
    as_cut
        By panel: the rings that the beam leaves, nm, in the panel's own axes. ``None`` proves the
        nominal solids only.
    allowances
        By panel: what its outlines were drawn to allow for. Needed with ``as_cut``.
    progress
        Called with (stage, done, total). Booleans take about 0.03 s a pair at 11 segments an edge
        and grow faster than the number of segments.

    Raises
    ------
    MissingExtra
        When the solid kernel is not installed; says how to get it.
    InputError
        When a panel has no outline or no allowance.
    ProofFailed
        When the kernel itself fails; a claim that does not hold is a fault of the result instead.
    """
    kernel.require_kernel("the solid proof")
    told = progress or _silent
    faults: list[SolidFault] = []
    solids = _nominal_solids(solution, faults, told)
    extents = {name: kernel.extent(solid) for name, solid in solids.items()}
    _in_slabs(solution, extents, faults)
    pairs = _near(extents)
    for a, b in _counted("pairs of nominal panels", pairs, told):
        _apart(a, b, solids, faults)
    volumes = {name: kernel.volume(solid) for name, solid in solids.items()}
    union = _filled(solution, solids, volumes, faults, told)
    closers = {}
    for block in _counted("insides", solution.arrangement.insides, told):
        closers[block.name] = _inside(block, solution, solids, extents, faults)
    shared: tuple[Shared, ...] = ()
    insides: tuple[InsideFound, ...] = ()
    if as_cut is not None:
        given = allowances or {}
        for name in solids:
            if name not in as_cut or name not in given:
                raise InputError("no cut outline or no allowance for a panel", value=name)
        cut = {
            panel.name: kernel.panel_solid(panel, as_cut[panel.name])
            for panel in _counted("cut solids", solution.panels, told)
            if panel.name in solids
        }
        shared = tuple(_interference(solution, cut, given, faults, told))
        seats = _seats(solution, cut, given, faults, told)
        insides = tuple(_inside_sizes(solution, cut, closers, seats, faults))
    return SolidProof(
        volumes=tuple(volumes.items()),
        union=union,
        pairs=len(pairs),
        shared=shared,
        insides=insides,
        faults=tuple(faults),
    )


def _silent(stage: str, done: int, total: int) -> None:
    pass


def _counted[T](stage: str, items: Iterable[T], told: Progress) -> Iterator[T]:
    every = list(items)
    for i, item in enumerate(every):
        told(stage, i, len(every))
        yield item
    told(stage, len(every), len(every))
