"""From sheets to work: every sheet's cut sequence, the time it takes, and what an order costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from boxjoint.order.bridges import bridge_ask, bridge_notes, bridge_warnings
from boxjoint.order.cuts import SheetCuts, sequenced
from boxjoint.order.records import Laid
from boxjoint.sheet.nest import Progress
from boxjoint.sheet.price import Quote, Rates, Work, price_of
from boxjoint.sheet.timing import (
    Counts,
    Estimate,
    Logged,
    Pace,
    counts_of,
    fit_times,
    model_seconds,
)

__all__ = ["Planned", "plan_order", "quote_of"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Planned:
    """An order on its sheets with the sequence and the time of each.

    Parameters
    ----------
    cuts, counts, times
        One for each sheet.
    total, counted
        Of the whole order.
    pace
        How the machine was taken to move.
    """

    laid: Laid
    cuts: tuple[SheetCuts, ...]
    counts: tuple[Counts, ...]
    times: tuple[Estimate, ...]
    total: Estimate
    counted: Counts
    pace: Pace


def plan_order(
    laid: Laid,
    *,
    pace: Pace | None = None,
    logged: Sequence[Logged] = (),
    progress: Progress | None = None,
) -> Planned:
    """Put the cuts of every sheet in sequence and estimate the time.

    Parameters
    ----------
    pace
        How the machine moves; ``None``: assumed.
    logged
        Jobs of the same machine with the same settings; with some the time is fitted to them.
    """
    pace = pace or Pace.of()
    fitted = fit_times(pace, logged) if logged else None
    cuts, counts, times = [], [], []
    nesting = laid.order.nesting
    bridges = bridge_ask(nesting)
    for k, sheet in enumerate(laid.sheets):
        if progress is not None:
            progress(f"cut sequence of {sheet.name}", k / len(laid.sheets))
        found = sequenced(sheet, bridges=bridges)
        held = counts_of(found.cuts, found.found)
        cuts.append(found)
        counts.append(held)
        times.append(
            model_seconds(found.cuts, found.found, pace) if fitted is None else fitted.predict(held)
        )
    counted = counts[0]
    for more in counts[1:]:
        counted += more
    if fitted is not None:
        total = fitted.predict(counted)
    else:
        total = replace(
            times[0],
            seconds=sum(t.seconds for t in times),
            band=(sum(t.band[0] for t in times), sum(t.band[1] for t in times)),
            parts={k: sum(t.parts[k] for t in times) for k in times[0].parts},
        )
    needing = [h for c in cuts for h in c.held]
    told = [bridge_warnings(c.held, s.name) for c, s in zip(cuts, laid.sheets, strict=True)]
    laid = replace(
        laid,
        notes=(*laid.notes, *bridge_notes(needing, nesting, laid.order.unit)),
        warnings=(*laid.warnings, *(w for lines in told for w in lines)),
    )
    return Planned(
        laid=laid,
        cuts=tuple(cuts),
        counts=tuple(counts),
        times=tuple(times),
        total=total,
        counted=counted,
        pace=pace,
    )


def quote_of(planned: Planned, rates: Rates) -> Quote:
    """Return the price of a planned order.

    The last sheet of each kind is charged by what is used up of it, since the rest is kept; the others
    whole, their waste with them.
    """
    laid = planned.laid
    joints = sum(
        len(b.solution.joints) * line.quantity
        for b, line in zip(laid.built, laid.order.lines, strict=True)
    )
    used: dict[str, list[float]] = {}
    for sheet in laid.sheets:
        used.setdefault(sheet.nested.stock.name, []).append(sheet.nested.used)
    sheets = tuple((name, len(shares) - 1 + shares[-1]) for name, shares in used.items())
    return price_of(
        Work(
            boxes=laid.order.boxes,
            panels=sum(len(s.copies) for s in laid.sheets),
            joints=joints,
            edge_mm=planned.counted.cut_mm,
            machine_s=planned.total.seconds,
            band_s=planned.total.band,
            sheets=sheets,
            loads=len(laid.sheets),
        ),
        rates,
    )
