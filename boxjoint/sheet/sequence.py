"""The cut sequence of one sheet: marks, then inner cuts before outlines, with short travel.

Nothing is cut after it has come loose: whatever lies inside an outline, marks, inner cuts and parts in
its windows, comes before it. Within that the sequence starts from the nearest cut that may come next,
and two searches take turns: moves of stretches (``route``), and the exact choice of where the beam
starts every cut (``entries``). Choosing the vertex saves more than any better search for the
sequence would.

Lines that lie near each other should not follow at once, or the stock between them heats up: such a
step costs travel (:class:`~boxjoint.sheet.cuts.SequenceAsk`).
"""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np

from boxjoint.errors import InputError
from boxjoint.geometry.rings import Ints
from boxjoint.sheet.cuts import NM_PER_MM, Cut, CutKind, CutSequence, Floats, SequenceAsk, Step
from boxjoint.sheet.entries import Modes, away, best_entries, greedy_sequence, modes_of
from boxjoint.sheet.heat import HeatTable
from boxjoint.sheet.route import Neighbours, Route, improve, swap_stretches
from boxjoint.sheet.sequence_check import check_sequence

__all__ = ["cut_sequence", "must_precede", "travel_mm"]

_KINDS = {CutKind.MARK: 0, CutKind.INNER: 1, CutKind.OUTER: 2}
#: What going to another part counts more for the first sequence, mm^2: part by part, freely, between.
_STAYS = (1e9, 0.0, 100.0)
_MANY = 600  # beyond it one start, and no kicks
_KICKED = 6_000  # kicks times cuts
_SEED = 1  # of the kicks
_BLOCK = 4_000_000
_LEAST_SHARE = 3e-4  # a round that gains less is the last


def cut_sequence(cuts: Sequence[Cut], ask: SequenceAsk | None = None) -> CutSequence:
    """Put the cuts of one sheet in sequence, and prove it.

    Parameters
    ----------
    cuts
        Everything that is marked and cut on the sheet.
    ask
        Home, heat spread and budgets.

    Returns
    -------
    CutSequence
        Steps refer to ``cuts`` by index. The same cuts give the same sequence, however they are
        listed: budgets are counted in iterations.

    Raises
    ------
    InputError
        Two outlines of one part; a part that lies in no window of the part it names as its host;
        outlines and windows that would have to come before each other.
    ProofFailed
        The independent checker found a cut that comes after it has come loose: outlines cross.
    """
    ask = ask or SequenceAsk()
    if not cuts:
        return CutSequence(steps=(), travel_mm=0.0, close_followers=0, heat_mm=0.0)
    index = _listed(cuts)
    listed = [cuts[i] for i in index]
    marks = sum(c.kind is CutKind.MARK for c in listed)
    pairs = must_precede(listed)
    home = np.array(ask.home, dtype=np.int64) / NM_PER_MM
    modes = modes_of(listed)
    heat = HeatTable(listed, ask, len(listed) + 2)
    part = np.array([c.part for c in listed], dtype=np.int64)
    route, mode = _search(modes, pairs, part, marks, home, heat, ask)
    steps = []
    for k in route.tolist():
        vertex = int(modes.vertex[mode[k]])
        backwards = not listed[k].closed and vertex > 0
        steps.append(Step(cut=index[k], entry=vertex, reverse=backwards))
    check_sequence(cuts, steps)
    follow = heat(route[:-1], route[1:])
    return CutSequence(
        steps=tuple(steps),
        travel_mm=travel_mm(cuts, steps, ask),
        close_followers=int(np.count_nonzero(follow)),
        heat_mm=float(follow.sum()),
    )


def travel_mm(cuts: Sequence[Cut], steps: Sequence[Step], ask: SequenceAsk | None = None) -> float:
    """Way of the head with the beam off, mm: from home through all steps and, when asked, back."""
    ask = ask or SequenceAsk()
    places = [ask.home]
    for step in steps:
        cut = cuts[step.cut]
        at = (
            step.entry if cut.closed else 0 if step.reverse else len(cut.path) - 1,
            step.entry,
        )
        places += [tuple(cut.path[at[1]].tolist()), tuple(cut.path[at[0]].tolist())]
    if ask.back:
        places.append(ask.home)
    points = np.array(places, dtype=np.int64) / NM_PER_MM
    ways = away(points[:-1], points[1:])
    return float(ways[::2].sum())  # every second way is the cut itself


def _listed(cuts: Sequence[Cut]) -> list[int]:
    """Indices in a sequence that does not depend on how the caller lists them: marks first."""
    return sorted(
        range(len(cuts)),
        key=lambda i: (
            _KINDS[cuts[i].kind],
            cuts[i].part,
            *cuts[i].extent,
            len(cuts[i].path),
            cuts[i].path.tobytes(),
            cuts[i].label,
        ),
    )


def must_precede(cuts: Sequence[Cut]) -> Ints:
    """Pairs (earlier, later) of cuts that are bound, (k, 2); marks are left out, they come first.

    Inner cuts come before their part's outline. Whatever has its extent inside that of an inner cut
    comes before it: that is never too little, and asks a little too much only of holes that are no
    rectangles.
    """
    parts: dict[int, tuple[list[int], list[int]]] = {}
    for i, cut in enumerate(cuts):
        if cut.kind is not CutKind.MARK:
            parts.setdefault(cut.part, ([], []))[cut.kind is CutKind.OUTER].append(i)
    pairs = [(a, b) for inner, outer in parts.values() for a in inner for b in outer]
    for _, outer in parts.values():
        if sum(cuts[i].closed for i in outer) > 1:
            raise InputError("a part has two outlines", where=cuts[outer[0]].name)
    windows = [i for inner, _ in parts.values() for i in inner]
    # what ends a part: its outline, or whatever there is
    last = [i for inner, outer in parts.values() for i in outer or inner]
    others = sorted({*last, *windows})
    extent = np.array([c.extent for c in cuts], dtype=np.int64).reshape(-1, 4)
    inside: list[tuple[int, int]] = []
    if windows:
        far = np.array(others)
        for block in np.array_split(np.array(windows), len(windows) * len(far) // _BLOCK + 1):
            w, o = extent[block][:, None, :], extent[far][None, :, :]
            held = (w[..., :2] < o[..., :2]).all(axis=2) & (o[..., 2:] < w[..., 2:]).all(axis=2)
            r, c = np.nonzero(held)
            inside += zip(far[c].tolist(), block[r].tolist(), strict=True)
    _check_hosts(cuts, last, inside)
    unique = sorted({*pairs, *inside})
    return np.array(unique, dtype=np.int64).reshape(-1, 2)


def _check_hosts(
    cuts: Sequence[Cut], last: Sequence[int], inside: Sequence[tuple[int, int]]
) -> None:
    found = {(a, cuts[b].part) for a, b in inside}
    for i in last:
        host = cuts[i].host
        if host is not None and (i, host) not in found:
            raise InputError(
                f"the part lies in no window of part {host}, which it names as its host",
                where=cuts[i].name,
                do="check where it was placed",
            )


def _search(
    modes: Modes,
    pairs: Ints,
    part: Ints,
    marks: int,
    home: Floats,
    heat: HeatTable,
    ask: SequenceAsk,
) -> tuple[Ints, Ints]:
    """(sequence, mode of each cut) with the least travel and heat found."""
    n = len(part)
    before: list[list[int]] = [[] for _ in range(n)]
    for a, b in pairs.tolist():
        before[b].append(a)
    routes: list[tuple[float, int, Route]] = []
    for stay in _STAYS if n <= _MANY else _STAYS[:1]:
        sequence, mode = greedy_sequence(modes, before, marks, home, part, stay)
        route = Route.of(
            modes,
            sequence,
            mode,
            home=home,
            back=ask.back,
            pairs=pairs,
            part=part,
            marks=marks,
            heat=heat,
        )
        routes.append((_settle(route, ask), len(routes), route))
    total, _, route = min(routes)
    if n > 3 and ask.rounds and ask.passes:
        _shake(route, total, ask, min(ask.kicks, _KICKED // n) if n <= _MANY else 0)
    return route.sequence, route.mode


def _settle(route: Route, ask: SequenceAsk) -> float:
    """Improve moves and entries in turn until neither gains much; mm of travel and heat."""
    near = Neighbours.of(route)
    total = _best_starts(route, ask)
    for turn in range(ask.rounds):
        if turn == 1:  # most starts have moved by then, and hardly move any more later
            near = Neighbours.of(route)
        improve(route, near, ask.passes)
        was, total = total, _best_starts(route, ask)
        if total > (1.0 - _LEAST_SHARE) * was:
            break
    return total


def _best_starts(route: Route, ask: SequenceAsk) -> float:
    """Take the best entries for the sequence as it is; mm of travel and heat."""
    mode, _ = best_entries(route.modes, route.sequence, route.begin[-1], ask.back)
    route.set_modes(mode)
    return float(np.add.accumulate(route.steps_cost())[-1])


def _shake(route: Route, total: float, ask: SequenceAsk, kicks: int) -> None:
    """Swap two neighbouring stretches at random and improve again; keep what is better."""
    rng = random.Random(_SEED)
    near = Neighbours.of(route)
    for _ in range(kicks):
        nodes, mode = route.nodes, route.mode.copy()
        if not swap_stretches(route, rng):
            continue
        improve(route, near, ask.passes)
        now = _best_starts(route, ask)
        if now < total - 1e-6:
            total = now
        else:
            route.nodes = nodes
            route.set_modes(mode)
