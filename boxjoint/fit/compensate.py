"""From nominal to drawn outlines, and back by the virtual cut.

Every side moves along its own outward normal by an amount that depends on its role, its joint and
its direction on the sheet:

========  ====================================================
flank     kerf/2 - clearance/4 (tab and slot share the clearance)
cheek     kerf/2 - sheet clearance/2 (the sheet cannot share it)
shoulder  kerf/2 (of a guest: less the shoulder relief)
tip       kerf/2 + proud
floor     kerf/2 - floor relief/2
seam      kerf/2 - seam relief/2
rim       kerf/2
step      kerf/2, so that the step as cut lies at the nominal vertex
========  ====================================================

kerf is ``kerf.x`` for sides whose normal is along the sheet's X, ``kerf.y`` along Y, so a panel is
compensated after it has its place on the sheet. Last of all every coordinate is divided by the scale
of its axis. The virtual cut is the inverse, with a beam that is a rectangle ``kerf.x`` by ``kerf.y``:
as cut = scale x drawn, every side moved in by half its kerf.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import CannotBeCut, InputError
from boxjoint.geometry.rings import Rings, Role, move_sides, shrunk, turned
from boxjoint.job.records import PerAxis

__all__ = ["Allowance", "Beam", "Drawn", "compensate", "virtual_cut"]

_NM = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """What the tool takes away: full kerf, mm, and scale (size cut over size drawn), per sheet axis.

    ``Beam()`` removes nothing at scale 1: outlines for a controller that offsets itself.
    """

    kerf: PerAxis = field(default_factory=lambda: PerAxis(x=0.0, y=0.0))
    scale: PerAxis = field(default_factory=lambda: PerAxis(x=1.0, y=1.0))

    def __post_init__(self) -> None:
        for v in (self.kerf.x, self.kerf.y):
            if not 0 <= v < 50:
                raise InputError("a kerf must be 0 or more", value=f"{v} mm", limit="under 50 mm")
        for v in (self.scale.x, self.scale.y):
            if not 0.5 < v < 2:
                raise InputError("a scale must be near 1", value=str(v), limit="between 0.5 and 2")


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """What the outlines of one panel allow for, beside the kerf. All in mm.

    Parameters
    ----------
    clearance
        By joint index: slot minus tab as cut.
    sheet_clearance
        Slot minus the thickness of the sheet that goes in.
    proud
        How far tips stand out beyond the mate's face.
    shoulder_relief
        Taken off the shoulders of this panel (0 unless it is a guest).
    floor_relief
        Taken off both floors of a half-lap together.
    seam_relief
        Taken off both sides of a seam together, at the tips and bottoms of its steps.
    """

    clearance: Sequence[float]
    sheet_clearance: float = 0.1
    proud: float = 0.0
    shoulder_relief: float = 0.0
    floor_relief: float = 0.2
    seam_relief: float = 0.1

    def outward(self, rings: Rings) -> NDArray[np.float64]:
        """(n,) nm: how far each side moves outward before any kerf."""
        clearance = np.asarray([*self.clearance, 0.0], dtype=np.float64)  # joint -1 takes the last
        by_role = np.zeros(8)
        by_role[Role.TIP] = self.proud
        by_role[Role.SHOULDER] = -self.shoulder_relief
        by_role[Role.CHEEK] = -self.sheet_clearance / 2
        by_role[Role.FLOOR] = -self.floor_relief / 2
        by_role[Role.SEAM] = -self.seam_relief / 2
        out = by_role[rings.role]
        flank = rings.role == Role.FLANK
        out[flank] = -clearance[rings.joint[flank]] / 4
        result: NDArray[np.float64] = out * _NM
        return result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """A panel's outlines as they are drawn for one beam, at one quarter turn on the sheet.

    ``rings`` are nm in the sheet's axes, about the turned panel's own origin.
    """

    rings: Rings
    beam: Beam
    quarters: int = 0


def compensate(
    nominal: Rings, beam: Beam, allowance: Allowance, *, quarters: int = 0, name: str = "panel"
) -> Drawn:
    """Return the outlines to draw so that the beam leaves the nominal panel with the asked fit.

    Parameters
    ----------
    nominal
        Nominal rings, nm, in the panel's own axes.
    quarters
        Quarter turns counter-clockwise by which the panel lies on the sheet.
    name
        The panel's name, for messages.

    Raises
    ------
    CannotBeCut
        When the kerf would close a slot or hole, a drawn side would flip, or a clearance is larger
        than a tab; the message has the place and the numbers.
    """
    placed = turned(nominal, quarters)
    half = (beam.kerf.x / 2 * _NM, beam.kerf.y / 2 * _NM)
    along_x, _ = placed.direction()
    outward = allowance.outward(placed)
    # without the kerf first: what is lost then is lost to the clearance
    if shrunk(placed, outward).any():
        left, gone = move_sides(placed, outward)
        if gone.any():  # and not only by a rounding
            _refuse(left, gone, Beam(kerf=beam.kerf), name, quarters, drawn=False)
    rings, flipped = move_sides(
        placed,
        outward + np.where(along_x, half[0], half[1]),
        step=half,
        factor=(1 / beam.scale.x, 1 / beam.scale.y),
    )
    if flipped.any():
        _refuse(rings, flipped, beam, name, quarters, drawn=True)
    return Drawn(rings=rings, beam=beam, quarters=quarters)


def virtual_cut(drawn: Rings, beam: Beam, *, quarters: int = 0, name: str = "panel") -> Rings:
    """Cut drawn outlines by a beam and return the part that is left, turned back to its own axes.

    Parameters
    ----------
    drawn
        Drawn rings, nm, in the sheet's axes.
    beam
        The beam that really cuts; it need not be the one that the outlines were drawn for.
    quarters
        Quarter turns by which the panel lies on the sheet; taken back.

    Raises
    ------
    CannotBeCut
        When the beam eats a tab or a web.
    """
    half = (beam.kerf.x / 2 * _NM, beam.kerf.y / 2 * _NM)
    sx, sy = beam.scale.x, beam.scale.y
    along_x, _ = drawn.direction()
    inward = np.where(along_x, -half[0] / sx, -half[1] / sy)  # before the stretch by the scale
    rings, flipped = move_sides(drawn, inward, factor=(sx, sy))
    if flipped.any():
        _refuse(rings, flipped, Beam(kerf=beam.kerf), name, quarters, drawn=False)
    return turned(rings, -quarters)


def _refuse(
    rings: Rings,
    flipped: NDArray[np.bool_],
    beam: Beam,
    name: str,
    quarters: int,
    *,
    drawn: bool,
) -> None:
    i = int(np.flatnonzero(flipped)[0])
    # back to the panel's own axes and to sizes as cut
    spot = Rings(
        xy=np.rint(rings.xy[i : i + 1] * (beam.scale.x, beam.scale.y)).astype(np.int64),
        start=np.array([0, 1], dtype=np.int64),
        role=rings.role[i : i + 1],
        joint=rings.joint[i : i + 1],
    )
    x, y = (turned(spot, -quarters).xy[0] / _NM).tolist()
    role = Role(int(rings.role[i])).name.lower()
    kerf = f"kerf {beam.kerf.x:.3f} x {beam.kerf.y:.3f} mm"
    if drawn:
        what = f"the kerf would close a slot or hole of {name}"
        do = "ask for fewer, wider segments, or check the kerf"
    else:
        what = f"the clearance or the kerf is larger than a tab or web of {name}"
        do = "ask for fewer, wider segments or a smaller clearance"
    raise CannotBeCut(
        what,
        where=f"at x {x:.3f}, y {y:.3f} mm on the panel ({role}, {int(flipped.sum())} sides in all)",
        value=kerf,
        do=do,
        panel=name,
        place=(x, y),
    )
