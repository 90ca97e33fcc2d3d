"""What a figure is, and the thickness of a sheet: the two words that every record of a job uses."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from boxjoint.errors import InputError

__all__ = ["Source", "Thickness"]


class Source(StrEnum):
    """What a figure is: every number shown to a person carries one of these."""

    ASKED = "asked"
    MEASURED = "measured"
    ASSUMED = "assumed"
    COMPUTED = "computed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Thickness:
    """Thickness of a panel: caliper readings, or one number.

    Parameters
    ----------
    readings
        At least one, nm, each > 0.
    measured
        True for a list of readings (even of one), False for a single stated number.
    """

    readings: tuple[int, ...]
    measured: bool

    def __post_init__(self) -> None:
        if not self.readings or min(self.readings) <= 0:
            raise InputError("a thickness must be larger than zero", do="measure the sheet")

    @property
    def nm(self) -> int:
        """Mean of the readings, rounded once to a nanometre."""
        n = len(self.readings)
        return (2 * sum(self.readings) + n) // (2 * n)

    @property
    def least(self) -> int:
        """Thinnest reading, nm."""
        return min(self.readings)

    @property
    def greatest(self) -> int:
        """Thickest reading, nm."""
        return max(self.readings)

    @property
    def source(self) -> Source:
        """Measured when it came as readings, asked when one number was stated."""
        return Source.MEASURED if self.measured else Source.ASKED
