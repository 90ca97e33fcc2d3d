"""What is written for an order: a drawing of every sheet, and the report."""

from __future__ import annotations

from boxjoint.export.dxf import DxfVersion, drawing_to_dxf
from boxjoint.export.svg import drawing_to_svg
from boxjoint.order.drawing import sheet_drawing
from boxjoint.order.records import Laid
from boxjoint.order.report import order_json, order_text

__all__ = ["order_files"]


def order_files(laid: Laid, *, dxf: DxfVersion = "R2000") -> dict[str, bytes]:
    """Return what is written for an order, by path relative to the output folder."""
    content: dict[str, bytes] = {}
    for sheet in laid.sheets:
        drawing = sheet_drawing(laid, sheet)
        content[f"{sheet.name}.dxf"] = drawing_to_dxf(drawing, version=dxf).encode()
        content[f"{sheet.name}.svg"] = drawing_to_svg(drawing).encode()
    content["order.json"] = order_json(laid).encode()
    content["order.md"] = order_text(laid).encode()
    return content
