"""From sheets to work: every sheet's cut sequence, the time it takes, and what an order costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from boxjoint.order.bridges import bridge_ask, bridge_notes, bridge_warnings
from boxjoint.order.cuts import SheetCuts, sequenced
from boxjoint.order.records import Laid, LaidSheet
from boxjoint.sheet.lead_in import LeadInAsk
from boxjoint.sheet.nest import Progress
from boxjoint.sheet.price import Quote, Rates, Work, price_of
from boxjoint.sheet.timing import (
    Counts,
    Estimate,
    Logged,
    Pace,
    counts_of,
    engrave_seconds,
    fit_times,
    model_seconds,
)
from boxjoint.units import both

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
        found = sequenced(sheet, bridges=bridges, lead_in=_lead_ins(laid, sheet))
        filled = engrave_seconds(sheet.engraved_blocks, pace)
        held = counts_of(found.cuts, found.found, engrave_s=filled)
        cuts.append(found)
        counts.append(held)
        times.append(
            model_seconds(found.cuts, found.found, pace, engrave_s=filled)
            if fitted is None
            else fitted.predict(held)
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
        notes=(
            *laid.notes,
            *bridge_notes(needing, nesting, laid.order.unit),
            *_leads_said(laid, cuts),
        ),
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


def _lead_ins(laid: Laid, sheet: LaidSheet) -> LeadInAsk | None:
    """What lead-ins keep clear of on one sheet: what every cut path does."""
    length = laid.order.nesting.lead_in
    if length is None:
        return None
    ask, stock = laid.ask, sheet.nested.stock
    right, top = stock.width - ask.margin, stock.height - ask.margin
    if ask.bed is not None:
        right, top = min(right, ask.bed.width), min(top, ask.bed.height)
    return LeadInAsk(
        length=length,
        clear=ask.spacing,
        area=(ask.margin, ask.margin, right, top),
        keep_outs=tuple(
            (k.x, k.y, k.x + k.width, k.y + k.height) for k in (*stock.keep_outs, *ask.keep_outs)
        ),
    )


def _leads_said(laid: Laid, cuts: Sequence[SheetCuts]) -> tuple[str, ...]:
    """How many outlines start in the waste."""
    length = laid.order.nesting.lead_in
    if length is None:
        return ()
    got = sum(c.leads[0] for c in cuts if c.leads)
    missing = sum(c.leads[1] for c in cuts if c.leads)
    said = f"{got} outlines have a lead-in of {both(length, laid.order.unit)} (asked)"
    if missing:
        said += f"; on {missing} there is no room for one clear of everything else: they start on the outline"
    return (said,)


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
