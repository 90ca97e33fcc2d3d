"""Rectilinear rings: lengths lost when sides move, areas, extents."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import labelled_rings

from boxjoint.geometry.rings import Rings, move_sides, rectangle, shrunk

quick = settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))


@quick
@given(labelled_rings(), st.data())
def test_shrunk_says_what_moving_says(rings: Rings, data: st.DataObject) -> None:
    """The quick test agrees with really moving the sides, flips and lost lengths included."""
    far = int(np.abs(rings.ends - rings.xy).max())
    distance = np.array(
        data.draw(
            st.lists(st.integers(-far, far), min_size=len(rings), max_size=len(rings)).map(
                lambda found: found or [0]
            )
        ),
        dtype=np.float64,
    )
    _, flipped = move_sides(rings, distance)
    assert shrunk(rings, distance).any() == flipped.any()


def test_a_rectangle() -> None:
    rings = rectangle(0, 0, 30, 20)
    assert (rings.area, rings.perimeter, rings.extent) == (600, 100, (0, 0, 30, 20))
    grown, flipped = move_sides(rings, np.full(4, 5.0))
    assert not flipped.any()
    assert grown.extent == (-5, -5, 35, 25)
    assert shrunk(rings, np.full(4, -10.0)).tolist() == [False, True, False, True]


def test_areas_do_not_overflow() -> None:
    """5 m by 5 m is 2.5e19 nm2, more than 63 bits hold."""
    side = 5_000_000_000
    assert rectangle(0, 0, side, side).area == side**2 > 2**63
