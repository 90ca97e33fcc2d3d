"""A virtual bench: gauges and combs read by a hand with known errors; the truth is hidden in it.

The sizes come from the words of the gauge, part by part (what the beam left between two edges), and
not from the design rows of the estimator.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from boxjoint.gauge.assumed import CombAssumed
from boxjoint.gauge.comb import (
    CombResult,
    Slot,
    Verdict,
    comb_start,
    comb_update,
    next_comb,
    slot_positions,
    target_of,
)
from boxjoint.gauge.readings import Form, Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What the bench knows and the estimator does not; mm."""

    kerf: dict[str, float]
    scale: dict[str, float]
    backlash: dict[str, float]
    zero_outside: float
    zero_inside: float
    gap: float
    taper: float = 0.0

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Truth:
        """Draw a truth from the assumed prior."""
        kerf, half = rng.normal(0.20, 0.15), 0.5 * rng.normal(0.0, 0.03)
        return cls(
            kerf={"x": kerf + half, "y": kerf - half},
            scale={a: 1 + rng.normal(0, 2e-3) for a in "xy"},
            backlash={a: rng.normal(0, 0.02) for a in "xy"},
            zero_outside=rng.normal(0, 0.010),
            zero_inside=rng.normal(0, 0.010),
            gap=rng.normal(0.008, 0.006),
        )


def plan(
    form: Form,
    axis: str,
    drawn: float,
    repeats: int = 1,
    contour: str = "",
    slices: int | None = None,
    u: float | None = None,
) -> Reading:
    """A reading still to be taken; its values are placeholders."""
    value = 0.0 if form is Form.DIFFERENCE else drawn
    return Reading(
        form=form,
        axis=axis,  # type: ignore[arg-type]
        drawn_mm=drawn,
        values_mm=(value,) * repeats,
        slices=slices,
        contour=contour,
        u_mm=u,
    )


def three_a_side(repeats: int) -> tuple[Reading, ...]:
    """Outer, window and stack per axis: G1 with two repeats, G3 (the quick gauge) with one."""
    out = []
    for axis, outer, window in (("x", 100, 72), ("y", 60, 50)):
        out += [
            plan(Form.PLUG, axis, outer, repeats),
            plan(Form.WINDOW, axis, window, repeats, f"window {axis}"),
            plan(Form.STACK, axis, window, repeats, f"window {axis}", 8),
        ]
    return tuple(out)


def full_gauge() -> tuple[Reading, ...]:
    """G2: ten features, twelve readings."""
    out = []
    for axis, other, outer, window in (("x", "y", 100, 72), ("y", "x", 60, 50)):
        out += [
            plan(Form.PLUG, axis, outer),
            plan(Form.WINDOW, axis, window, 1, f"window {axis}"),
            plan(Form.STACK, axis, window, 2, f"window {axis}", 8),
            plan(Form.WINDOW, axis, 12, 1, f"window {other}"),
            plan(Form.PLUG, axis, 12, 1, f"window {other}"),
        ]
    return tuple(out)


def pairs() -> tuple[Reading, ...]:
    """A plug with its hole along each axis, all read twice: 8 readings."""
    return tuple(
        plan(form, axis, 40.0, 2, "square") for axis in "xy" for form in (Form.PLUG, Form.HOLE)
    )


def take(
    plans: tuple[Reading, ...],
    truth: Truth,
    rng: np.random.Generator,
    *,
    hand: float = 0.025,
    edge: float = 0.02,
    step: float = 0.02,
) -> tuple[Reading, ...]:
    """Cut the gauge and read it: two edges for every contour, one slip of the hand for every value."""
    edges: dict[object, float] = {}

    def error(key: object) -> float:
        if key not in edges:
            edges[key] = rng.normal(0, edge) + rng.normal(0, edge)
        return edges[key]

    def part(drawn: float, axis: str, key: object) -> float:
        return drawn * truth.scale[axis] - truth.kerf[axis] - truth.backlash[axis] + error(key)

    out = []
    for i, p in enumerate(plans):
        key = (p.contour, p.axis) if p.contour else i
        kerf, n = truth.kerf[p.axis], p.slices or 0
        if p.form is Form.DIFFERENCE:
            size = part(p.drawn_mm, "x", (i, "x")) - part(p.drawn_mm, "y", (i, "y"))
        elif p.form in (Form.HOLE, Form.WINDOW):
            # the plug that fell out, and a kerf on each side of it
            size = part(p.drawn_mm, p.axis, key) + 2 * kerf
        elif p.form is Form.STACK:
            # the plug sawn through n - 1 times; turned over alternately, every touching pair closes
            # the half taper that gaped at each inner cut
            cuts = (n - 1) * (kerf + (0.5 * truth.taper if p.turned else 0.0))
            size = part(p.drawn_mm, p.axis, key) - cuts + (n - 1) * truth.gap
        else:
            size = part(p.drawn_mm, p.axis, key)
        if p.u_mm is not None:
            values = tuple(size + rng.normal(0, p.u_mm) for _ in p.values_mm)
        else:
            zero = truth.zero_inside if p.form.inside_jaws else truth.zero_outside
            values = tuple(
                step * round((size + zero + rng.normal(0, hand)) / step) for _ in p.values_mm
            )
        out.append(replace(p, values_mm=values))
    return tuple(out)


def spoil(
    readings: tuple[Reading, ...], rng: np.random.Generator, fault: str
) -> tuple[Reading, ...]:
    """Put an error of 0.1 to 1 mm on ``one`` value, ``two`` values, or a whole ``feature``."""

    def slip() -> float:
        return float(rng.uniform(0.1, 1.0) * rng.choice([-1, 1]))

    places = [(i, j) for i, r in enumerate(readings) for j in range(len(r.values_mm))]
    if fault == "feature":
        i = int(rng.choice([i for i, r in enumerate(readings) if len(r.values_mm) > 1]))
        off = slip()
        changes = {(i, j): off for j in range(len(readings[i].values_mm))}
    else:
        count = {"none": 0, "one": 1, "two": 2}[fault]
        chosen = rng.choice(len(places), size=count, replace=False)
        changes = {places[c]: slip() for c in chosen}
    return tuple(
        replace(r, values_mm=tuple(v + changes.get((i, j), 0.0) for j, v in enumerate(r.values_mm)))
        for i, r in enumerate(readings)
    )


def comb_shop(
    rng: np.random.Generator,
    *,
    u_kerf: float,
    theta_sd: float,
    slots: int = 9,
    own_tab: bool = True,
    rounds: int = 3,
    fixed_step: float | None = None,
    fit: str = "snug",
    assumed: CombAssumed | None = None,
    theta_offset: float | None = None,
    edge: float = 0.02,
    on_round: Callable[[CombResult], None] | None = None,
) -> list[tuple[float, float, bool]]:
    """One shop with hidden thresholds cuts combs: (error, sd, covered by the interval) by round."""
    a = assumed or CombAssumed(theta2_sd_mm=theta_sd)
    fuzz = a.fuzz_mm * math.exp(a.fuzz_log_sd * rng.normal())
    state = comb_start(kerf_mm=0.2, u_kerf_mm=u_kerf, assumed=a)
    off = rng.normal(0, math.hypot(theta_sd, 2 * u_kerf)) if theta_offset is None else theta_offset
    phi2 = -0.4 + off
    phi = np.array(
        [
            phi2 - 0.10 * math.exp(0.35 * rng.normal()),
            phi2,
            phi2 + 0.12 * math.exp(0.35 * rng.normal()),
        ]
    )
    wanted = float(target_of(phi, fit, a))
    coming = next_comb(state, fit, slots=slots, own_tab=own_tab)
    out = []
    for _ in range(rounds):
        x = np.array(coming.x_mm if fixed_step is None else slot_positions(-0.4, fixed_step, slots))
        # a slot has two edges, a tab has two; one tab for all slots shares its two
        noise = edge * math.sqrt(2) * rng.normal(size=slots) + fuzz * rng.normal(size=slots)
        tab = edge * math.sqrt(2) * rng.normal(size=slots if own_tab else 1)
        felt = (x + noise + tab)[:, None] > phi
        cut = [
            Slot(x_mm=float(v), verdict=Verdict(int(n)))
            for v, n in zip(x, felt.sum(axis=1), strict=True)
        ]
        result = comb_update(state, cut, own_tab=own_tab, fit=fit)
        if on_round is not None:
            on_round(result)
        state, coming = result.state, result.next_comb
        answer = result.answer
        covered = answer.low_mm <= wanted <= answer.high_mm
        out.append((answer.x_mm - wanted, answer.sd_mm, covered))
    return out
