"""Lay an order on sheets: nested first, then compensated for the way each panel lies, then proved.

The kerf may differ along X and Y, and turning a panel by a quarter swaps the two: so outlines are made
for a place, never before it. The proof cuts every sheet virtually, as it will lie on the bed, and
compares each side of each panel with the place that its role predicts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

import numpy as np

from boxjoint.check.as_cut import joints_as_cut, sides_off
from boxjoint.check.built import Built
from boxjoint.check.cutouts import hole_fault
from boxjoint.check.seams import SeamAsCut, joined, seams_as_cut
from boxjoint.errors import InputError
from boxjoint.fit.compensate import virtual_cut
from boxjoint.fit.plan import Measured
from boxjoint.geometry.drawing import Layer
from boxjoint.geometry.holes import mirrored_hole, turned_hole
from boxjoint.geometry.rings import Rings, mirrored
from boxjoint.job.records import DIRECTIONS
from boxjoint.job.sheets import Nesting
from boxjoint.make import build, clearance_faults, seam_faults
from boxjoint.order.items import Pieces, items_of, places_of, shifted
from boxjoint.order.labels import Marker, job_marks, waste_line
from boxjoint.order.records import Copy, Laid, LaidSheet, Line, Order
from boxjoint.order.stocks import keep_outs_of, stocks_of
from boxjoint.sheet.nest import Progress, nest
from boxjoint.sheet.records import Bed, NestAsk, NestedSheet, Placement, SheetStock
from boxjoint.solve.inside import find_inside
from boxjoint.units import both

__all__ = ["MARGIN_NM", "SPACING_NM", "lay"]

#: Between cut paths, and from the edge of a sheet, where nobody says: common practice, no source.
SPACING_NM = 2_000_000
MARGIN_NM = 5_000_000


def lay(
    order: Order,
    *,
    measured: Sequence[Measured | None] | None = None,
    sizes: Sequence[tuple[int, int]] = (),
    offcuts: Sequence[SheetStock] = (),
    bed: tuple[int, int] | None = None,
    level: int | None = None,
    seconds: float | None = None,
    date: str = "",
    confirmed: bool = False,
    built: Sequence[Built] | None = None,
    progress: Progress | None = None,
) -> Laid:
    """Build, nest, compensate and prove an order.

    Parameters
    ----------
    order
        What is wanted.
    measured
        For each line what the shop book knows; ``None``: nothing.
    sizes
        Sheets of these sizes, nm, as many as needed, beside those that are stated.
    offcuts
        What the shop has left of the sheets of this order.
    bed
        How far the head reaches, nm, where the jobs do not say.
    level, seconds
        How long to search, as in :class:`~boxjoint.sheet.records.NestAsk`; ``None``: as the job says.
    date
        Scored on the waste, as given.
    confirmed
        The maker has confirmed what would otherwise be asked about.
    built
        The jobs of the order as they were built already, one for each line.
    progress
        Called with (what is done now, share of it done).

    Returns
    -------
    Laid
        With every fault found; ``laid.require()`` raises when there is one.

    Raises
    ------
    BoxjointError
        When a job cannot be solved or cut, or something does not fit on any sheet.
    """
    nesting = order.nesting
    say: Progress = progress or (lambda _what, _share: None)
    known = measured or [None] * len(order.lines)
    made: list[Built] = list(built or ())
    for number, (line, found) in enumerate(zip(order.lines, known, strict=True)):
        if built is None:
            say(f"solving and proving {line.group}", number / len(order.lines))
            made.append(build(line.job, measured=found, confirmed=confirmed))
        made[number].require()  # a box that fails its proofs is not worth a nest
    pieces = [Pieces(line, b, nesting) for line, b in zip(order.lines, made, strict=True)]
    items = tuple(item for p in pieces for item in items_of(p))
    spacing, margin, notes = _distances(nesting, made)
    stocks = stocks_of(order, items, sizes=sizes, offcuts=offcuts)
    reach = nesting.bed or bed
    ask = NestAsk(
        spacing=spacing,
        kerf=ceil(_widest_kerf(made)),
        margin=margin,
        bed=Bed(width=reach[0], height=reach[1]) if reach else None,
        keep_outs=keep_outs_of(nesting.keep_outs),
        windows=nesting.windows,
        level=nesting.level if level is None else level,
        seconds=seconds,
        unit=order.unit,
    )
    places, said = places_of(pieces, items, nesting, spacing, stocks, margin)
    by_group = {p.line.group: p for p in pieces}

    def outlines(p: Placement) -> Rings:
        return by_group[p.item.group].piece(p.item.name, p.quarters).drawn.rings

    try:
        result = nest(places, stocks, ask, outlines=outlines, progress=say)
    except InputError as error:
        _offer_inside(error, pieces)
        raise
    sheets = tuple(
        _laid_sheet(number, sheet, by_group) for number, sheet in enumerate(result.sheets, 1)
    )
    unmarked: tuple[str, ...] = ()
    if nesting.labels:
        sheets, unmarked = _labelled(order, sheets, date)
    sheets, lost = _marked(sheets)
    return Laid(
        order=order,
        built=tuple(made),
        items=items,
        ask=ask,
        nest=result,
        sheets=sheets,
        faults=tuple(_faults(sheets, order.lines, made)),
        warnings=(*said, *lost, *_warnings(made)),
        notes=(*notes, *unmarked),
    )


def _offer_inside(error: InputError, pieces: Sequence[Pieces]) -> None:
    """Where a panel fits on no sheet, say which inside would: a plain box grows with its inside."""
    over = error.data.get("over_nm")
    if over is None:
        return
    for p in pieces:
        job = p.line.job
        for name, part in p.parts.items():
            if f"{p.line.group} {name}" != error.data["item"] or job.drawers.count:
                continue
            found = find_inside(job).along
            smaller = []
            for k, axis in enumerate(part.panel.frame.axes):
                if over[k] > 0:
                    fits = (found[axis].nm - over[k]) // 10_000 * 10_000
                    if fits <= 0:
                        return
                    smaller.append(f"{DIRECTIONS[axis]} {both(fits, job.unit)}")
            error.do = (
                f"the nearest inside that fits has {' and '.join(smaller)}; or use a larger sheet"
            )


def _widest_kerf(built: Sequence[Built]) -> float:
    """The wider of all kerfs, nm; of a router the diameter of its tool."""
    plans = [b.plan for b in built]
    widths = [max(p.kerf_x.value, p.kerf_y.value) for p in plans]
    widths += [p.tool.value for p in plans if p.tool is not None]
    return max(widths) * 1e6


def _distances(nesting: Nesting, built: Sequence[Built]) -> tuple[int, int, tuple[str, ...]]:
    """Spacing and margin, nm, and what was assumed of them.

    A head that moves further than it is told (scale above 1) reaches beyond a margin measured in
    drawn millimetres, by the excess over the largest sheet: that comes on top.
    """
    unit = built[0].job.unit
    tools = [b.plan.tool.value * 1e6 for b in built if b.plan.tool is not None]
    spacing = nesting.spacing or round(max([SPACING_NM, *(1.5 * t for t in tools)]))
    margin = MARGIN_NM if nesting.margin is None else nesting.margin
    notes = []
    for name, value, asked in (
        ("spacing between cut paths", spacing, nesting.spacing),
        ("margin to the edge of the sheet", margin, nesting.margin),
    ):
        source = "assumed, common practice" if asked is None else "asked"
        notes.append(f"{name} {both(value, unit)} ({source})")
    over = max(max(b.beam.scale.x, b.beam.scale.y) for b in built) - 1
    if over > 0:
        more = ceil(over * max((max(s) for s in _sizes(built)), default=0))
        margin += more
        if more > 0:
            notes.append(f"and {both(more, unit)} more margin (computed), for a scale above 1")
    return spacing, margin, tuple(notes)


def _sizes(built: Sequence[Built]) -> list[tuple[int, int]]:
    return [ask.size for b in built for ask in b.job.sheets.values()]


def _laid_sheet(number: int, sheet: NestedSheet, by_group: dict[str, Pieces]) -> LaidSheet:
    copies = []
    for k, placement in enumerate(sheet.placements, 1):
        piece = by_group[placement.item.group].piece(placement.item.name, placement.quarters)
        x0, y0 = piece.drawn.rings.extent[:2]
        copies.append(
            Copy(
                piece=piece,
                placement=placement,
                shift=(placement.x - x0, placement.y - y0),
                number=k,
            )
        )
    return LaidSheet(number=number, nested=sheet, copies=tuple(copies))


def _marked(sheets: Sequence[LaidSheet]) -> tuple[tuple[LaidSheet, ...], list[str]]:
    """Put on every sheet what the jobs themselves mark, before the labels; and say what is left out."""
    out = []
    lost: dict[str, None] = {}
    for sheet in sheets:
        scored, engraved = [], []
        for copy in sheet.copies:
            if not copy.piece.part.marks:
                continue
            groups, missing = job_marks(copy)
            lost |= dict.fromkeys(missing)
            for group in groups:
                engraved.append(tuple(c for c in group if c.layer is Layer.ENGRAVE))
                scored.append(tuple(c for c in group if c.layer is Layer.MARK))
        out.append(
            replace(
                sheet,
                engraved=tuple(filter(None, engraved)),
                mark_groups=(*filter(None, scored), *sheet.mark_groups),
            )
        )
    return tuple(out), list(lost)


def _labelled(
    order: Order, sheets: Sequence[LaidSheet], date: str
) -> tuple[tuple[LaidSheet, ...], tuple[str, ...]]:
    """Put labels on the panels whose inside lies up, and a line on the waste of every sheet."""
    numbers = {line.group: n for n, line in enumerate(order.lines, 1)}
    marker = Marker(numbers if len(numbers) > 1 else {})
    out = []
    for sheet in sheets:
        stock = sheet.nested.stock
        beams = dict.fromkeys(
            f"kerf {b.kerf.x:.3f} x {b.kerf.y:.3f}"
            for b in (c.piece.drawn.beam for c in sheet.copies)
        )
        words = f"{order.title}, {sheet.name}: {stock.thickness / 1e6:.2f} mm, {', '.join(beams)}"
        groups = [text for copy in sheet.copies for text in marker.marks(copy)]
        groups.append(waste_line(sheet, f"{words}, {date}" if date else words))
        out.append(replace(sheet, mark_groups=tuple(g for g in groups if g)))
    notes = tuple(marker.missing)
    if len(numbers) > 1:
        jobs = ", ".join(f"J{n} is {group}" for group, n in numbers.items())
        notes = (f"on the panels {jobs}", *notes)
    bare = [c for s in sheets for c in s.copies if not c.piece.mirrored]
    if bare and len(bare) == sum(len(s.copies) for s in sheets):
        notes = ("no names are scored on the panels: their outside, which shows, lies up", *notes)
    elif bare:
        names = ", ".join(dict.fromkeys(c.short for c in bare))
        notes = (f"no names are scored on {names}: their outside, which shows, lies up", *notes)
    return tuple(out), notes


def cut_back(copy: Copy) -> Rings:
    """Cut one copy where it lies, and bring what is left back to its panel's own axes, nm.

    How it lies is what the nest says, not what its outlines were made for: outlines that were
    compensated for another turn, or for the other face up, come back wrong.
    """
    piece, placement = copy.piece, copy.placement
    there = shifted(piece.drawn.rings, copy.shift)
    left = virtual_cut(there, piece.built.beam, quarters=placement.quarters, name=copy.label)
    return mirrored(left) if placement.item.face_up == "inside" else left


def _other_than_nested(copy: Copy) -> list[str]:
    """How a copy lies otherwise than the nest says, whose distances were proved."""
    piece, placement = copy.piece, copy.placement
    inside_up = placement.item.face_up == "inside"
    found = []
    x, y = shifted(piece.drawn.rings, copy.shift).extent[:2]
    if (x, y) != (placement.x, placement.y):
        off = ", ".join(f"{d / 1e6:.6f}" for d in (x - placement.x, y - placement.y))
        found.append(f"drawn {off} mm off the place that was nested")
    if piece.quarters != placement.quarters % 4:
        found.append(f"made for {piece.quarters} quarters, nested at {placement.quarters % 4}")
    if piece.mirrored != inside_up:
        found.append(f"not made for its {placement.item.face_up} up")
    wanted = [h.placed.hole for h in piece.part.holes]
    if inside_up:
        wanted = [mirrored_hole(h) for h in wanted]
    if [h.hole for h in piece.holes] != [turned_hole(h, placement.quarters) for h in wanted]:
        found.append("its cut-outs do not lie as the panel does")
    return found


def _faults(
    sheets: Sequence[LaidSheet], lines: Sequence[Line], built: Sequence[Built]
) -> list[str]:
    """Prove that every panel as cut from its sheet equals its nominal, with the asked clearance."""
    faults: list[str] = []
    ways: dict[tuple[str, str], dict[int, Rings]] = {}
    for sheet in sheets:
        for copy in sheet.copies:
            piece = copy.piece
            plan, panel = piece.built.plan, piece.part.panel
            faults += [f"{sheet.name}, {copy.label}: {f}" for f in _other_than_nested(copy)]
            cut = cut_back(copy)
            # wherever it lies: its own origin is where its first rim or side says
            alone = piece.as_cut.xy
            home = cut.xy[0] - alone[0] if cut.xy.shape == alone.shape else np.zeros(2)
            cut = shifted(cut, (-int(home[0]), -int(home[1])))
            if cut.xy.shape != alone.shape or np.abs(cut.xy - alone).max() > 1:
                faults.append(f"{sheet.name}, {copy.label}: cut otherwise at its place than alone")
            outward = plan.outward(guest=panel.slab.guest)
            off = sides_off(panel.rings, piece.as_cut, outward, [-c / 4 for c in plan.clearances])
            if off:
                x, y = off[0].place
                faults.append(
                    f"{sheet.name}, {copy.label}: {len(off)} sides are not where their role says, the "
                    f"worst a {off[0].role.name.lower()} by {off[0].off / 1e6:.6f} mm at x "
                    f"{x / 1e6:.3f}, y {y / 1e6:.3f} mm"
                )
            faults += [
                f"{sheet.name}, {copy.label}: a hole as cut is {fault}"
                for hole in piece.holes
                if (fault := hole_fault(hole, piece.built.beam))
            ]
            key = copy.group, panel.name
            ways.setdefault(key, {})[piece.quarters] = piece.as_cut
    for line, made in zip(lines, built, strict=True):
        faults += _joint_faults(line, made, ways)
    return faults


def _joint_faults(
    line: Line, built: Built, ways: dict[tuple[str, str], dict[int, Rings]]
) -> list[str]:
    """Compare the clearances of all joints, for the first and the last way that each panel lies."""
    missing = [c.panel.name for c in built.cut_parts if (line.group, c.panel.name) not in ways]
    if missing:
        return [f"{line.group}: {', '.join(missing)} lie on no sheet"]
    faults = []
    for pick in (min, max):
        cut: list[Rings] = []
        seams: list[SeamAsCut] = []
        for part in built.parts:
            laid = [
                ways[line.group, c.panel.name][pick(ways[line.group, c.panel.name])]
                for c in part.cut
            ]
            cut.append(laid[0] if part.divided is None else joined(part.divided, laid))
            if part.divided is not None:
                seams += seams_as_cut(part.divided, laid)
        for seam in seams:
            faults += [f"{line.group}, {f}" for f in seam_faults(built.plan, seam)]
        joints = joints_as_cut(built.solution, cut)
        faults += [f"{line.group}, {f}" for f in clearance_faults(built, joints)]
    return list(dict.fromkeys(faults))


def _warnings(built: Sequence[Built]) -> list[str]:
    found = [w for b in built for w in b.warnings]
    for b in built:
        plan = b.plan
        apart = abs(plan.scale_x.value - plan.scale_y.value)
        longest = max((j.length for j in b.solution.joints), default=0) / 1e6
        mismatch = apart * longest
        if mismatch > 0.05 and not b.job.nest.one_axis:
            found.append(
                f"{b.job.title}: scale X and Y differ, and mating edges of {longest:.0f} mm are cut "
                f"along different axes: every panel is corrected for it, but an error in the scale "
                f"would show there; [nest] one_axis = true lays them along one axis"
            )
    return list(dict.fromkeys(found))
