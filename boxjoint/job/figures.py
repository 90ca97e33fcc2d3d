"""A figure that a person sees: a value, what it is, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from boxjoint.job.records import Source, Unit
from boxjoint.units import small_size

__all__ = ["COVERAGE", "Figure"]

#: Expanded uncertainty over standard uncertainty, for about 95 % (GUM, G.6.6: k = 2).
COVERAGE = 2.0


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
        Standard uncertainty, same unit, of a measured figure; ``None`` where it is not known. What
        people see after +- is always the expanded one, 95 %: twice this.
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

    def shown(self, first: Unit = "mm") -> str:
        """The value for people, in both systems, the job's own first."""
        return f"{self.value:.5f}" if self.unit == "1" else small_size(self.value, first)

    @property
    def standing(self) -> str:
        """What the figure is, in words; an assumed one in capitals."""
        return self.stands()

    def stands(self, first: Unit = "mm") -> str:
        """What the figure is, as :attr:`standing`, with its +- (95 %) in the job's own unit."""
        if self.source is Source.ASSUMED:
            return "ASSUMED"
        text = str(self.source)
        if self.readings:
            text += f", {self.readings} reading{'s' if self.readings > 1 else ''}"
        if self.uncertainty is not None:
            expanded = COVERAGE * self.uncertainty
            if self.unit == "1":
                text += f", +-{expanded:.5f} (95 %)"
            elif first == "mm":
                text += f", +-{expanded:.3f} mm (95 %)"
            else:
                text += f", +-{expanded / 0.0254:.1f} thou (95 %)"
        return text

    def as_json(self) -> dict[str, Any]:
        """Return plain data for a report; keys that say nothing are left out."""
        out: dict[str, Any] = {"value": self.value, "source": str(self.source), "unit": self.unit}
        if self.uncertainty is not None:
            out["uncertainty"] = self.uncertainty
            out["uncertainty_95"] = COVERAGE * self.uncertainty
        if self.readings is not None:
            out["readings"] = self.readings
        if self.note:
            out["note"] = self.note
        return out
