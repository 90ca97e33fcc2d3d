"""What is believed of a machine, a material, a thickness and settings: the records alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from boxjoint.job.records import Source

__all__ = ["LEAST_KERF_MM", "Belief", "Figure", "Flag", "Nearest", "Point"]

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

    ``STEP``: the kerf seems to have jumped. ``MISFIT``: readings that do not agree with the machine's
    history, and are no jump of the kerf or see too little of it to tell; used as they are.
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
    check
        True when u(kerf) is too large for a fit to be promised: read the two-reading gauge first.
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
    check: bool
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
