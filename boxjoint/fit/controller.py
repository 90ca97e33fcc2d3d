"""A controller that offsets outlines by itself: one kerf for both axes, whatever the beam removes.

Where the machine's two kerfs are alike, the controller does what this program would do. Where they
differ, it offsets by their mean, which errs least, and every side comes out off by half of what the
mean differs from the kerf across it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from boxjoint.errors import CannotBeCut
from boxjoint.fit.compensate import Beam, Drawn, virtual_cut
from boxjoint.fit.plan import Plan
from boxjoint.geometry.rings import Rings, move_sides

__all__ = ["OneKerf", "one_kerf"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OneKerf:
    """The kerf that a controller takes, and the beam that really cuts.

    Parameters
    ----------
    kerf
        Full, mm: the mean of the beam's two.
    beam
        The real one, with both kerfs.
    """

    kerf: float
    beam: Beam

    @property
    def off(self) -> tuple[float, float]:
        """How far sides with their normal along the sheet's X, along Y, end up outside, mm."""
        beam = self.beam
        return (
            (beam.scale.x * self.kerf - beam.kerf.x) / 2,
            (beam.scale.y * self.kerf - beam.kerf.y) / 2,
        )

    def cut(self, drawn: Drawn, *, name: str = "panel") -> Rings:
        """Offset drawn outlines as the controller does and cut them by the real beam.

        Parameters
        ----------
        drawn
            Outlines without the kerf.
        name
            The panel's name, for messages.

        Returns
        -------
        The part, nm, turned back to its own axes.

        Raises
        ------
        CannotBeCut
            When the offset would close a slot or hole, or the beam eats a tab.
        """
        rings = drawn.rings
        path, flipped = move_sides(rings, np.full(len(rings), self.kerf / 2 * 1e6))
        if flipped.any():
            i = int(np.flatnonzero(flipped)[0])
            x, y = (path.xy[i] / 1e6).tolist()
            raise CannotBeCut(
                f"the controller's offset would close a slot or hole of {name}",
                where=f"at x {x:.3f}, y {y:.3f} mm as drawn",
                value=f"kerf {self.kerf:.3f} mm",
                do="ask for fewer, wider segments, or check the kerf",
            )
        return virtual_cut(path, self.beam, quarters=drawn.quarters, name=name)


def one_kerf(plan: Plan) -> OneKerf | None:
    """What a controller does to a job with two kerfs; ``None`` where they are alike."""
    x, y = plan.kerf_x.value, plan.kerf_y.value
    return None if x == y else OneKerf(kerf=(x + y) / 2, beam=plan.beam)
