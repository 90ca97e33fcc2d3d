"""The sheets that there are for an order: of its jobs, of the order itself, and offcuts in the shop."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from boxjoint.errors import InputError
from boxjoint.job.records import Job
from boxjoint.job.sheets import SheetAsk
from boxjoint.order.records import Order
from boxjoint.sheet.records import Axis, Item, KeepOut, SheetStock
from boxjoint.units import System, both, format_inch, format_mm

__all__ = ["keep_outs_of", "needed_stock", "stocks_of"]


def stocks_of(
    order: Order,
    items: Iterable[Item],
    *,
    sizes: Sequence[tuple[int, int]] = (),
    offcuts: Sequence[SheetStock] = (),
) -> tuple[SheetStock, ...]:
    """Return every kind of sheet that the order may be cut from.

    Parameters
    ----------
    order
        With the sheets of its jobs and its own.
    items
        What is to be cut.
    sizes
        Sizes of sheets of which there are as many as needed, in every material and thickness of the
        order, nm.
    offcuts
        What the shop has left.

    Raises
    ------
    InputError
        When two jobs mean different sheets by one name, or nothing is stated at all.
    """
    found: dict[str, tuple[SheetStock, str]] = {}
    homes = [(order.lines[0].job, order.sheets, order.path or order.title)]
    homes += [(line.job, line.job.sheets, line.job.path or line.group) for line in order.lines]
    for job, sheets, where in homes:
        for name, ask in sheets.items():
            stock = _stock(name, ask, job)
            before = found.get(name)
            if before is not None and before[0] != stock:
                raise InputError(
                    "two jobs of this order mean different sheets by one name",
                    where=f"[sheets.{name}] in {before[1]} and {where}",
                    do="rename one, or state the sheets in the order file",
                )
            found.setdefault(name, (stock, where))
    stocks = [stock for stock, _ in found.values()] + list(offcuts)
    for width, height in sizes:
        for material, thickness in needed_stock(items):
            stocks.append(
                SheetStock(
                    name=f"{material} {_thick(thickness, order.unit)}, {_size(width, height, order.unit)}",
                    width=width,
                    height=height,
                    material=material,
                    thickness=thickness,
                )
            )
    if not stocks:
        kinds = "; ".join(f"{m}, {both(t, order.unit)}" for m, t in needed_stock(items))
        example = ("24", "12") if order.unit == "in" else ("600", "300")
        raise InputError(
            "no sheets are stated to cut from",
            where=order.path or order.title,
            value=f"needed: {kinds}",
            do=f"write [sheets.NAME] size = [{', '.join(example)}] into the job, or give "
            f"--stock-size {'x'.join(example)}",
        )
    return tuple(stocks)


def _thick(thickness: int, unit: System) -> str:
    return format_inch(thickness) if unit == "in" else format_mm(thickness)


def _size(width: int, height: int, unit: System) -> str:
    """A size as the order's own unit would ask for it; a bare size is in mm."""
    if unit == "in":
        return f"{width / 25_400_000:g} x {height / 25_400_000:g} in"
    return f"{width / 1e6:g} x {height / 1e6:g}"


def needed_stock(items: Iterable[Item]) -> tuple[tuple[str, int], ...]:
    """(material, thickness in nm) of everything that is to be cut, each once."""
    return tuple(dict.fromkeys((i.material, i.thickness) for i in items))


def keep_outs_of(rectangles: Iterable[tuple[int, int, int, int]]) -> tuple[KeepOut, ...]:
    """Keep-outs of a job as the nest takes them."""
    return tuple(KeepOut(x=x, y=y, width=w, height=h) for x, y, w, h in rectangles)


def _stock(name: str, ask: SheetAsk, job: Job) -> SheetStock:
    grains: Mapping[str, Axis] = {"x": "x", "y": "y"}
    return SheetStock(
        name=name,
        width=ask.size[0],
        height=ask.size[1],
        material=ask.material or job.stock.material,
        thickness=(ask.thickness or job.stock.thickness).nm,
        count=ask.count,
        offcut=ask.offcut,
        grain=grains.get(ask.grain, ""),
        keep_outs=keep_outs_of(ask.keep_outs),
    )
