"""Which discs come near which axis-parallel sides, without looking at every pair.

Both are sorted into square bins as wide as a disc, so that the work grows with the pairs that are near.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["near_pairs"]

_Floats = NDArray[np.float64]
_Ints = NDArray[np.int64]


def near_pairs(centre: _Floats, reach: float, lo: _Floats, hi: _Floats) -> tuple[_Ints, _Ints]:
    """Pair discs with boxes that their bounding squares meet.

    Parameters
    ----------
    centre
        (n, 2): middles of the discs.
    reach
        Their radius, > 0, in the unit of the rest.
    lo, hi
        (m, 2): least and greatest corner of each box; one without width or height counts too.

    Returns
    -------
    disc, box
        (p,) each, ascending by disc, then box; every pair once.
    """
    none = np.zeros(0, dtype=np.int64)
    if len(centre) == 0 or len(lo) == 0:
        return none, none
    size = 2 * reach
    origin = np.minimum(centre.min(axis=0) - reach, lo.min(axis=0))
    first_c, last_c = _bins(centre - reach, size, origin), _bins(centre + reach, size, origin)
    # only bins that hold a disc matter: clip the long boxes to them
    low, high = first_c.min(axis=0), last_c.max(axis=0)
    first_b = np.maximum(_bins(lo, size, origin), low)
    last_b = np.minimum(_bins(hi, size, origin), high)
    disc, cell_c = _spread(first_c, last_c, int(high[1]) + 1)
    box, cell_b = _spread(first_b, last_b, int(high[1]) + 1)
    order = np.argsort(cell_b, kind="stable")
    box, cell_b = box[order], cell_b[order]
    begin = np.searchsorted(cell_b, cell_c, side="left")
    count = np.searchsorted(cell_b, cell_c, side="right") - begin
    i = np.repeat(disc, count)
    start = np.cumsum(count) - count
    j = box[np.arange(len(i)) - np.repeat(start, count) + np.repeat(begin, count)]
    meet = ((lo[j] <= centre[i] + reach) & (hi[j] >= centre[i] - reach)).all(axis=1)
    key = np.sort(i[meet] * len(lo) + j[meet])
    if len(key):
        key = key[np.append(True, key[1:] != key[:-1])]
    return key // len(lo), key % len(lo)


def _bins(at: _Floats, size: float, origin: _Floats) -> _Ints:
    found: _Ints = np.floor((at - origin) / size).astype(np.int64)
    return found


def _spread(first: _Ints, last: _Ints, width: int) -> tuple[_Ints, _Ints]:
    """List every bin of every box: (index, number of the bin)."""
    across = np.maximum(last - first + 1, 0)
    count = across[:, 0] * across[:, 1]
    index = np.repeat(np.arange(len(first)), count)
    k = np.arange(len(index)) - np.repeat(np.cumsum(count) - count, count)
    x = first[index, 0] + k // np.maximum(across[index, 1], 1)
    y = first[index, 1] + k % np.maximum(across[index, 1], 1)
    return index, x * width + y
