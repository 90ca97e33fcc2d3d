"""What one gauge of the shop book says of kerf and scale: the estimator of room ``gauge``, adapted.

The belief wants what the readings alone said, so the estimator's own prior is taken out of its
answer again, mode by mode (:class:`~boxjoint.shop.likelihood.Term`). How steady the hand is that reads
is learned from all repeats in the book (:func:`repeats_of`). An estimator that gives another answer to
the same readings has another ``version``: what was computed by the old one is not used again.
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
from boxjoint.shop.likelihood import Observation, Term
from boxjoint.shop.records import GaugeSession, Reading

__all__ = ["GaugeObserver", "Observer", "gauge_readings", "repeats_of"]

#: No hand reads more steadily than this, mm; and repeats further apart than this are a slip.
_STEADIEST_MM, _SLIP_MM = 0.008, 0.12


class Observer(Protocol):
    """Turns the readings of one gauge into an observation; ``version`` names how."""

    @property
    def version(self) -> str:
        """Changes whenever the same readings would give another observation."""

    def __call__(self, session: GaugeSession) -> Observation:
        """Return what the readings say; raises ReadingError when they are refused."""

    def steadier(self, squares_mm2: float, repeats: int) -> Observer:
        """Return the same, knowing what the repeats of the book say of the hand."""


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
        return Observation.of(
            Term.from_posterior(
                mode.mean[:4],
                mode.covariance[:4, :4],
                prior.mean[:4],
                prior.covariance[:4, :4],
                mode.weight,
            )
            for mode in fit.average.modes
        )

    def steadier(self, squares_mm2: float, repeats: int) -> GaugeObserver:
        """Return the same with the hand's scatter as the repeats of the book have it.

        Parameters
        ----------
        squares_mm2, repeats
            Sum of squares about the means of repeated features, and its degrees of freedom.

        Notes
        -----
        Pooled with the assumed scatter, which counts ``nu0`` degrees of freedom, and rounded to 0.001
        mm, so that the answers that are remembered stay good from one gauge to the next.
        """
        c = self.caliper
        pooled = (c.nu0 * c.s0_mm**2 + squares_mm2) / (c.nu0 + repeats)
        hand = max(round(pooled**0.5, 3), _STEADIEST_MM)
        return replace(self, caliper=replace(c, s0_mm=hand))

    @property
    def version(self) -> str:
        """Digest of the sizes and of the answer to fixed readings, to six digits."""
        return _version(self)


def repeats_of(session: GaugeSession, struck: frozenset[int]) -> tuple[float, int]:
    """Return the sum of squares (mm^2) about the means of repeated features, and its degrees of freedom.

    Repeats further apart than any hand's are slips, and say nothing of the hand.
    """
    squares, dof = 0.0, 0
    for n, r in enumerate(session.readings, 1):
        if n in struck or r.u_mm is not None or len(r.values_mm) < 2:
            continue
        if max(r.values_mm) - min(r.values_mm) > _SLIP_MM:
            continue
        mean = sum(r.values_mm) / len(r.values_mm)
        squares += sum((v - mean) ** 2 for v in r.values_mm)
        dof += len(r.values_mm) - 1
    return squares, dof


@lru_cache(maxsize=8)
def _version(observer: GaugeObserver) -> str:
    rows = (
        Reading(form="plug", axis="x", drawn_mm=20, values_mm=(19.80, 19.84)),
        Reading(form="hole", axis="x", drawn_mm=20, values_mm=(20.22,)),
        Reading(form="stack", axis="y", drawn_mm=50, values_mm=(48.30,), slices=8, contour="a"),
        Reading(form="window", axis="y", drawn_mm=50, values_mm=(50.20,), contour="a"),
    )
    answer = observer._observe(rows, None)
    numbers = [
        f"{v:.5e}"
        for t in answer.terms
        for row in (*t.info, t.vector, (t.log_weight,))
        for v in row
    ]
    return hashlib.sha256(repr((observer, numbers)).encode()).hexdigest()[:16]
