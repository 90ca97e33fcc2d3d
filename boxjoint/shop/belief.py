"""What is believed of a machine, a material, a thickness and settings: the records alone."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Final

from boxjoint.job.records import Source

if TYPE_CHECKING:
    from boxjoint.shop.filter import Outlook
    from boxjoint.shop.records import CombRound

__all__ = ["LEAST_KERF_MM", "Belief", "Combs", "Figure", "Flag", "Nearest", "Point", "Wish"]

#: A belief below this is no kerf, whatever the readings say: a job refuses a smaller one as well.
LEAST_KERF_MM: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A value with its standard uncertainty, and what it is: measured or assumed."""

    value: float
    u: float
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """Something a maker should know, with its date and the record it came from.

    ``STEP``: the kerf seems to have moved further than was to be expected. ``MISFIT``: readings that do
    not agree with the machine's history, and are no step of the kerf or see too little of it to
    tell; used as they are.
    ``REFUSED``: readings that the estimator refuses; not used. ``SERVICE``: work on the
    machine since the last reading. ``ONE_AXIS``: only the other axis was ever read.
    ``NOT_DETERMINED``: there are readings, but they say little of the kerf. ``NO_KERF``: what
    follows from the readings is no kerf that a beam can have.
    """

    name: str
    text: str
    at: datetime
    entry: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The nearest record that does have a kerf, and everything in which it differs."""

    machine: str
    material: str
    thickness_mm: tuple[float, float]
    settings: str
    differs: tuple[str, ...]
    kerf_x: Figure
    kerf_y: Figure
    readings: int
    last: datetime

    def __str__(self) -> str:
        return (
            f"kerf {self.kerf_x.value:.3f} x {self.kerf_y.value:.3f} mm was measured"
            f" on {self.last:%Y-%m-%d}, but with another " + "; another ".join(self.differs)
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Combs:
    """The combs of one hand and material, oldest first, and the kerfs that carry them to today.

    ``outlook`` is of the kerf of each comb's day along its axis, then of today's kerf_x and kerf_y.
    """

    rounds: tuple[CombRound, ...]
    outlook: Outlook


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What verdicts on boxes say the hand wants beyond what was aimed at: value +- u (standard), mm."""

    value: float
    u: float
    combed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What is believed at a time.

    Parameters
    ----------
    kerf_x, kerf_y
        mm, full width; ``None`` when nothing was ever read in this record.
    scale_x, scale_y
        Size cut over size drawn; shared by all records of the machine.
    covariance
        4 x 4 of kerf_x, kerf_y, scale_x, scale_y; ``None`` with the kerf.
    readings, gauges, boxes
        Single values read, gauges and boxes that they came from; struck ones do not count.
    last, age_days, age_jobs
        Date of the last reading of this record and what has passed since.
    thickness_mm
        Least and greatest mean thickness of the sheets that were read.
    flags
        See :class:`Flag`, oldest first.
    outlook
        Of kerf_x, kerf_y, scale_x - 1, scale_y - 1: the belief with its shape.
    combs
        Combs of this hand and material with the kerfs of their days; ``None`` where there are none.
    wish
        What verdicts on boxes say of the hand; ``None`` without any.
    motion
        How the kerf of this machine may move, and how likely each way is.
    nearest
        Where this record has no kerf: the nearest one that has.
    """

    machine: str
    material: str
    at: datetime
    kerf_x: Figure | None
    kerf_y: Figure | None
    scale_x: Figure
    scale_y: Figure
    covariance: tuple[tuple[float, ...], ...] | None
    readings: int
    gauges: int
    boxes: int
    last: datetime | None
    age_days: float | None
    age_jobs: float | None
    thickness_mm: tuple[float, float] | None
    flags: tuple[Flag, ...]
    combs: Combs | None = None
    wish: Wish | None = None
    motion: dict[str, float] = field(default_factory=dict)
    outlook: Outlook | None = field(default=None, compare=False, repr=False)
    nearest: Nearest | None

    @property
    def is_kerf(self) -> bool:
        """Whether there is a kerf along both axes, and one that a beam can have."""
        return (
            self.kerf_x is not None
            and self.kerf_y is not None
            and min(self.kerf_x.value, self.kerf_y.value) >= LEAST_KERF_MM
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The belief about a record just after one of its events, for the plot over time."""

    at: datetime
    entry: str
    kind: str
    kerf_x: float
    kerf_y: float
    u_kerf_x: float
    u_kerf_y: float
    flags: tuple[str, ...]
