"""The stock a gauge is cut from, and the kerf that is guessed for it."""

from __future__ import annotations

from dataclasses import dataclass, field

from boxjoint.errors import InputError
from boxjoint.fit.fits import ASSUMED_KERF_MM, family_of
from boxjoint.gauge.readings import Axis
from boxjoint.job.records import PerAxis, Source
from boxjoint.units import both, small_size

__all__ = ["GaugeStock", "require_range"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStock:
    """The stock a piece is cut from, and the kerf that is guessed for it.

    Parameters
    ----------
    material
        Its name, as in the job.
    thickness_mm
        mm, > 0; measure it.
    kerf
        Guessed full kerf, mm. It widens the gaps of bridges and places the middle of a comb; no
        size of a gauge depends on it.
    thickness_source, kerf_source
        What these figures are.
    """

    material: str
    thickness_mm: float
    kerf: PerAxis = field(default_factory=lambda: PerAxis(x=ASSUMED_KERF_MM, y=ASSUMED_KERF_MM))
    thickness_source: Source = Source.ASKED
    kerf_source: Source = Source.ASSUMED

    def __post_init__(self) -> None:
        require_range("thickness", self.thickness_mm, 0.3, 40.0)
        for axis in ("x", "y"):
            require_range(f"guessed kerf {axis}", getattr(self.kerf, axis), 0.01, 1.5)

    @property
    def facts(self) -> tuple[str, ...]:
        """What ties a piece's code to this stock: material, thickness and kerf, as they are shown."""
        material = " ".join(self.material.lower().split())
        kerf = (f"{self.kerf.x:.3f}", f"{self.kerf.y:.3f}")
        return (material, f"{self.thickness_mm:.2f}", *kerf)

    def kerf_mm(self, axis: Axis) -> float:
        """Guessed kerf along an axis, mm."""
        return self.kerf.x if axis == "x" else self.kerf.y

    @property
    def widest_kerf_mm(self) -> float:
        """The larger of the two guessed kerfs, mm."""
        return max(self.kerf.x, self.kerf.y)

    @property
    def brittle(self) -> bool:
        """Whether interference cracks it."""
        return family_of(self.material).brittle

    def notes(self, *, applied: bool) -> tuple[str, ...]:
        """Lines for ``REFERENCE``; ``applied``: whether the outlines allow for the kerf."""
        standing = {s: str(s) for s in Source} | {Source.ASSUMED: "ASSUMED"}
        kerf = "full kerf applied" if applied else "full kerf, not applied"
        return (
            f"material {self.material or 'not named'}, "
            f"thickness {both(round(self.thickness_mm * 1e6))} ({standing[self.thickness_source]})",
            f"{kerf}: X {small_size(self.kerf.x)}, Y {small_size(self.kerf.y)} "
            f"({standing[self.kerf_source]})",
        )


def require_range(name: str, value: float, least: float, most: float, do: str = "") -> None:
    """Raise :class:`InputError` unless ``least <= value <= most`` (mm; NaN is refused too)."""
    if not least <= value <= most:
        raise InputError(
            f"{name} of a gauge piece",
            value=f"{value:.6g} mm",
            limit=f"{least:.4g} to {most:.4g} mm",
            do=do,
        )
