"""What the solid proof found: its records, its tolerances, and the few helpers both halves share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal, TypeVar

from boxjoint.check import kernel
from boxjoint.check.kernel import Extent
from boxjoint.errors import ProofFailed
from boxjoint.geometry.cuboid import Cuboid

__all__ = [
    "LAYER_MM",
    "VOLUME_MM3",
    "Held",
    "InsideFound",
    "Kind",
    "Progress",
    "Shared",
    "SolidFault",
    "SolidProof",
    "counted",
    "extent_of",
    "near_pairs",
    "space_fault",
    "worst_piece",
]

_NM = 1e6
_T = TypeVar("_T")

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
    "strike",
    "sequence",
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
        Distance between the stock faces of the cut solids at its two ends, mm.
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
    moves
        Moves of the assembly sequence that were replayed.
    positions
        Positions on their ways that were tried for common volume.
    sampled
        Parts of which not all positions were tried at which faces come level.
    """

    volumes: tuple[tuple[str, float], ...]
    union: float
    pairs: int
    shared: tuple[Shared, ...]
    insides: tuple[InsideFound, ...]
    faults: tuple[SolidFault, ...]
    moves: int = 0
    positions: int = 0
    sampled: tuple[str, ...] = ()

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


def counted(stage: str, items: Iterable[_T], told: Progress) -> Iterator[_T]:
    """Yield the items, telling before each how many are done, and at the end that all are."""
    every = list(items)
    for i, item in enumerate(every):
        told(stage, i, len(every))
        yield item
    told(stage, len(every), len(every))


def extent_of(box: Cuboid) -> Extent:
    """Return a cuboid in mm."""
    lo, hi = box.lo, box.hi
    return Extent((lo[0] / _NM, lo[1] / _NM, lo[2] / _NM), (hi[0] / _NM, hi[1] / _NM, hi[2] / _NM))


def worst_piece(shape: Any) -> tuple[Extent, int]:
    """Extent of the largest solid in ``shape``, and how many there are."""
    found = kernel.pieces(shape)
    return kernel.extent(max(found, key=kernel.volume)), len(found)


def space_fault(kind: Kind, panels: tuple[str, ...], shape: Any, note: str = "") -> SolidFault:
    """Make the fault of a space that should not be there; place it by its largest piece."""
    worst, count = worst_piece(shape)
    where = worst.text() + (f" and {count - 1} more places" if count > 1 else "")
    return SolidFault(
        kind=kind,
        panels=panels,
        where=f"{note}{where}",
        size=kernel.volume(shape),
        unit="mm3",
        extent=worst,
    )


def near_pairs(extents: Mapping[str, Extent]) -> list[tuple[str, str]]:
    """Pairs whose boxes overlap; all others are apart."""
    return [(a, b) for a, b in combinations(extents, 2) if extents[a].shares_volume(extents[b])]
