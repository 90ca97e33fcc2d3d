"""Fill the shop papers of a planned order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from boxjoint.check.built import Built, Part
from boxjoint.export.papers.records import KerfUsed, OrderedJob, ShopPapers
from boxjoint.export.papers.records_bench import (
    Assembly,
    AssemblyStep,
    Diagonal,
    Inspection,
    PackedBox,
    PaperPicture,
    Price,
    PriceLine,
    SizeCheck,
)
from boxjoint.export.papers.records_cut import (
    Area,
    CutNumber,
    CutRow,
    Operation,
    PlacedPart,
    RecordedSettings,
    SheetPicture,
    SheetTime,
    Towards,
)
from boxjoint.export.steps import step_pictures
from boxjoint.fit.holes import chords, with_notches
from boxjoint.gauge.kerf_gauge import kerf_gauge
from boxjoint.gauge.pieces import GaugePiece, GaugeStock
from boxjoint.geometry.drawing import Layer
from boxjoint.geometry.page import A4, Paper
from boxjoint.job.figures import Figure
from boxjoint.job.records import DIRECTIONS, Source, Thickness
from boxjoint.order.cuts import SheetCuts
from boxjoint.order.drawing import faces_up
from boxjoint.order.plan import Planned
from boxjoint.order.records import Copy, LaidSheet, Line, Order
from boxjoint.sheet.cuts import CutKind
from boxjoint.sheet.price import Quote
from boxjoint.solve.box import outside_of
from boxjoint.solve.inside import find_inside

__all__ = ["papers_of"]

#: What an inside may be off, and two diagonals may differ, mm: nobody set it, so it is assumed.
_INSIDE_MM, _DIAGONALS_MM = 0.3, 0.5
_UPS: tuple[Towards, ...] = ("up", "left", "down", "right")
#: Pictures of more steps than this would fill a book: then the words stand alone.
_MOST_PICTURES = 24


def _jobs(order: Order) -> dict[str, int]:
    """The number of each job in the order, from 1."""
    return {line.group: n for n, line in enumerate(order.lines, 1)}


def _computed(value: float, unit: str = "mm") -> Figure:
    return Figure(value=value, source=Source.COMPUTED, unit=unit)


def _thickness(t: Thickness) -> Figure:
    """Mean of the readings, with its standard uncertainty where several were taken."""
    n = len(t.readings)
    spread = None
    if t.measured and n > 1:
        spread = float(np.std(np.array(t.readings) / 1e6, ddof=1) / np.sqrt(n))
    return Figure(
        value=t.nm / 1e6, source=t.source, uncertainty=spread, readings=n if t.measured else None
    )


def papers_of(
    planned: Planned,
    *,
    date: str,
    paper: Paper = A4,
    settings: Sequence[RecordedSettings] = (),
    quote: Quote | None = None,
    drawings: bool = True,
) -> ShopPapers:
    """Return everything that the papers of an order say.

    Parameters
    ----------
    date
        As printed.
    settings
        What the shop book recorded of the machine; never advice.
    quote
        The price, where it is to be printed.
    drawings
        Whether the steps of assembly get pictures.
    """
    laid = planned.laid
    order = laid.order
    pairs = list(zip(order.lines, laid.built, strict=True))
    return ShopPapers(
        title=order.title,
        date=date,
        reference=order.customer,
        jobs=tuple(_job(line, built, _jobs(order)) for line, built in pairs),
        kerf=_kerfs(laid.built),
        cuts=_cut_rows(planned),
        sheets=tuple(_sheet(planned, s, c) for s, c in zip(laid.sheets, planned.cuts, strict=True)),
        operations=tuple(
            op
            for s, c in zip(laid.sheets, planned.cuts, strict=True)
            for op in _operations(s, c, _jobs(order))
        ),
        times=_times(planned),
        settings=tuple(settings),
        assemblies=tuple(_assembly(line, built, drawings=drawings) for line, built in pairs),
        inspections=tuple(_inspection(line, built) for line, built in pairs),
        packing=_packing(order.lines),
        price=None if quote is None else _price(quote),
        gauges=_gauges(laid.built),
        warnings=laid.warnings,
        paper=paper,
    )


def _job(line: Line, built: Built, jobs: Mapping[str, int]) -> OrderedJob:
    found = find_inside(line.job).along
    sizes = tuple(Figure(value=a.nm / 1e6, source=a.source) for a in found)
    return OrderedJob(
        title=f"J{jobs[line.group]} {line.group}" if len(jobs) > 1 else line.group,
        quantity=line.quantity,
        inside=(sizes[0], sizes[1], sizes[2]),
        unit=line.job.unit,
    )


def _kerfs(built: Sequence[Built]) -> tuple[KerfUsed, ...]:
    found: dict[tuple[object, ...], KerfUsed] = {}
    for b in built:
        if b.plan.tool is not None:
            continue
        x, y = b.plan.kerf_x, b.plan.kerf_y
        stock = b.job.stock
        key = (x.value, y.value, x.source, stock.material)
        found.setdefault(key, KerfUsed(x=x, y=y, stock=stock.material))
    return tuple(found.values())


def _cut_rows(planned: Planned) -> tuple[CutRow, ...]:
    laid = planned.laid
    rows = []
    several = len(laid.order.lines) > 1
    for n, (line, built) in enumerate(zip(laid.order.lines, laid.built, strict=True), 1):
        job = line.job
        for part in built.cut_parts:
            name, home = part.panel.name, part.home
            on = sorted(
                s.number
                for s in laid.sheets
                if any(c.group == line.group and c.name == name for c in s.copies)
            )
            grain, layers = job.grain(home), job.layers(home)
            rows.append(
                CutRow(
                    part=name,
                    job=f"J{n} {line.group}" if several else line.group,
                    quantity=line.quantity * layers,
                    size=(
                        _computed(part.panel.size[0] / 1e6),
                        _computed(part.panel.size[1] / 1e6),
                    ),
                    material=job.material(home),
                    thickness=_thickness(job.sheet(home)),
                    grain={"x": "across", "y": "up"}.get(grain, "any"),
                    sheets=tuple(dict.fromkeys(on)),
                    unit=job.unit,
                    note=_note(part, layers),
                )
            )
    return tuple(rows)


def _note(part: Part, layers: int) -> str:
    said = [f"a piece of {part.of}, glued at its seam"] if part.of else []
    return "; ".join([*said, *([f"glue {layers} face to face"] if layers > 1 else [])])


def _numbers(found: SheetCuts) -> dict[int, int]:
    """The number that each cut has on paper, by its index: all marks together are number 1."""
    marks = sum(c.kind is CutKind.MARK for c in found.cuts)
    out = {}
    number = 1 if marks else 0
    for step in found.found.steps:
        if found.cuts[step.cut].kind is CutKind.MARK:
            out[step.cut] = 1
        else:
            number += 1
            out[step.cut] = number
    return out


def _said(numbers: Sequence[int]) -> str:
    """``3``, ``3 to 5``, ``3, 7``: numbers as people read them."""
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][1] + 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in runs)


def _sheet(planned: Planned, sheet: LaidSheet, found: SheetCuts) -> SheetPicture:
    laid = planned.laid
    stock = sheet.nested.stock
    numbers = _numbers(found)
    by_part: dict[int, list[int]] = {}
    starts = []
    for step in found.found.steps:
        cut = found.cuts[step.cut]
        if cut.kind is CutKind.MARK:
            continue
        by_part.setdefault(cut.part, []).append(numbers[step.cut])
        if cut.kind is CutKind.OUTER:
            x, y = (cut.path[step.entry] / 1e6).tolist()
            starts.append(CutNumber(number=numbers[step.cut], at=(x, y)))
    keep = [*stock.keep_outs, *laid.ask.keep_outs]
    area = sum(
        c.piece.part.panel.rings.area / 1e12 for c in sheet.copies if c.placement.host is None
    )
    lines = {line.group: n for n, line in enumerate(laid.order.lines, 1)}
    return SheetPicture(
        number=sheet.number,
        of=len(laid.sheets),
        name=stock.name,
        size=(stock.width / 1e6, stock.height / 1e6),
        material=stock.material,
        thickness=_thickness(sheet.copies[0].piece.built.job.sheet(sheet.copies[0].name)),
        parts=tuple(
            _placed(c, _short_label(c, lines), by_part.get(c.number - 1, [])) for c in sheet.copies
        ),
        grain=stock.grain,
        face_up=" ".join(faces_up(sheet)),
        margin_mm=laid.ask.margin / 1e6,
        keep_outs=tuple(
            Area(x=k.x / 1e6, y=k.y / 1e6, width=k.width / 1e6, height=k.height / 1e6, name=k.name)
            for k in keep
        ),
        remains=tuple(
            Area(x=x / 1e6, y=y / 1e6, width=w / 1e6, height=h / 1e6)
            for x, y, w, h in sheet.nested.remains
        ),
        used=_computed(area / (stock.width / 1e6 * stock.height / 1e6), "1"),
        starts=tuple(starts),
        unit=laid.order.unit,
        file=f"{sheet.name}.dxf",
    )


def _short_label(copy: Copy, jobs: Mapping[str, int]) -> str:
    """The part as pictures and panels name it: ``J2 front 4``."""
    return f"J{jobs[copy.group]} {copy.short}" if len(jobs) > 1 else copy.short


def _placed(copy: Copy, label: str, numbers: Sequence[int]) -> PlacedPart:
    piece = copy.piece
    shift = np.array(copy.shift) / 1e6
    outer, *inner = (ring / 1e6 for ring in piece.drawn.rings.corners_only())
    notched, arcs = with_notches(outer, None, piece.holes, copy.name)
    outer = notched if arcs is None else chords(notched, arcs)
    inner += [chords(h.xy, h.bulge) for h in piece.holes if h.hole.open is None]
    return PlacedPart(
        label=label,
        rings=tuple(ring + shift for ring in (outer, *inner)),
        up=_UPS[piece.quarters % 4],
        cuts=_said(numbers),
    )


def _operations(
    sheet: LaidSheet, found: SheetCuts, numbers_of_jobs: Mapping[str, int]
) -> list[Operation]:
    """Runs of cuts of one part on one layer, as they follow each other."""
    numbers = _numbers(found)
    runs: list[tuple[Layer, int, list[int]]] = []
    for step in found.found.steps:
        cut, layer = found.cuts[step.cut], found.layers[step.cut]
        part = -1 if layer is Layer.MARK else cut.part
        if runs and runs[-1][:2] == (layer, part):
            runs[-1][2].append(step.cut)
        else:
            runs.append((layer, part, [step.cut]))
    out = []
    if sheet.engraved:  # before all else; filled areas have no place among the numbered cuts
        many = len(sheet.engraved)
        out.append(
            Operation(
                sheet=sheet.number,
                steps=(0, 0),
                layer=Layer.ENGRAVE.value,
                part="",
                what=f"fill {many} mark{'s' if many > 1 else ''}",
                length=_computed(0.0),
            )
        )
    for layer, part, cuts in runs:
        length = sum(float(found.cuts[i].lengths_mm().sum()) for i in cuts)
        inner = sum(found.cuts[i].kind is CutKind.INNER for i in cuts)
        what = "what is scored" if layer is Layer.MARK else "outline"
        if inner:
            what = f"{inner} hole{'s' if inner > 1 else ''}" + (
                " and outline" if inner < len(cuts) else ""
            )
        out.append(
            Operation(
                sheet=sheet.number,
                steps=(numbers[cuts[0]], numbers[cuts[-1]]),
                layer=layer.value,
                part="" if part < 0 else _short_label(sheet.copies[part], numbers_of_jobs),
                what=what,
                length=_computed(length),
            )
        )
    return out


def _times(planned: Planned) -> tuple[SheetTime, ...]:
    out = [
        SheetTime(sheet=sheet.number, time=_computed(t.seconds, "s"), band=t.band, how="")
        for sheet, t in zip(planned.laid.sheets, planned.times, strict=True)
        if len(planned.times) > 1
    ]
    total = planned.total
    speed = planned.pace.cut
    how = f"{total.how}; cut speed {speed.value:.4g} mm/s ({speed.standing})"
    out.append(SheetTime(sheet=None, time=_computed(total.seconds, "s"), band=total.band, how=how))
    return tuple(out)


def _assembly(line: Line, built: Built, *, drawings: bool) -> Assembly:
    told = step_pictures(built, width_mm=120, height_mm=90)
    pictures = drawings and len(told) <= _MOST_PICTURES
    return Assembly(
        job=line.group,
        quantity=line.quantity,
        note="Letters that pair go together: A to A. Little glue, and none on what has to move.",
        steps=tuple(
            AssemblyStep(words=one.text, picture=PaperPicture.of(one.picture) if pictures else None)
            for one in told
        ),
    )


def _inspection(line: Line, built: Built) -> Inspection:
    limit = Figure(value=_INSIDE_MM, source=Source.ASSUMED)
    found = find_inside(line.job).along
    sizes = [a.nm / 1e6 for a in found]
    allowed = Figure(value=_DIAGONALS_MM, source=Source.ASSUMED)
    plan = built.plan
    fit = f"{plan.fit}, " if plan.fit else ""
    clearance = plan.clearance
    faces = list(combinations(range(3), 2))[:1]
    return Inspection(
        job=line.group,
        quantity=line.quantity,
        insides=tuple(
            SizeCheck(name=n, size=Figure(value=a.nm / 1e6, source=a.source), limit=limit)
            for n, a in zip(DIRECTIONS, found, strict=True)
        ),
        outsides=tuple(
            SizeCheck(name=n, size=_computed(s / 1e6))
            for n, s in zip(DIRECTIONS, outside_of(built.solution.arrangement).size, strict=True)
        ),
        diagonals=tuple(
            Diagonal(
                face=f"opening, {DIRECTIONS[a]} x {DIRECTIONS[b]}",
                a=sizes[a],
                b=sizes[b],
                allowed=allowed,
            )
            for a, b in faces
        ),
        fit=f"{fit}clearance {clearance.value:+.3f} mm {clearance.standing}",
        unit=line.job.unit,
    )


def _packing(lines: Sequence[Line]) -> tuple[PackedBox, ...]:
    total = sum(line.quantity for line in lines)
    if total > 200:  # a list that nobody would tick
        return tuple(
            PackedBox(label=f"{line.quantity}", job=line.group, what="boxes") for line in lines
        )
    out: list[PackedBox] = []
    for line in lines:
        out += [
            PackedBox(label=f"{len(out) + k + 1} of {total}", job=line.group)
            for k in range(line.quantity)
        ]
    return tuple(out)


def _price(quote: Quote) -> Price:
    low, high = (quote.money(b) for b in quote.band)
    return Price(
        lines=tuple(
            PriceLine(what=x.what, amount=quote.money(x.amount), how=x.how) for x in quote.lines
        ),
        total=quote.money(quote.total),
        note=f"{quote.money(quote.each)} a box; {low} to {high} over the band of the machine's time; "
        f"cost without margin {quote.money(quote.floor)}. No tax.",
    )


def _gauges(built: Sequence[Built]) -> tuple[GaugePiece, ...]:
    """The form of a kerf gauge for every stock whose kerf nobody measured."""
    found: dict[tuple[str, float], GaugePiece] = {}
    for b in built:
        if b.plan.tool is None and b.plan.kerf_x.source is Source.ASSUMED:
            stock = GaugeStock(
                material=b.job.stock.material,
                thickness_mm=b.job.stock.thickness.nm / 1e6,
                thickness_source=b.job.stock.thickness.source,
            )
            found.setdefault((stock.material, stock.thickness_mm), kerf_gauge(stock))
    return tuple(found.values())
