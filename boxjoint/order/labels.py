"""Marks that tell the parts apart: names, letters of mating edges, an arrow, and a line on the waste.

They are scored on the side that lies up when that is the inside, so that no show face is marked; they
keep clear of every side of the outline, as cut, of what the job itself marks there, and of each other. What finds no room is left out and
said. An edge with letter A goes to the other edge with letter A of the same box.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from boxjoint.check.built import Built
from boxjoint.geometry.drawing import Curve, Label, Layer
from boxjoint.geometry.holes import mirrored_hole
from boxjoint.geometry.rings import Rings, mirrored
from boxjoint.geometry.strokes import label_strokes
from boxjoint.order.records import Copy, LaidSheet, Piece

__all__ = ["LEAST_HEIGHT_MM", "Marker", "job_marks", "joint_letters", "waste_line"]

#: Letters lower than this are hard to read once scored (common practice, no source).
LEAST_HEIGHT_MM = 2.5
_NAME_MM = (4.0, 3.2, LEAST_HEIGHT_MM)
_LETTER_MM = (3.5, 3.0, LEAST_HEIGHT_MM)
_GAP_MM = 1.0
_PLACES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)

Strokes = list[NDArray[np.float64]]
Box = tuple[float, float, float, float]


def joint_letters(built: Built) -> tuple[str, ...]:
    """A letter for every joint: A to Z, then AA and so on; each body (drawer, lid) has its own A."""
    arrangement = built.solution.arrangement
    body_of = {name: k for k, body in enumerate(arrangement.bodies) for name in body.slabs}
    names = [p.name for p in built.solution.panels]
    counts: dict[int, int] = {}
    out = []
    for joint in built.solution.joints:
        homes = {body_of.get(names[joint.a], -1), body_of.get(names[joint.b], -1)}
        home = homes.pop() if len(homes) == 1 else -1
        out.append(_letters(counts.get(home, 0)))
        counts[home] = counts.get(home, 0) + 1
    return tuple(out)


def _letters(n: int) -> str:
    out = ""
    n += 1
    while n:
        n, digit = divmod(n - 1, 26)
        out = chr(ord("A") + digit) + out
    return out


def _text(words: str, height: float, *, upright: bool = False) -> tuple[Strokes, float, float]:
    """Strokes of a line about the middle of its box, and the box's width and height, mm."""
    label = Label(layer=Layer.MARK, at=(0.0, 0.0), text=words, height=height)
    strokes = [np.asarray(s, dtype=np.float64) for s in label_strokes(label)]
    if not strokes:
        return [], 0.0, 0.0
    if upright:
        strokes = [np.stack([-s[:, 1], s[:, 0]], axis=1) for s in strokes]
    return _centred(strokes)


def _centred(strokes: Strokes) -> tuple[Strokes, float, float]:
    every = np.concatenate(strokes)
    low, high = every.min(axis=0), every.max(axis=0)
    return [s - (low + high) / 2 for s in strokes], float(high[0] - low[0]), float(high[1] - low[1])


class _Room:
    """The free room of one piece, in the axes that it is drawn in before it is turned, mm."""

    def __init__(self, outline: Rings) -> None:
        a, b = outline.xy / 1e6, outline.ends / 1e6
        self.low, self.high = np.minimum(a, b), np.maximum(a, b)
        self.upright = a[:, 0] == b[:, 0]
        self.taken: list[Box] = []
        x0, y0, x1, y1 = outline.extent
        self.extent = (x0 / 1e6, y0 / 1e6, x1 / 1e6, y1 / 1e6)

    def free(self, x: float, y: float, w: float, h: float) -> bool:
        """Whether a box about (x, y) lies on material, clear of all sides and of other marks."""
        x0, x1 = x - w / 2 - _GAP_MM, x + w / 2 + _GAP_MM
        y0, y1 = y - h / 2 - _GAP_MM, y + h / 2 + _GAP_MM
        if any(x0 < d and c < x1 and y0 < f and e < y1 for c, e, d, f in self.taken):
            return False
        near = (
            (self.low[:, 0] < x1)
            & (self.high[:, 0] > x0)
            & (self.low[:, 1] < y1)
            & (self.high[:, 1] > y0)
        )
        if near.any():
            return False
        right = self.upright & (self.low[:, 0] > x) & (self.low[:, 1] <= y) & (self.high[:, 1] > y)
        return bool(np.count_nonzero(right) % 2)

    def take(self, x: float, y: float, w: float, h: float) -> None:
        """Remember what lies here now."""
        self.taken.append((x - w / 2, y - h / 2, x + w / 2, y + h / 2))

    def spots(self) -> Iterator[tuple[float, float]]:
        """Places over the piece, those near its middle first."""
        x0, y0, x1, y1 = self.extent
        cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
        steps = np.linspace(0.06, 0.94, 12)
        found = [
            (x0 + u * (x1 - x0), y0 + v * (y1 - y0)) for u in (0.5, *steps) for v in (0.5, *steps)
        ]
        yield from sorted(found, key=lambda p: ((p[0] - cx) ** 2 + (p[1] - cy) ** 2, p))


class Marker:
    """Makes the marks of an order, each piece once.

    Parameters
    ----------
    numbers
        By group, the job's number, which goes before its parts' names where there are several jobs.
    """

    def __init__(self, numbers: Mapping[str, int]) -> None:
        self.numbers = numbers
        self.missing: dict[str, None] = {}
        self._fixed: dict[Piece, tuple[_Room, list[Strokes], tuple[str, ...]]] = {}

    def marks(self, copy: Copy) -> tuple[tuple[Curve, ...], ...]:
        """Labels of one copy at its place on the sheet, text by text; none where the outside lies up."""
        piece = copy.piece
        if not piece.mirrored:
            return ()
        room, texts, missing = self._letters(piece)
        for what in missing:
            self.missing[f"{copy.group} {copy.name}: no room to score {what}"] = None
        name = self._name(copy, room)
        if name is None:
            self.missing[f"{copy.label}: no room to score its name"] = None
        return tuple(
            tuple(Curve(layer=Layer.MARK, xy=_placed(s, copy), closed=False) for s in text)
            for text in (*texts, *([name] if name else []))
        )

    def _name(self, copy: Copy, room: _Room) -> Strokes | None:
        number = self.numbers.get(copy.group)
        texts = [copy.short] if number is None else [f"J{number} {copy.short}", copy.short]
        for words in texts:
            for upright in (False, True):
                for height in _NAME_MM:
                    strokes, w, h = _text(words, height, upright=upright)
                    for x, y in room.spots():
                        if room.free(x, y, w, h):
                            return [s + np.array((x, y)) for s in strokes]
        return None

    def _letters(self, piece: Piece) -> tuple[_Room, list[Strokes], tuple[str, ...]]:
        if piece not in self._fixed:
            self._fixed[piece] = _fixed_marks(piece)
        return self._fixed[piece]


def _own_axes(piece: Piece) -> Rings:
    """The piece as cut, as it is seen from above before it is turned, nm."""
    return mirrored(piece.as_cut) if piece.mirrored else piece.as_cut


def _fixed_marks(piece: Piece) -> tuple[_Room, list[Strokes], tuple[str, ...]]:
    """Letters of the joints and the arrow: alike on all copies of a piece."""
    room = _Room(_own_axes(piece))
    for cut in piece.part.holes:  # a mark over a hole would be lost
        hole = mirrored_hole(cut.as_cut) if piece.mirrored else cut.as_cut
        (x0, y0), (x1, y1) = hole.lo, hole.hi
        room.take((x0 + x1) / 2e6, (y0 + y1) / 2e6, (x1 - x0) / 1e6, (y1 - y0) / 1e6)
    for mark in piece.part.marks:  # nor does anybody read one over another
        if mark.face == "inside":
            left, low, right, high = mark.extent
            x = (left + right) / 2 * (-1 if piece.mirrored else 1)
            room.take(x, (low + high) / 2, right - left, high - low)
    texts: list[Strokes] = []
    missing: list[str] = []
    built, panel = piece.built, piece.part.panel
    slab = next(i for i, p in enumerate(built.solution.panels) if p.name == piece.part.home)
    letters = joint_letters(built)
    flip = -1.0 if piece.mirrored else 1.0
    middle = ((room.extent[0] + room.extent[2]) / 2, (room.extent[1] + room.extent[3]) / 2)
    # the name comes first in importance: keep the middle free for it while letters are placed
    for joint in built.solution.joints:
        if slab not in (joint.a, joint.b):
            continue
        bar = joint.bar.common(panel.slab.box)
        if bar is None:
            continue  # on another piece of a divided panel
        along = panel.frame.axes.index(joint.axis)
        spans = []
        for k in (0, 1):
            axis = panel.frame.axes[k]
            _, lo, hi = panel.frame.to_drawing(
                axis, np.array([bar.lo[axis]]), np.array([bar.hi[axis]])
            )
            a, b = float(lo[0]) / 1e6, float(hi[0]) / 1e6
            spans.append((min(flip * a, flip * b), max(flip * a, flip * b)) if k == 0 else (a, b))
        placed = _beside(room, letters[joint.index], spans, along, middle)
        if placed is None:
            missing.append(f"the letter {letters[joint.index]}")
        else:
            texts.append(placed)
    arrow = _arrow(room, piece)
    if arrow is None:
        missing.append("its arrow")
    else:
        texts.append(arrow)
    return room, texts, tuple(missing)


def _beside(
    room: _Room,
    words: str,
    spans: Sequence[tuple[float, float]],
    along: int,
    middle: tuple[float, float],
) -> Strokes | None:
    """Put a letter beside a bar, on the side towards the middle of the panel first."""
    across = 1 - along
    start, end = spans[along]
    low, high = spans[across]
    towards = 1 if middle[across] > (low + high) / 2 else -1
    for height in _LETTER_MM:
        strokes, w, h = _text(words, height)
        size = (w, h)
        for side in (towards, -towards):
            edge = high if side > 0 else low
            for step in (0.3, 1.5, 3.0):
                at = edge + side * (size[across] / 2 + _GAP_MM + step)
                for share in _PLACES:
                    spot = [0.0, 0.0]
                    spot[along] = start + share * (end - start)
                    spot[across] = at
                    if room.free(spot[0], spot[1], w, h):
                        room.take(spot[0], spot[1], w, h)
                        return [s + spot for s in strokes]
    return None


def _arrow(room: _Room, piece: Piece) -> Strokes | None:
    """An arrow up on walls, towards the back of the box on what lies flat."""
    frame = piece.part.panel.frame
    k = frame.axes.index(2) if 2 in frame.axes else frame.axes.index(1)
    sense = float(frame.senses[k])
    if k == 0 and piece.mirrored:
        sense = -sense
    word = "up" if 2 in frame.axes else "back"
    for length in (8.0, 6.0, 4.0):
        head = length / 4
        points = (
            np.array([[0, 0], [0, length]]),
            np.array([[-head, length - head], [0, length], [head, length - head]]),
        )
        letters, w, _ = _text(word, LEAST_HEIGHT_MM)
        shaft = [p - (0, length / 2) for p in points]
        if k == 0:
            shaft = [np.stack([sense * p[:, 1], p[:, 0]], axis=1) for p in shaft]
        else:
            shaft = [p * (1, sense) for p in shaft]
        wide = length if k == 0 else 2 * head
        strokes, w, h = _centred(
            [*shaft, *(s + np.array((wide / 2 + w / 2 + 1.0, 0.0)) for s in letters)]
        )
        x0, y0, x1, y1 = room.extent
        # not in the middle, which is the name's
        for x, y in sorted(
            room.spots(),
            key=lambda p: (
                abs(p[1] - (y0 + 0.75 * (y1 - y0))),
                abs(p[0] - (x0 + 0.75 * (x1 - x0))),
            ),
        ):
            if room.free(x, y, w, h):
                room.take(x, y, w, h)
                return [s + np.array((x, y)) for s in strokes]
    return None


def _placed(stroke: NDArray[np.float64], copy: Copy) -> NDArray[np.float64]:
    """A stroke turned and moved to the copy's place on the sheet, mm."""
    piece = copy.piece
    scale = piece.drawn.beam.scale
    xy = stroke
    for _ in range(piece.quarters % 4):
        xy = np.stack([-xy[:, 1], xy[:, 0]], axis=1)
    result: NDArray[np.float64] = xy / (scale.x, scale.y) + np.array(copy.shift) / 1e6
    return result


def job_marks(copy: Copy) -> tuple[tuple[tuple[Curve, ...], ...], list[str]]:
    """What the job marks on one copy, at its place on the sheet, and what cannot be made there.

    Only the face that lies up can be marked; of a laminated panel only one layer is.

    Returns
    -------
    groups
        The curves of each mark.
    missing
        Marks of the other face, in words.
    """
    piece = copy.piece
    layers = piece.built.job.layers(piece.part.home)
    up = "inside" if piece.mirrored else "outside"
    if (copy.placement.copy - 1) % layers:
        return (), []
    groups, missing = [], []
    for mark in piece.part.marks:
        if mark.face != up:
            missing.append(
                f"{copy.label}: {mark.name} IS NOT ON THE SHEET: its {mark.face} lies down there; turn "
                "the panel over and mark it from its own drawing"
            )
            continue
        curves = []
        for curve in mark.curves:
            xy = curve.xy * (-1, 1) if piece.mirrored else curve.xy
            curves.append(Curve(layer=curve.layer, xy=_placed(xy, copy), closed=curve.closed))
        groups.append(tuple(curves))
    return tuple(groups), missing


def waste_line(sheet: LaidSheet, words: str) -> tuple[Curve, ...]:
    """Score a line on the largest piece of waste that holds it; none where nothing does."""
    for x, y, w, h in sheet.nested.remains:
        for height in (4.0, 3.2, LEAST_HEIGHT_MM):
            for upright in (False, True):
                strokes, wide, high = _text(words, height, upright=upright)
                if strokes and wide + 6 <= w / 1e6 and high + 6 <= h / 1e6:
                    at = (x / 1e6 + 3 + wide / 2, y / 1e6 + 3 + high / 2)
                    return tuple(Curve(layer=Layer.MARK, xy=s + at, closed=False) for s in strokes)
    return ()
