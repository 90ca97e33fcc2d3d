"""Plots of readings, estimates and combs: SVG or PNG, the same bytes for the same figures.

Drawn with matplotlib, an extra (``plot``) that is loaded only when a plot is asked for. Axes have
colours of their own, and different marks and lines as well, so that no plot needs its colours.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np

from boxjoint import __version__
from boxjoint.errors import InputError, MissingExtra
from boxjoint.export.palette import PENS
from boxjoint.gauge.comb import CombResult, Verdict
from boxjoint.gauge.estimate import KerfFit
from boxjoint.gauge.model import design_row
from boxjoint.gauge.readings import Form, Reading
from boxjoint.geometry.drawing import Layer

__all__ = [
    "Believed",
    "plot_comb",
    "plot_history",
    "plot_readings",
    "require_plot",
    "residuals_mm",
]

_X, _Y = PENS[Layer.CUT_OUTER].rgb, PENS[Layer.CUT_INNER].rgb
_PLAIN, _SURE = PENS[Layer.REFERENCE].rgb, PENS[Layer.MARK].rgb
_MARK: Final = {"x": "o", "y": "s"}
_COLOUR: Final = {"x": _X, "y": _Y}
_NORMAL_975: Final = 1.959963984540054


class Believed(Protocol):
    """What a plot over time needs of each point: date, both kerfs and what was flagged."""

    @property
    def at(self) -> datetime: ...  # noqa: D102
    @property
    def kind(self) -> str: ...  # noqa: D102
    @property
    def kerf_x(self) -> float: ...  # noqa: D102
    @property
    def kerf_y(self) -> float: ...  # noqa: D102
    @property
    def u_kerf_x(self) -> float: ...  # noqa: D102
    @property
    def u_kerf_y(self) -> float: ...  # noqa: D102
    @property
    def flags(self) -> tuple[str, ...]: ...  # noqa: D102


def require_plot(path: Path) -> str:
    """Return ``svg`` or ``png`` for a path, before any work is done.

    Raises
    ------
    InputError
        Another ending.
    MissingExtra
        matplotlib is not installed; says how to get it.
    """
    kind = path.suffix.lower().lstrip(".")
    if kind not in ("svg", "png"):
        raise InputError(
            "a plot is written as SVG or PNG", where=str(path), do="end its name in .svg or .png"
        )
    if find_spec("matplotlib") is None:
        raise MissingExtra(
            "plots need matplotlib, which is not installed", do="pip install 'boxjoint[plot]'"
        )
    return kind


def _figure(width: float, height: float, rows: int, ratios: Sequence[float]) -> tuple[Any, Any]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(rows, 1, squeeze=False, gridspec_kw={"height_ratios": list(ratios)})
    for ax in axes[:, 0]:
        ax.grid(True, color="#d9d9d9", linewidth=0.5)
        ax.set_axisbelow(True)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
    return figure, axes[:, 0]


def _written(figure: Any, kind: str) -> bytes:
    import matplotlib

    out = io.BytesIO()
    # a fixed salt and no date: the same figures give the same bytes
    with matplotlib.rc_context({"svg.hashsalt": "boxjoint", "svg.fonttype": "path"}):
        metadata: dict[str, str | None] = {"Title": figure.get_label() or "boxjoint"}
        if kind == "svg":
            metadata |= {"Date": None, "Creator": f"boxjoint {__version__}"}
        else:
            metadata |= {"Software": f"boxjoint {__version__}"}
        figure.savefig(out, format=kind, dpi=120, metadata=metadata)
    return out.getvalue()


# ---- readings --------------------------------------------------------------------------------


def residuals_mm(fit: KerfFit) -> tuple[tuple[Reading, tuple[float, ...]], ...]:
    """Return each reading with what its values lie above the estimate, mm."""
    out = []
    for r in fit.readings:
        start = 0.0 if r.form is Form.DIFFERENCE else r.drawn_mm
        expected = start + float(np.asarray(design_row(r)) @ fit.mean)
        out.append((r, tuple(v - expected for v in r.values_mm)))
    return tuple(out)


def plot_readings(fit: KerfFit, kind: str, *, hand_mm: float, title: str = "") -> bytes:
    """Plot the residuals of all readings, and both kerfs with their bands.

    Parameters
    ----------
    kind
        ``svg`` or ``png``, as :func:`require_plot` returns it.
    hand_mm
        Standard deviation of one value, mm: the band behind the residuals is twice this.
    title
        What was measured.
    """
    rows = residuals_mm(fit)
    n = max(len(rows), 1)
    figure, (upper, lower) = _figure(7.0, 2.6 + 0.28 * n, 2, (n + 1.5, 2.2))
    figure.set_label(title or "Readings")
    upper.axvspan(-2 * hand_mm, 2 * hand_mm, color="#ececec", zorder=0)
    upper.axvline(0.0, color=_PLAIN, linewidth=1.0)
    for i, (reading, off) in enumerate(rows):
        own = reading.u_mm or 0.0
        for value in off:
            upper.errorbar(
                [value],
                [i],
                xerr=[2 * own] if own else None,
                fmt=_MARK[reading.axis],
                color=_COLOUR[reading.axis],
                markeredgecolor="#333333",
                markersize=6,
                linestyle="none",
            )
    upper.set_yticks(range(len(rows)), [_short(r) for r, _ in rows])
    upper.set_ylim(len(rows) - 0.4, -0.6)
    upper.set_xlabel("read minus estimated, mm (grey: two standard deviations of the hand)")
    upper.set_title(title or "Readings", loc="left", fontsize=11)
    for place, axis in enumerate(("x", "y")):
        kerf = fit.estimate(f"kerf_{axis}")
        lower.errorbar(
            [kerf.value],
            [place],
            xerr=[[kerf.value - kerf.low], [kerf.high - kerf.value]],
            fmt=_MARK[axis],
            color=_COLOUR[axis],
            markeredgecolor="#333333",
            capsize=5,
            linewidth=2.0,
        )
        note = f"{kerf.value:.3f} +-{kerf.U:.3f} mm" + ("" if kerf.measured else ", ASSUMED")
        lower.annotate(note, (kerf.value, place), (0, 9), textcoords="offset points", ha="center")
    lower.set_yticks((0, 1), ("kerf_x", "kerf_y"))
    lower.set_ylim(1.6, -0.9)
    lower.margins(x=0.25)
    lower.set_xlabel("full kerf, mm, with its 95 % interval")
    return _written(figure, kind)


def _short(r: Reading) -> str:
    size = f"{r.drawn_mm:g}" + (f"/{r.slices}" if r.slices else "")
    return f"{r.form} {r.axis} {size}"


# ---- combs -----------------------------------------------------------------------------------


def plot_comb(result: CombResult, kind: str, *, title: str = "") -> bytes:
    """Plot all verdicts over the clearance as drawn, and the clearance of each fit with its band."""
    figure, (upper, lower) = _figure(7.0, 4.6, 2, (1.0, 1.0))
    figure.set_label(title or "Fit comb")
    words = [v.name.lower() for v in Verdict]
    marks = ("o", "s", "^", "D", "v", "P")
    for number, one in enumerate(result.state.rounds):
        tried = one.tried
        upper.plot(
            [s.x_mm for s in tried],
            [int(s.verdict or 0) for s in tried],
            linestyle="none",
            marker=marks[number % len(marks)],
            color=(_X, _Y, _PLAIN)[number % 3],
            markeredgecolor="#333333",
            label=f"round {number + 1}",
        )
    answer = result.answer
    for ax in (upper, lower):
        ax.axvspan(answer.low_mm, answer.high_mm, color=_SURE, alpha=0.18, linewidth=0)
        ax.axvline(answer.x_mm, color=_SURE, linewidth=1.2)
    upper.set_yticks(range(len(words)), words)
    upper.set_ylim(-0.5, 3.5)
    if len(result.state.rounds) > 1:
        upper.legend(loc="upper left", fontsize=8)
    upper.set_title(title or "Fit comb", loc="left", fontsize=11)
    names = list(result.answers)
    for place, name in enumerate(names):
        a = result.answers[name]
        lower.errorbar(
            [a.x_mm],
            [place],
            xerr=[[a.x_mm - a.low_mm], [a.high_mm - a.x_mm]],
            fmt="o",
            color=_SURE if name == result.fit else _PLAIN,
            markeredgecolor="#333333",
            capsize=4,
        )
    lower.set_yticks(range(len(names)), names)
    lower.set_ylim(-0.6, len(names) - 0.4)
    lower.sharex(upper)
    lower.set_xlabel("drawn slot less drawn tab, mm, with 95 % intervals")
    return _written(figure, kind)


# ---- over time -------------------------------------------------------------------------------


def plot_history(records: Sequence[tuple[str, Sequence[Believed]]], kind: str) -> bytes:
    """Plot the kerf of records over time, one below the other, each with its band of 95 %.

    Parameters
    ----------
    records
        (name, points oldest first) of each; at least one point each.
    """
    from matplotlib import dates as mdates

    ticks: Any = mdates  # its classes have no types

    figure, axes = _figure(7.0, 0.6 + 2.9 * len(records), len(records), [1.0] * len(records))
    figure.set_label("Kerf over time")
    for ax, (name, points) in zip(axes, records, strict=True):
        dates = [p.at.replace(tzinfo=None) for p in points]
        for axis in ("x", "y"):
            kerf = [float(getattr(p, f"kerf_{axis}")) for p in points]
            half = [_NORMAL_975 * float(getattr(p, f"u_kerf_{axis}")) for p in points]
            ax.errorbar(
                dates,
                kerf,
                yerr=half,
                color=_COLOUR[axis],
                marker=_MARK[axis],
                markeredgecolor="#333333",
                linestyle="-" if axis == "x" else "--",
                capsize=3,
                label=f"kerf_{axis}",
            )
        top = max(
            v + _NORMAL_975 * u
            for p in points
            for v, u in ((p.kerf_x, p.u_kerf_x), (p.kerf_y, p.u_kerf_y))
        )
        for p, date in zip(points, dates, strict=True):
            if p.flags:
                ax.annotate(
                    " ".join(p.flags),
                    (date, top),
                    (0, 3),
                    textcoords="offset points",
                    fontsize=8,
                    ha="center",
                    color=_PLAIN,
                )
        ax.set_title(name, loc="left", fontsize=10)
        ax.set_ylabel("full kerf, mm")
        locator = ticks.AutoDateLocator(minticks=2, maxticks=7)
        ax.xaxis.set_major_locator(locator)
        ax.xaxis.set_major_formatter(ticks.ConciseDateFormatter(locator))
        ax.margins(x=0.08, y=0.15)
        ax.legend(loc="best", fontsize=8)
        if dates[-1] - dates[0] < timedelta(days=4):  # days, never hours or seconds, on the axis
            ax.set_xlim(dates[0].toordinal() - 719163 - 3, dates[-1].toordinal() - 719163 + 4)
    return _written(figure, kind)
