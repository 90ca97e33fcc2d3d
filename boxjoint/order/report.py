"""The report of an order: plain data for programs (``order.json``), and text for people.

Lengths are mm. Every figure says whether it was asked, measured, assumed or computed.
"""

from __future__ import annotations

import json
from typing import Any

from boxjoint import __version__
from boxjoint.job.records import Thickness
from boxjoint.order.records import Copy, Laid, LaidSheet
from boxjoint.units import both

__all__ = ["ORDER_VERSION", "order_data", "order_json", "order_text", "summary_rows"]

#: Version of ``order.json``; a later program reads earlier ones.
ORDER_VERSION = 1


def _mm(nm: float) -> float:
    return round(float(nm) / 1e6, 6)


def _computed(value: float, unit: str = "mm") -> dict[str, Any]:
    return {"value": round(value, 6), "unit": unit, "source": "computed"}


def order_data(laid: Laid) -> dict[str, Any]:
    """Return the report as plain data, ready for JSON."""
    order, nest = laid.order, laid.nest
    return {
        "order": ORDER_VERSION,
        "program": f"boxjoint {__version__}",
        "title": order.title,
        "customer": order.customer,
        "note": order.note,
        "unit": order.unit,
        "path": order.path,
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
        "sheets": [_sheet(s) for s in laid.sheets],
        "proofs": {
            "boxes": all(b.passed for b in laid.built),
            "nest": True,  # checked independently; a nest that fails is never returned
            "sheets_as_cut": not laid.faults,
            "faults": list(laid.faults),
        },
        "warnings": list(laid.warnings),
    }


def _sheet(sheet: LaidSheet) -> dict[str, Any]:
    stock = sheet.nested.stock
    return {
        "name": sheet.name,
        "stock": stock.name,
        "size": [_mm(stock.width), _mm(stock.height)],
        "material": stock.material,
        "thickness": _mm(stock.thickness),
        "offcut": stock.offcut,
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


def order_json(laid: Laid) -> str:
    """Return the report as JSON text, the same for the same order."""
    return json.dumps(order_data(laid), indent=1, ensure_ascii=False) + "\n"


def summary_rows(laid: Laid) -> list[list[str]]:
    """Return a line a sheet for people: name, stock, panels, share used, what remains."""
    unit = laid.order.unit
    rows = []
    for sheet in laid.sheets:
        stock = sheet.nested.stock
        kept = ", ".join(
            f"{both(w, unit)} x {both(h, unit)}" for _, _, w, h in sheet.nested.remains[:2]
        )
        rows.append(
            [
                sheet.name,
                stock.name,
                str(len(sheet.copies)),
                f"{sheet.nested.used:.0%}",
                kept or "nothing worth keeping",
            ]
        )
    return rows


def order_text(laid: Laid) -> str:
    """Return the report for people, Markdown."""
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
        "## Sheets",
        "",
        "| sheet | stock | panels | used | worth keeping |",
        "|---|---|---|---|---|",
    ]
    lines += ["| " + " | ".join(row) + " |" for row in summary_rows(laid)]
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
    if laid.warnings:
        lines += ["", "## Look at", ""]
        lines += [f"- {w}" for w in laid.warnings]
    return "\n".join(lines) + "\n"
