"""Arrangements as bodies, at other places, and closed: what boxes within and on each other are made from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from boxjoint.geometry.cuboid import Cuboid
from boxjoint.solve.arrangement import Arrangement, Body, InsideBlock, Slab

__all__ = ["as_body", "closed_above", "closed_by", "moved"]


def as_body(box: Arrangement) -> Arrangement:
    """Return a box that says what holds together, itself first; loose dividers are bodies of their own."""
    if box.bodies:
        return box
    return replace(box, bodies=(Body(name="box", slabs=tuple(s.name for s in box.slabs)),))


def moved(arrangement: Arrangement, prefix: str, by: tuple[int, int, int]) -> Arrangement:
    """Return an arrangement at another place, its names with a prefix; its inside takes the prefix's."""

    def there(box: Cuboid) -> Cuboid:
        lo, hi = ([p[k] + by[k] for k in range(3)] for p in (box.lo, box.hi))
        return Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))

    def named(names: Sequence[str]) -> tuple[str, ...]:
        return tuple(prefix + n for n in names)

    return replace(
        arrangement,
        slabs=tuple(replace(s, name=prefix + s.name, box=there(s.box)) for s in arrangement.slabs),
        insides=tuple(
            replace(
                b,
                name=(b.name == "inside" and prefix.rstrip("-")) or prefix + b.name,
                box=there(b.box),
                guests=named(b.guests),
            )
            for b in arrangement.insides
        ),
        bodies=tuple(
            replace(
                b,
                name=(b.name == "box" and prefix.rstrip("-")) or prefix + b.name,
                slabs=named(b.slabs),
                glued=tuple((prefix + one, prefix + other) for one, other in b.glued),
            )
            for b in arrangement.bodies
        ),
    )


def closed_by(block: InsideBlock, plate: Slab) -> InsideBlock:
    """The block without its opening above, where a plate lies over all of it."""
    over = all(
        plate.box.lo[k] <= block.box.lo[k] and block.box.hi[k] <= plate.box.hi[k] for k in (0, 1)
    )
    return closed_above(block, plate.box.lo[2]) if over else block


def closed_above(block: InsideBlock, at: int) -> InsideBlock:
    """The block without its opening above, where a lid lies on it at ``at``."""
    if block.box.hi[2] != at:
        return block
    return replace(block, open=tuple(face for face in block.open if face != (2, 1)))
