"""What the shop book takes for granted: every size that nobody measured, and how kerfs may move.

See docs/what-belongs-to-what.md; the sizes stand there in symbols. All of them are inputs.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

from boxjoint.errors import InputError

__all__ = ["MOTIONS", "SPREADS", "Assumed", "Motion", "elapsed_jobs"]

#: Another number when the same readings would lead to another belief: nothing computed before is used.
_EDITION = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """One way in which the kerf of a machine may move, and how likely it is before any reading.

    ``walk_mm``: standard deviation of a random walk in one job, mm. ``creep_mm``: standard deviation
    of a steady rate, mm a job, about 0.
    """

    name: str
    weight: float
    walk_mm: float
    creep_mm: float = 0.0


#: How a kerf may move. Weights and sizes are assumed; the gauges of a machine change the weights.
MOTIONS = (
    Motion(name="stands still", weight=0.40, walk_mm=0.0005),
    Motion(name="wanders a little", weight=0.30, walk_mm=0.006),
    Motion(name="wanders", weight=0.10, walk_mm=0.012),
    Motion(name="wanders far", weight=0.03, walk_mm=0.03),
    Motion(name="creeps", weight=0.17, walk_mm=0.002, creep_mm=0.008),
)

#: How far kerf_x - kerf_y of one record may lie from what is usual on its machine, mm (standard
#: deviation), and how likely that is before any reading; assumed.
SPREADS = ((0.004, 0.25), (0.015, 0.40), (0.05, 0.35))


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Every size that the belief takes for granted; nobody measured them. ``u`` is standard.

    Parameters
    ----------
    kerf_mm, kerf_u_mm
        Kerf of a record before anything was read, mm.
    difference_u_mm
        Of what is usual for kerf_x - kerf_y on a machine, about 0, mm: diode beams are often twice
        as wide one way (common practice, no source).
    motions, spreads
        See :data:`MOTIONS` and :data:`SPREADS`.
    scale_u
        Of each scale, about 1 (1.2e-3 is 1.2 mm in a metre).
    backlash_u_mm
        Of the size lost to backlash, about 0, mm.
    gauge_u_mm
        Error of the kerf that all gauges of a shop share (gap, jaw zeros), mm. Part of it is
        fresh in every gauge.
    jump_mm, jump_rate
        Jumps that nobody logged: their standard deviation, and the share of jobs that have one.
    common
        Share of a walk's variance that all records of a machine have in common.
    difference_walk
        kerf_x - kerf_y walks by this share of the kerf's walk.
    creep_walk_mm
        The rate of creep changes by this in one job, mm a job.
    forget
        Share of the weights of motions and spreads that returns to what was assumed, in one job: a
        machine that stood still for years may begin to creep.
    service_kerf_u_mm, service_difference_u_mm, service_scale_u
        Added where work on the machine can have moved the kerf or the scale.
    days_per_job, hours_per_job
        Calendar days, and hours of cutting, that age a kerf as much as one job.
    edge_u_mm
        Of one cut edge's place, mm.
    inside_u_mm
        Of a measured inside size where the reading does not say, mm.
    seat_mm, seat_u_mm
        Shoulders that do not seat fully make the inside larger by ``seat_mm``; ``seat_u_mm`` at
        each of the two.
    fit_low_mm, fit_high_mm, fit_u_mm
        A box is called tight when its clearance misses the wanted one by less than ``fit_low_mm``,
        loose when by more than ``fit_high_mm``; both blurred by ``fit_u_mm``.
    wish_u_mm, combed_wish_u_mm
        How far what a hand wants may lie from what a drawing aimed at, mm: without a comb, and with
        one behind the aim.
    gate
        A reading whose squared standardised surprise exceeds this is flagged (99 % of chi-squared).
    miss_mm, miss_share
        A gauge is asked for when more than ``miss_share`` of the joints of the next box would lie
        more than ``miss_mm`` from what the hand wants.
    same_thickness_mm
        Sheets within this of their record's middle thickness share its kerf.
    """

    kerf_mm: float = 0.20
    kerf_u_mm: float = 0.10
    difference_u_mm: float = 0.12
    motions: tuple[Motion, ...] = MOTIONS
    spreads: tuple[tuple[float, float], ...] = SPREADS
    scale_u: float = 1.2e-3
    backlash_u_mm: float = 0.025
    gauge_u_mm: float = 0.003
    jump_mm: float = 0.06
    jump_rate: float = 0.0015
    common: float = 0.64
    difference_walk: float = 0.25
    creep_walk_mm: float = 0.0002
    forget: float = 0.0005
    service_kerf_u_mm: float = 0.06
    service_difference_u_mm: float = 0.03
    service_scale_u: float = 1.2e-3
    days_per_job: float = 7.0
    hours_per_job: float = 1.0
    edge_u_mm: float = 0.02
    inside_u_mm: float = 0.05
    seat_mm: float = 0.024
    seat_u_mm: float = 0.009
    fit_low_mm: float = -0.03
    fit_high_mm: float = 0.03
    fit_u_mm: float = 0.02
    wish_u_mm: float = 0.10
    combed_wish_u_mm: float = 0.03
    gate: float = 6.63
    miss_mm: float = 0.05
    miss_share: float = 0.10
    same_thickness_mm: float = 0.25

    def __post_init__(self) -> None:
        values = {
            name: getattr(self, name)
            for name in self.__slots__
            if name not in ("motions", "spreads")
        }
        for name, value in values.items():
            if not math.isfinite(value) or (value < 0 and name not in ("fit_low_mm", "seat_mm")):
                raise InputError(
                    "an assumed size must be finite and not negative",
                    where=f"Assumed.{name}",
                    value=repr(value),
                )
        for name in (
            *("kerf_u_mm", "difference_u_mm", "scale_u", "backlash_u_mm", "fit_u_mm"),
            *("wish_u_mm", "combed_wish_u_mm", "days_per_job", "hours_per_job", "miss_mm"),
        ):
            if not values[name] > 0:
                raise InputError("must be larger than zero", where=f"Assumed.{name}")
        shares = ("common", "jump_rate", "forget", "difference_walk", "miss_share")
        if any(values[name] > 1 for name in shares) or not self.fit_low_mm < self.fit_high_mm:
            raise InputError("the assumed sizes contradict each other", where="Assumed")
        weights = [m.weight for m in self.motions], [w for _, w in self.spreads]
        if not all(found and min(found) > 0 for found in weights):
            raise InputError(
                "every motion and every spread needs a weight larger than zero", where="Assumed"
            )

    @property
    def fingerprint(self) -> str:
        """Changes when any size or the belief does: what was computed otherwise is not used again."""
        return hashlib.sha256(f"{_EDITION} {self!r}".encode()).hexdigest()[:16]


def elapsed_jobs(*, days: float, jobs: float, hours: float | None, assumed: Assumed) -> float:
    """Return how many jobs' worth of ageing lie between two events.

    The machine's own hour counter counts where both events have it; else the jobs logged in
    between or the calendar, whichever is more.
    """
    if hours is not None and hours >= 0:
        return hours / assumed.hours_per_job
    return max(jobs, days / assumed.days_per_job, 0.0)
