"""A figure that a person sees: a value, what it is, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from boxjoint.job.records import Source

__all__ = ["Figure"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number with its source.

    Parameters
    ----------
    value
        In ``unit``.
    source
        asked, measured, assumed or computed.
    unit
        ``mm`` unless it is a plain number (``1``).
    uncertainty
        Standard uncertainty, same unit, of a measured figure; ``None`` where it is not known.
    readings
        How many readings stand behind a measured figure.
    note
        Where it comes from, or the command that would measure it.
    """

    value: float
    source: Source
    unit: str = "mm"
    uncertainty: float | None = None
    readings: int | None = None
    note: str = ""

    @property
    def standing(self) -> str:
        """What the figure is, in words; an assumed one in capitals."""
        if self.source is Source.ASSUMED:
            return "ASSUMED"
        text = str(self.source)
        if self.readings:
            text += f", {self.readings} reading{'s' if self.readings > 1 else ''}"
        if self.uncertainty is not None:
            unit = "" if self.unit == "1" else f" {self.unit}"
            text += f", +-{self.uncertainty:.{5 if not unit else 3}f}{unit}"
        return text

    def as_json(self) -> dict[str, Any]:
        """Return plain data for a report; keys that say nothing are left out."""
        out: dict[str, Any] = {"value": self.value, "source": str(self.source), "unit": self.unit}
        if self.uncertainty is not None:
            out["uncertainty"] = self.uncertainty
        if self.readings is not None:
            out["readings"] = self.readings
        if self.note:
            out["note"] = self.note
        return out
