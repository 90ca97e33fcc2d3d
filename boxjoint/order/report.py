"""The report of an order: plain data for programs (``order.json``), and text for people.

Lengths are mm. Every figure says whether it was asked, measured, assumed or computed.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from boxjoint import __version__
from boxjoint.job.records import Thickness, Unit
from boxjoint.order.cuts import SheetCuts
from boxjoint.order.plan import Planned
from boxjoint.order.records import Copy, LaidSheet
from boxjoint.sheet.price import Quote
from boxjoint.sheet.timing import Counts, Estimate
from boxjoint.units import both

__all__ = [
    "ORDER_VERSION",
    "minutes",
    "order_data",
    "order_json",
    "order_text",
    "quote_text",
    "summary_rows",
    "time_text",
]

#: Version of ``order.json``; a later program reads earlier ones.
ORDER_VERSION = 1


def _mm(nm: float) -> float:
    return round(float(nm) / 1e6, 6)


def _computed(value: float, unit: str = "mm") -> dict[str, Any]:
    return {"value": round(value, 6), "unit": unit, "source": "computed"}


def order_data(planned: Planned) -> dict[str, Any]:
    """Return the report as plain data, ready for JSON."""
    laid = planned.laid
    order, nest = laid.order, laid.nest
    own = {
        line.group: (line.job.stock.material, line.job.stock.thickness.nm) for line in order.lines
    }
    return {
        "order": ORDER_VERSION,
        "program": f"boxjoint {__version__}",
        "title": order.title,
        "customer": order.customer,
        "note": order.note,
        "unit": order.unit,
        "file": order.path,
        "lines": [
            {
                "job": line.job.path,
                "name": line.group,
                "quantity": line.quantity,
                "shop": {
                    "machine": line.job.shop.machine,
                    "sheet": line.job.shop.sheet,
                    "settings": line.job.shop.settings,
                },
                "inside": [
                    {"asked": _mm(i.asked), "least": _mm(i.least), "greatest": _mm(i.greatest)}
                    for i in built.insides
                    if i.by_panel
                ],
                "warnings": list(built.warnings),
            }
            for line, built in zip(order.lines, laid.built, strict=True)
        ],
        "nest": {
            "spacing": _mm(laid.ask.spacing),
            "margin": _mm(laid.ask.margin),
            "level": nest.level,
            "seed": nest.seed,
            "sheets": len(nest.sheets),
            "bound": _computed(nest.bound, "sheets"),
            "equivalent": _computed(nest.equivalent, "sheets"),
            "notes": list(laid.notes),
            "left": [{"sheet": s.stock.name, "count": s.count} for s in nest.left],
        },
        "sheets": [
            _sheet(s, own) | {"work": _work(c, t), "bridges": _bridges(k)}
            for s, c, t, k in zip(
                laid.sheets, planned.counts, planned.times, planned.cuts, strict=True
            )
        ],
        "work": _work(planned.counted, planned.total),
        "pace": {
            name: getattr(planned.pace, name).as_json()
            for name in ("cut", "mark", "travel", "acceleration", "pierce", "engrave", "row")
        }
        | {"passes": planned.pace.passes},
        "proofs": {
            "boxes": all(b.passed for b in laid.built),
            "nest": True,  # checked independently; a nest that fails is never returned
            "sheets_as_cut": not laid.faults,
            "faults": list(laid.faults),
        },
        "warnings": list(laid.warnings),
    }


def _work(counts: Counts, time: Estimate) -> dict[str, Any]:
    return {
        "cut": _computed(counts.cut_mm),
        "mark": _computed(counts.mark_mm),
        "travel": _computed(counts.travel_mm),
        "engrave": _computed(counts.engrave_s, "s"),
        "pierces": counts.pierces,
        "corners": counts.corners,
        "sheets": counts.sheets,
        "time": {
            "value": round(time.seconds, 3),
            "unit": "s",
            "source": "computed",
            "least": round(time.band[0], 3),
            "greatest": round(time.band[1], 3),
            "how": time.how,
        },
    }


def _bridges(cuts: SheetCuts) -> list[dict[str, Any]]:
    """Panels that can fall or tip: how many bridges they need, and where those are that they got."""
    return [
        {
            "panel": copy.number,
            "needed": count,
            "at": [
                {
                    "x": _mm(b.at[0]),
                    "y": _mm(b.at[1]),
                    "gap_drawn": _computed(_mm(b.high - b.low)),
                    "hidden": b.hidden,
                }
                for b in found
            ],
        }
        for copy, count, found in cuts.held
    ]


def _sheet(sheet: LaidSheet, own: Mapping[str, tuple[str, int]]) -> dict[str, Any]:
    stock = sheet.nested.stock
    of_job = all(
        own[c.group] == (c.placement.item.material, c.placement.item.thickness)
        for c in sheet.copies
    )
    return {
        "name": sheet.name,
        "stock": stock.name,
        "size": [_mm(stock.width), _mm(stock.height)],
        "material": stock.material,
        "thickness": _mm(stock.thickness),
        "offcut": stock.offcut,
        # whether all its panels are cut from the stock that their job names in the shop book
        "stock_of_job": of_job,
        "fill": _computed(sheet.nested.fill, "share"),
        "used": _computed(sheet.nested.used, "share"),
        "cut_length": _computed(sheet.cut_length_mm),
        "remains": [
            {"x": _mm(x), "y": _mm(y), "width": _mm(w), "height": _mm(h)}
            for x, y, w, h in sheet.nested.remains
        ],
        "panels": [_copy(c) for c in sheet.copies],
    }


def _copy(copy: Copy) -> dict[str, Any]:
    beam, plan = copy.piece.drawn.beam, copy.piece.built.plan
    place = copy.placement
    return {
        "number": copy.number,
        "job": copy.group,
        "panel": copy.name,
        "copy": place.copy,
        "x": _mm(place.x),
        "y": _mm(place.y),
        "turned": 90 * place.quarters,
        "up": place.item.face_up,
        "in_window_of": None if place.host is None else place.host + 1,
        "kerf": {
            "x": {"value": beam.kerf.x, "unit": "mm", "source": str(plan.kerf_x.source)},
            "y": {"value": beam.kerf.y, "unit": "mm", "source": str(plan.kerf_y.source)},
        },
        "scale": {"x": beam.scale.x, "y": beam.scale.y},
    }


def order_json(planned: Planned) -> str:
    """Return the report as JSON text, the same for the same order."""
    return json.dumps(order_data(planned), indent=1, ensure_ascii=False) + "\n"


def minutes(seconds: float) -> str:
    """``2 h 05 min``, ``12 min``, ``40 s``: a time as people read it."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    whole = round(seconds / 60)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"


def time_text(time: Estimate) -> str:
    """The time with its band and where it comes from."""
    low, high = time.band
    return f"{minutes(time.seconds)} ({minutes(low)} to {minutes(high)}; {time.how})"


def summary_rows(planned: Planned) -> list[list[str]]:
    """Return a line a sheet for people: name, stock, panels, share used, time, what remains."""
    laid = planned.laid
    unit = laid.order.unit
    rows = []
    for sheet, time in zip(laid.sheets, planned.times, strict=True):
        stock = sheet.nested.stock
        kept = ", ".join(_short(w, h, unit) for _, _, w, h in sheet.nested.remains[:2])
        rows.append(
            [
                sheet.name,
                stock.name,
                str(len(sheet.copies)),
                f"{sheet.nested.used:.0%}",
                minutes(time.seconds),
                kept or "nothing",
            ]
        )
    return rows


def _short(width: int, height: int, unit: Unit) -> str:
    """A size of waste: whole millimetres, or tenths of an inch, rounded down."""
    if unit == "in":
        return f"{width // 2_540_000 / 10:.1f} x {height // 2_540_000 / 10:.1f} in"
    return f"{width // 1_000_000} x {height // 1_000_000} mm"


def _engraved(planned: Planned) -> str:
    seconds, pace = planned.counted.engrave_s, planned.pace
    if not seconds:
        return ""
    return (
        f" Engraved: {sum(len(s.engraved) for s in planned.laid.sheets)} marks, {minutes(seconds)} "
        f"(computed from rows {pace.row.value:g} mm apart ({pace.row.standing}) at "
        f"{pace.engrave.value:g} mm/s ({pace.engrave.standing}))."
    )


def order_text(planned: Planned) -> str:
    """Return the report for people, Markdown."""
    laid = planned.laid
    order, nest = laid.order, laid.nest
    lines = [f"# {order.title}", ""]
    if order.customer:
        lines += [f"For {order.customer}.", ""]
    lines += ["| job | boxes |", "|---|---|"]
    lines += [f"| {line.group} | {line.quantity} |" for line in order.lines]
    area_only = f"{nest.bound:.2f}"
    lines += [
        "",
        f"{len(nest.sheets)} sheets; the area alone needs {area_only} (computed): no nest can do "
        f"better than the next whole number of each kind. Equivalent {nest.equivalent:.2f} (computed): "
        "the last sheet counted by what is used up of it.",
        "",
        f"Time at the machine: {time_text(planned.total)}. Cut {planned.counted.cut_mm / 1000:.1f} m, "
        f"scored {planned.counted.mark_mm / 1000:.1f} m, travel {planned.counted.travel_mm / 1000:.1f} m "
        f"(computed).{_engraved(planned)}",
        "",
        "## Sheets",
        "",
        "Used up is what is gone when the rest is cut off straight across, spacing and waste with it.",
        "",
        "| sheet | stock | panels | used up | time | worth keeping |",
        "|---|---|---|---|---|---|",
    ]
    lines += ["| " + " | ".join(row) + " |" for row in summary_rows(planned)]
    lines += ["", "## Panels", "", "| sheet | no. | panel | turned | size as drawn |"]
    lines.append("|---|---|---|---|---|")
    for sheet in laid.sheets:
        for c in sheet.copies:
            w, h = c.placement.item.size_at(c.placement.quarters)
            size = f"{both(w, order.unit)} x {both(h, order.unit)}"
            lines.append(
                f"| {sheet.name} | {c.number} | {c.label} | {90 * c.placement.quarters}° | {size} |"
            )
    lines += ["", "## What this stands on", ""]
    lines += [f"- {note}" for note in laid.notes]
    for line in order.lines:
        t: Thickness = line.job.stock.thickness
        how = f"measured, {len(t.readings)} readings" if t.measured else "asked"
        lines.append(f"- {line.group}: {line.job.stock.material}, {both(t.nm, order.unit)} ({how})")
    speed = planned.pace.cut
    lines.append(f"- cut speed {speed.value:.4g} mm/s ({speed.standing}), for the time alone")
    if laid.warnings:
        lines += ["", "## Look at", ""]
        lines += [f"- {w}" for w in laid.warnings]
    return "\n".join(lines) + "\n"


def quote_text(planned: Planned, quote: Quote) -> str:
    """Return a quote for people, Markdown."""
    order = planned.laid.order
    lines = [f"# Quote: {order.title}", ""]
    if order.customer:
        lines += [f"For {order.customer}.", ""]
    lines += ["| job | boxes |", "|---|---|"]
    lines += [f"| {line.group} | {line.quantity} |" for line in order.lines]
    lines += ["", "| what | how | amount |", "|---|---|---:|"]
    lines += [f"| {x.what} | {x.how} | {quote.money(x.amount)} |" for x in quote.lines]
    low, high = (quote.money(b) for b in quote.band)
    lines += [
        f"| **total** | {quote.money(quote.each)} a box | **{quote.money(quote.total)}** |",
        "",
        f"{low} to {high} over the band of the machine's time: {time_text(planned.total)}.",
        f"Cost without margin {quote.money(quote.floor)} (computed). No tax is in it.",
    ]
    return "\n".join(lines) + "\n"
