"""Which further reading would lower the uncertainty of the kerf most.

Covariances do not depend on the values read, so every candidate can be tried before it is cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from boxjoint.gauge.assumed import PARAMETERS, KerfPrior
from boxjoint.gauge.distributions import Floats
from boxjoint.gauge.model import EX, EY, KX, KY, noise_covariance, rows_of
from boxjoint.gauge.readings import Caliper, Form, Reading

__all__ = ["Advice", "advise", "standard_candidates"]

# the features of the full gauge, and the 300 mm strips
_OUTER = {"x": 100.0, "y": 60.0}
_WINDOW = {"x": (72.0, 8), "y": (50.0, 8)}
_LEAST_SLICES = 4
_STRIP_MM = 300.0
_STRIP_U_MM = 0.05
_DIFFERENCE_U_MM = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One candidate reading and what it would bring.

    Parameters
    ----------
    reading
        The reading to take. Its value is not meant: it stands at the drawn size.
    repeat
        True if the feature was read already and would be read once more.
    parameter
        Name of the parameter advised on.
    u_before_mm, u_after_mm
        Its standard uncertainty without and with the reading (a scale: dimensionless).
    """

    reading: Reading
    repeat: bool
    parameter: str
    u_before_mm: float
    u_after_mm: float

    @property
    def gain(self) -> float:
        """Part of the uncertainty that the reading removes, 0 to 1."""
        return 1.0 - self.u_after_mm / self.u_before_mm

    @property
    def text(self) -> str:
        """One plain sentence."""
        verb = "read again" if self.repeat else "read"
        return (
            f"{verb} {self.reading.label}: {self.parameter} would be uncertain by "
            f"{2 * self.u_after_mm:.3g} instead of {2 * self.u_before_mm:.3g} (two standard "
            "uncertainties)"
        )


def _planned(
    form: Form,
    axis: str,
    drawn_mm: float,
    slices: int | None = None,
    contour: str = "",
    u_mm: float | None = None,
) -> Reading:
    return Reading(
        form=form,
        axis=axis,  # type: ignore[arg-type]
        drawn_mm=drawn_mm,
        values_mm=(0.0 if form is Form.DIFFERENCE else drawn_mm,),
        slices=slices,
        contour=contour,
        u_mm=u_mm,
    )


def standard_candidates(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Readings worth thinking of: missing partners, missing features of the full gauge, strips.

    A stack without its window gets that window as a candidate, and the other way round.
    """
    out: list[Reading] = []
    have = {(r.form, r.axis, r.drawn_mm) for r in readings}
    for axis in ("x", "y"):
        mine = [r for r in readings if r.axis == axis and not r.turned]
        stacks = {r.contour: r for r in mine if r.form is Form.STACK and r.contour}
        windows = {r.contour: r for r in mine if r.form is Form.WINDOW and r.contour}
        for contour, r in stacks.items():
            if contour not in windows and r.cut_ends == 2:
                out.append(_planned(Form.WINDOW, axis, r.drawn_mm, contour=contour))
        length, slices = _WINDOW[axis]
        for contour, r in windows.items():
            if contour not in stacks:
                n = round(r.drawn_mm * slices / length)
                if n >= _LEAST_SLICES:  # else the window's own slices lie along the other axis
                    out.append(_planned(Form.STACK, axis, r.drawn_mm, n, contour))
        if not stacks:
            out.append(_planned(Form.STACK, axis, length, slices))
        if not windows:
            out.append(_planned(Form.WINDOW, axis, length))
        if (Form.PLUG, axis, _OUTER[axis]) not in have:
            out.append(_planned(Form.PLUG, axis, _OUTER[axis]))
        if not any(r.form is Form.STRIP for r in mine):
            out.append(_planned(Form.STRIP, axis, _STRIP_MM, u_mm=_STRIP_U_MM))
    if not any(r.form is Form.DIFFERENCE for r in readings):
        out.append(_planned(Form.DIFFERENCE, "x", _STRIP_MM, u_mm=_DIFFERENCE_U_MM))
    return tuple(out)


def advise(
    readings: tuple[Reading, ...],
    prior: KerfPrior,
    caliper: Caliper,
    *,
    edge_sd_mm: float,
    hand_mm: float | None = None,
    parameter: str | None = None,
    candidates: tuple[Reading, ...] | None = None,
) -> tuple[Advice, ...]:
    """Try each candidate reading, best first.

    Parameters
    ----------
    readings
        What was read so far (turned stacks are ignored).
    edge_sd_mm
        Standard deviation of the place of one cut edge, mm.
    hand_mm
        Scatter of the hand, mm; ``None``: the caliper's assumed one.
    parameter
        A kerf or a scale; ``None``: the kerf with the larger uncertainty.
    candidates
        New features to try; ``None``: :func:`standard_candidates`. Reading each present feature
        once more is always tried as well.

    Returns
    -------
    tuple of Advice
        Sorted by the uncertainty that would remain.
    """
    now = tuple(r for r in readings if not r.turned)
    fresh = standard_candidates(now) if candidates is None else candidates
    n = len(now)
    repeats = [i for i, r in enumerate(now) if r.u_mm is None]
    rows = rows_of(now + fresh, single=False)
    take = np.array(repeats + list(range(n, n + len(fresh))), dtype=np.intp)
    noise, _ = noise_covariance(
        rows,
        hand_mm=caliper.s0_mm if hand_mm is None else hand_mm,
        rounding_mm=caliper.rounding_mm,
        edge_sd_mm=edge_sd_mm,
    )
    a, s = rows.design, prior.covariance
    joint = noise + a @ s @ a.T
    old, cross = joint[:n, :n], s @ a[:n].T
    gain_old = np.linalg.solve(old, cross.T).T if n else np.zeros((9, 0))
    covariance = s - gain_old @ cross.T

    one = (caliper.s0_mm if hand_mm is None else hand_mm) ** 2 + caliper.rounding_mm**2
    shared = edge_sd_mm**2 * (rows.edges @ rows.edges.T) + a @ s @ a.T
    # a new value: its covariance with the old rows, with the parameters, and its own variance
    with_old = np.where((take < n)[:, None], shared[take][:, :n], joint[take][:, :n])
    own = np.where(take < n, np.diag(shared)[take] + one, np.diag(joint)[take])
    with_parameters = s @ a[take].T
    if n:
        weights = np.linalg.solve(old, with_old.T)
        own = own - (with_old.T * weights).sum(axis=0)
        with_parameters = with_parameters - cross @ weights
    after = np.diag(covariance)[:, None] - with_parameters**2 / own

    j = _index(parameter, covariance)
    before = float(np.sqrt(covariance[j, j]))
    everything = now + fresh
    found = [
        Advice(
            reading=everything[i],
            repeat=bool(i < n),
            parameter=PARAMETERS[j],
            u_before_mm=before,
            u_after_mm=float(np.sqrt(after[j, c])),
        )
        for c, i in enumerate(take.tolist())
    ]
    return tuple(sorted(found, key=lambda f: f.u_after_mm))


def _index(parameter: str | None, covariance: Floats) -> int:
    if parameter is None:
        return KX if covariance[KX, KX] >= covariance[KY, KY] else KY
    j = PARAMETERS.index(parameter)
    if j not in (KX, KY, EX, EY):
        raise ValueError(f"no advice on {parameter}")
    return j
