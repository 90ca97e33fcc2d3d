"""What one gauge of the shop book says of kerf and scale: the estimator of room ``gauge``, adapted.

The filter wants what the readings alone said, so the estimator's own prior is taken out of its
answer again (:meth:`Observation.from_posterior`). An estimator that gives another answer to the
same readings has another ``version``: what was computed by the old one is not used again.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Protocol

from boxjoint.gauge.assumed import GaugeAssumed, KerfPrior
from boxjoint.gauge.estimate import fit_kerf
from boxjoint.gauge.readings import Caliper
from boxjoint.gauge.readings import Reading as GaugeReading
from boxjoint.shop.filter import Observation
from boxjoint.shop.records import GaugeSession, Reading

__all__ = ["GaugeObserver", "Observer", "gauge_readings"]


class Observer(Protocol):
    """Turns the readings of one gauge into an observation; ``version`` names how."""

    @property
    def version(self) -> str:
        """Changes whenever the same readings would give another observation."""

    def __call__(self, session: GaugeSession) -> Observation:
        """Return what the readings say; raises ReadingError when they are refused."""


def gauge_readings(readings: tuple[Reading, ...]) -> tuple[GaugeReading, ...]:
    """Return readings of the book as the estimator takes them; rows are named in its messages.

    Raises
    ------
    ReadingError
        A reading that the book holds but the estimator refuses.
    """
    return tuple(
        GaugeReading(
            form=r.form,  # type: ignore[arg-type]  # the estimator turns the word into its Form
            axis=r.axis,  # type: ignore[arg-type]  # checked by both records
            drawn_mm=r.drawn_mm,
            values_mm=r.values_mm,
            slices=r.slices or None,
            cut_ends=r.cut_ends,  # type: ignore[arg-type]  # checked by both records
            contour=r.contour,
            u_mm=r.u_mm,
            turned=r.turned,
            where=f"row {row}",
        )
        for row, r in enumerate(readings, 1)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeObserver:
    """The estimator with its defaults, or with a shop's own caliper and sizes."""

    caliper: Caliper = field(default_factory=Caliper)
    assumed: GaugeAssumed = field(default_factory=GaugeAssumed)

    def __call__(self, session: GaugeSession) -> Observation:
        """Return what the readings of ``session`` say of kerf and scale."""
        return self._observe(session.readings, session.caliper_step_mm)

    def _observe(self, readings: tuple[Reading, ...], step_mm: float | None) -> Observation:
        caliper = self.caliper if step_mm is None else replace(self.caliper, step_mm=step_mm)
        prior = KerfPrior.assumed(caliper=caliper)
        fit = fit_kerf(gauge_readings(readings), prior, caliper, self.assumed, with_advice=False)
        return Observation.from_posterior(
            fit.mean[:4], fit.covariance[:4, :4], prior.mean[:4], prior.covariance[:4, :4]
        )

    @property
    def version(self) -> str:
        """Digest of the sizes and of the answer to fixed readings, to six digits."""
        return _version(self)


@lru_cache(maxsize=8)
def _version(observer: GaugeObserver) -> str:
    rows = (
        Reading(form="plug", axis="x", drawn_mm=20, values_mm=(19.80, 19.84)),
        Reading(form="hole", axis="x", drawn_mm=20, values_mm=(20.22,)),
        Reading(form="stack", axis="y", drawn_mm=50, values_mm=(48.30,), slices=8, contour="a"),
        Reading(form="window", axis="y", drawn_mm=50, values_mm=(50.20,), contour="a"),
    )
    answer = observer._observe(rows, None)
    numbers = [f"{v:.5e}" for row in (*answer.info, answer.vector) for v in row]
    return hashlib.sha256(repr((observer, numbers)).encode()).hexdigest()[:16]
