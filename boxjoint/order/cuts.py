"""The cuts of a sheet, and their sequence in the layers that a simple controller takes one by one.

A controller that knows only layers takes all marks, then all inner cuts, then all outlines. So the
sequence is sought in those two halves, the second from where the first ends, and the file keeps it: what
is estimated is what will be driven. A panel that lies in a window of another goes with the inner cuts.

The beam starts a cut where its mark shows least: in the bottom of a slot, which the mate covers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from boxjoint.geometry.drawing import Curve, Layer
from boxjoint.geometry.rings import Rings, Role
from boxjoint.order.bridges import Held, hold
from boxjoint.order.drawing import copy_curves
from boxjoint.order.records import Copy, LaidSheet
from boxjoint.sheet.bridges import Bridge, BridgeAsk, with_gaps
from boxjoint.sheet.cuts import Cut, CutKind, CutSequence, SequenceAsk, Step
from boxjoint.sheet.lead_in import LeadInAsk, lead_in_start, with_lead_in
from boxjoint.sheet.sequence import cut_sequence, travel_mm
from boxjoint.sheet.sequence_check import check_sequence

__all__ = ["SheetCuts", "cuts_of", "sequenced"]

_NM = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetCuts:
    """Everything that the beam does on one sheet, in sequence.

    Parameters
    ----------
    cuts
        As :mod:`boxjoint.sheet.cuts` has them; ``curves`` are the same cuts as they are drawn.
    layers
        The layer of each.
    found
        The sequence: indices of ``cuts``, where each is entered, travel.
    held
        The copies that need bridges, with those they got.
    leads
        Outlines with a lead-in, and those for which there was no room; ``None``: none were asked.
    """

    cuts: tuple[Cut, ...]
    curves: tuple[Curve, ...]
    layers: tuple[Layer, ...]
    found: CutSequence
    held: tuple[Held, ...] = ()
    leads: tuple[int, int] | None = None

    def drawn(self) -> tuple[Curve, ...]:
        """The curves in the sequence of cutting, each begun at its entry."""
        return tuple(_from_entry(self.curves[s.cut], s) for s in self.found.steps)


def cuts_of(sheet: LaidSheet, held: Sequence[Held] = ()) -> tuple[tuple[Cut, Curve, Layer], ...]:
    """Everything that is marked and cut on a sheet, in no sequence; ``held`` names the bridges."""
    gaps = {copy.number: bridges for copy, _, bridges in held if bridges}
    out: list[tuple[Cut, Curve, Layer]] = []
    for curve in sheet.marks:
        # a mark on the waste belongs to no part, and one on a part needs no other: all come first
        path = np.rint(curve.xy * _NM).astype(np.int64)
        cut = Cut(path=path, kind=CutKind.MARK, part=-1, label="mark", closed=curve.closed)
        out.append((cut, curve, Layer.MARK))
    for copy in sheet.copies:
        curves = copy_curves(copy)
        for curve in curves:
            outer = curve is curves[-1]
            if outer and copy.number in gaps:
                out += _pieces(copy, curve, gaps[copy.number])
                continue
            cut = Cut(
                path=np.rint(curve.xy * _NM).astype(np.int64),
                kind=CutKind.OUTER if outer else CutKind.INNER,
                part=copy.number - 1,
                label=copy.label,
                host=copy.placement.host,
                closed=curve.closed,
                entries=_entries(copy, curve) if outer else None,
                bulge=curve.bulge,
            )
            out.append((cut, curve, curve.layer))
    return tuple(out)


def _pieces(
    copy: Copy, outline: Curve, bridges: Sequence[Bridge]
) -> list[tuple[Cut, Curve, Layer]]:
    """The open pieces of an outline with bridges."""
    path = np.rint(outline.xy * _NM).astype(np.int64)
    whole = Cut(path=path, kind=CutKind.OUTER, part=copy.number - 1, bulge=outline.bulge)
    out = []
    for piece, bulge in with_gaps(path, outline.bulge, bridges):
        cut = Cut(
            path=piece,
            kind=CutKind.OUTER,
            part=copy.number - 1,
            label=copy.label,
            host=copy.placement.host,
            closed=False,
            bulge=bulge,
            ring=whole.flat(),
        )
        curve = Curve(layer=outline.layer, xy=piece / _NM, bulge=bulge, closed=False)
        out.append((cut, curve, outline.layer))
    return out


def _entries(copy: Copy, curve: Curve) -> NDArray[np.bool_] | None:
    """Vertices in the bottoms of slots, where the mate covers the mark of the start; ``None``: any."""
    rings = copy.piece.drawn.rings
    points = curve.xy * _NM - np.array(copy.shift)
    reach = 1.5 * copy.piece.built.plan.corner_relief.value * _NM + 2.0
    found = np.zeros(len(points), dtype=bool)
    for low, high in _bottoms(rings):
        beyond = np.maximum(np.maximum(low - points, points - high), 0.0)
        found |= beyond.max(axis=1) <= reach
    return found if found.any() else None


def _bottoms(rings: Rings) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """(least, greatest) corners of every side of the outer ring that is the bottom of a slot."""
    a, b = rings.start[0], rings.start[1]
    ends = rings.ends
    return [
        (np.minimum(rings.xy[i], ends[i]), np.maximum(rings.xy[i], ends[i]))
        for i in range(a, b)
        if rings.role[i] in (Role.SHOULDER, Role.FLOOR)
    ]


def sequenced(
    sheet: LaidSheet,
    ask: SequenceAsk | None = None,
    *,
    bridges: BridgeAsk | None = None,
    lead_in: LeadInAsk | None = None,
) -> SheetCuts:
    """Put everything on a sheet in sequence, layer after layer, and prove it.

    With ``bridges`` the panels that can fall or tip are held; with ``lead_in`` closed outlines are begun in
    the waste where there is room.

    Raises
    ------
    ProofFailed
        When something would be cut after it has come loose.
    """
    ask = ask or SequenceAsk()
    held: list[Held] = []
    if bridges is not None:
        tried = (hold(copy, copy_curves(copy)[-1], bridges) for copy in sheet.copies)
        held = [h for h in tried if h is not None]
    every = cuts_of(sheet, held)
    cuts = [c for c, _, _ in every]
    first = [i for i, (_, _, layer) in enumerate(every) if layer is Layer.CUT_INNER]
    last = [i for i, (_, _, layer) in enumerate(every) if layer is Layer.CUT_OUTER]
    steps = _marks_in_turn(sheet, ask.home)
    home, close, heat = ask.home, 0, 0.0
    if steps:
        home = _end(cuts, steps[-1])
    for half in (first, last):
        if not half:
            continue
        here = [cuts[i] for i in half]
        found = cut_sequence(here, _from(ask, home, back=half is last))
        steps += [Step(cut=half[s.cut], entry=s.entry, reverse=s.reverse) for s in found.steps]
        close += found.close_followers
        heat += found.heat_mm
        home = _end(cuts, steps[-1])
    curves = [curve for _, curve, _ in every]
    leads = None if lead_in is None else _lead_in(sheet, cuts, curves, steps, lead_in)
    check_sequence(cuts, steps)
    return SheetCuts(
        cuts=tuple(cuts),
        curves=tuple(curves),
        layers=tuple(layer for _, _, layer in every),
        found=CutSequence(
            steps=tuple(steps),
            travel_mm=travel_mm(cuts, steps, ask),
            close_followers=close,
            heat_mm=heat,
        ),
        held=tuple(held),
        leads=leads,
    )


def _lead_in(
    sheet: LaidSheet, cuts: list[Cut], curves: list[Curve], steps: list[Step], ask: LeadInAsk
) -> tuple[int, int]:
    """Begin closed outlines in the waste, in place; how many, and for how many there was no room."""
    routed = {c.number - 1 for c in sheet.copies if c.piece.built.plan.tool is not None}
    got = missing = 0
    for k, step in enumerate(steps):
        cut = cuts[step.cut]
        if cut.kind is not CutKind.OUTER or not cut.closed or cut.part in routed:
            continue
        others = [c for i, c in enumerate(cuts) if i != step.cut and c.kind is not CutKind.MARK]
        start = lead_in_start(cut, step.entry, ask, others)
        if start is None:
            missing += 1
            continue
        got += 1
        begun = with_lead_in(cut, step.entry, start)
        cuts[step.cut] = begun
        curves[step.cut] = Curve(
            layer=curves[step.cut].layer, xy=begun.path / _NM, bulge=begun.bulge, closed=False
        )
        steps[k] = Step(cut=step.cut, entry=0)
    return got, missing


def _marks_in_turn(sheet: LaidSheet, home: tuple[int, int]) -> list[Step]:
    """Marks group after group, the nearest next; within a group stroke after stroke, as one writes."""
    starts, at, k = [], np.array(home) / _NM, 0
    for group in sheet.mark_groups:
        end = group[-1].xy[0 if group[-1].closed else -1]
        starts.append((k, len(group), group[0].xy[0], end))
        k += len(group)
    steps = []
    while starts:
        near = min(starts, key=lambda s: (float(np.hypot(*(s[2] - at))), s[0]))
        starts = [s for s in starts if s is not near]
        steps += [Step(cut=near[0] + i, entry=0) for i in range(near[1])]
        at = near[3]
    return steps


def _from(ask: SequenceAsk, home: tuple[int, int], *, back: bool) -> SequenceAsk:
    # the way back from the outlines leads to where they began: the bed's own home is as near
    return replace(ask, home=home, back=back and ask.back)


def _end(cuts: list[Cut], step: Step) -> tuple[int, int]:
    cut = cuts[step.cut]
    k = step.entry if cut.closed else 0 if step.reverse else len(cut.path) - 1
    return int(cut.path[k, 0]), int(cut.path[k, 1])


def _from_entry(curve: Curve, step: Step) -> Curve:
    """The curve as it is cut: begun at the entry, or run backwards."""
    xy, bulge = curve.xy, curve.bulge
    if curve.closed:
        xy = np.roll(xy, -step.entry, axis=0)
        bulge = None if bulge is None else np.roll(bulge, -step.entry)
    elif step.reverse:
        xy = xy[::-1]
        bulge = None if bulge is None else -np.append(bulge[:-1][::-1], 0.0)
    return Curve(layer=curve.layer, xy=xy, bulge=bulge, closed=curve.closed)
