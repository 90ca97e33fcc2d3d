"""Axis-aligned cuboids with whole-nanometre faces."""

from __future__ import annotations

from dataclasses import dataclass

from boxjoint.errors import InputError

__all__ = ["Cuboid", "Triple"]

Triple = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Cuboid:
    """The points between ``lo`` and ``hi`` (x, y, z), nm; ``lo < hi`` on every axis."""

    lo: Triple
    hi: Triple

    def __post_init__(self) -> None:
        if not all(a < b for a, b in zip(self.lo, self.hi, strict=True)):
            raise InputError("a cuboid needs lo < hi on every axis", value=f"{self.lo}, {self.hi}")

    @property
    def size(self) -> Triple:
        """Edge lengths along x, y and z, nm."""
        return (self.hi[0] - self.lo[0], self.hi[1] - self.lo[1], self.hi[2] - self.lo[2])

    @property
    def volume(self) -> int:
        """Volume, nm3, exact: Python integers do not overflow."""
        x, y, z = self.size
        return x * y * z

    def span(self, axis: int) -> tuple[int, int]:
        """(lo, hi) along ``axis``, nm."""
        return self.lo[axis], self.hi[axis]

    def common(self, other: Cuboid) -> Cuboid | None:
        """Return the space that both share, or ``None`` when they share no volume."""
        a, b, c, d = self.lo, self.hi, other.lo, other.hi
        lo = (max(a[0], c[0]), max(a[1], c[1]), max(a[2], c[2]))
        hi = (min(b[0], d[0]), min(b[1], d[1]), min(b[2], d[2]))
        if lo[0] < hi[0] and lo[1] < hi[1] and lo[2] < hi[2]:
            return Cuboid(lo, hi)
        return None

    def contains(self, other: Cuboid) -> bool:
        """Whether ``other`` lies inside this cuboid, faces included."""
        return all(self.lo[i] <= other.lo[i] and other.hi[i] <= self.hi[i] for i in range(3))
