"""Pictures of the assembly sequence: one a stage, and pages on which they follow each other.

What comes next is drawn apart, in the direction from which it comes, in full tones and a heavy line;
what is in place already is pale. An arrow and broken lines show the way. All of it differs in lightness
and width of line, so that a print in black and white reads the same.

``step_pictures`` gives every picture as plain shapes (``boxjoint.export.pictures``) at the size that is
asked for, for whoever makes pages of another kind; ``picture_svg`` turns one into SVG elements.
``step_pages`` makes whole pages, A4 upright, of up to twelve pictures each.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np

from boxjoint.check.built import Built
from boxjoint.export.isometric import IsometricView, isometric_view
from boxjoint.export.pictures import INK, Line, Picture, lines_svg, picture_svg, written_mm
from boxjoint.export.stages import Stage, stages
from boxjoint.export.visible import View
from boxjoint.geometry.cuboid import Triple
from boxjoint.solve.arrangement import Slab

__all__ = ["StepPicture", "step_pages", "step_pictures"]

_PAGE_MM = (210.0, 297.0)  # ISO 216 A4
_MARGIN_MM = 12.0
_HEAD_MM = 12.0
_GAP_MM = 3.0
_GRIDS = ((2, 3), (2, 4), (3, 4))  # columns and rows: the first that holds all, else the last
_LETTER = 0.52  # width of a usual sans letter, of the font's size; common practice, no source

_SHOWN = 0.4  # of what comes next at least this much is to be seen, else it is drawn further out
_NAMES = 3  # more parts than this that come together get no names in the picture

_ABOVE: View = ("front", "right", "top")
_BELOW: View = ("front", "right", "bottom")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StepPicture:
    """One picture of an assembly sequence.

    Parameters
    ----------
    stage
        What it shows; ``None`` for the last one, which shows all in its place.
    picture
        Shapes and names, mm.
    """

    stage: Stage | None
    picture: Picture

    @property
    def number(self) -> str:
        """The number to write beside it; empty for the last."""
        return str(self.stage.number) if self.stage else ""

    @property
    def text(self) -> str:
        """What is done, in words."""
        return self.stage.text if self.stage else "Together."


def step_pictures(
    built: Built, *, width_mm: float, height_mm: float, text_mm: float = 2.6
) -> tuple[StepPicture, ...]:
    """Return a picture of every stage of the assembly sequence, and one of all in its place.

    Parameters
    ----------
    built
        A job that goes together.
    width_mm, height_mm
        Of each picture.
    text_mm
        Font size of the names in it.

    Returns
    -------
    tuple of StepPicture
        Pictures that show the same thing growing are of one scale. Empty where a set locks.
    """
    told = stages(built)
    if not told:
        return ()
    drawer = _Drawer(built)
    views = [drawer.view(stage) for stage in told]
    views.append(isometric_view(drawer.panels, holes=drawer.holes, marks=drawer.marks))
    # what joins nothing comes from far out and would make all the others small
    keys = [(s.there[0], 0 if s.joins and len(s.moved[0]) == 1 else s.number) for s in told]
    keys.append(("", 0))

    def drawn(view: IsometricView, stage: Stage | None, most_scale: float = np.inf) -> Picture:
        return view.picture(
            width_mm=width_mm,
            height_mm=height_mm,
            labels=drawer.names(stage),
            strong=drawer.strong(stage),
            text_mm=text_mm,
            margin_mm=1.5,
            most_scale=most_scale,
            weight=min(1.0, max(0.5, width_mm / 120)),
        )

    made = [drawn(view, stage) for view, stage in zip(views, (*told, None), strict=True)]
    scales: dict[tuple[str, int], float] = {}
    for key, picture in zip(keys, made, strict=True):
        scales[key] = min(picture.scale, scales.get(key, np.inf))
    found = []
    for key, picture, view, stage in zip(keys, made, views, (*told, None), strict=True):
        if picture.scale > scales[key]:
            picture = drawn(view, stage, scales[key])
        found.append(StepPicture(stage=stage, picture=picture))
    return tuple(found)


class _Drawer:
    """The panels of one job, and how far from their places they are drawn."""

    def __init__(self, built: Built) -> None:
        self.panels = [p.panel for p in built.cut_parts]  # of a divided panel its pieces
        self.holes = {
            p.panel.name: [h.placed.hole for h in p.holes] for p in built.cut_parts if p.holes
        }
        self.marks = {p.panel.name: p.marks for p in built.cut_parts if p.marks}
        self.slabs: dict[str, Slab] = {s.name: s for s in built.solution.arrangement.slabs}
        self.slabs |= {p.name: p.slab for p in self.panels}
        self.cut = {p.panel.name: [c.panel.name for c in p.pieces] for p in built.parts if p.pieces}

    def view(self, stage: Stage) -> IsometricView:
        """What is seen in one stage."""
        seen = {*self._pieces(stage.there), *self.strong(stage)}
        shown = [p for p in self.panels if p.name in seen]
        if stage.direction is None:
            return isometric_view(shown, holes=self.holes, marks=self.marks)
        view = _BELOW if stage.direction == (2, 1) else _ABOVE
        found: IsometricView | None = None
        for far in self._distances(stage):
            away, home = self._vectors(stage, far)
            found = isometric_view(
                shown,
                holes=self.holes,
                marks=self.marks,
                apart=dict.fromkeys(self.strong(stage), away),
                arrows=dict.fromkeys(self._pieces(self._leaders(stage), most=1), home),
                view=view,
            )
            if self._share_seen(stage, found) >= _SHOWN:
                break
        return found or isometric_view(shown, holes=self.holes, marks=self.marks)

    def names(self, stage: Stage | None) -> dict[str, str]:
        """Names to write in the picture of a stage."""
        if stage is None:
            return {}
        found = {stage.laid: stage.laid} if stage.laid else {}
        if not stage.steps:  # pieces of one panel
            found = {stage.there[0]: stage.there[0]}
        if len(stage.moved) <= _NAMES:
            for parts in stage.moved:
                if len(parts) == 1:
                    found[parts[0]] = parts[0]
        if len(stage.moved) == 1 and len(stage.moved[0]) > 1:
            found[max(stage.moved[0], key=self._area)] = stage.name
        return {n: text for name, text in found.items() for n in self._pieces((name,), most=1)}

    def strong(self, stage: Stage | None) -> tuple[str, ...]:
        """Parts that the picture of a stage is about."""
        return self._pieces(self._moved_names(stage)) if stage else ()

    def _pieces(self, names: Sequence[str], most: int | None = None) -> tuple[str, ...]:
        """Names of what is drawn: of divided panels the pieces, ``most`` of each, the largest first."""
        return tuple(
            piece
            for name in names
            for piece in sorted(self.cut.get(name, [name]), key=self._area, reverse=True)[:most]
        )

    def _moved_names(self, stage: Stage) -> tuple[str, ...]:
        return tuple(n for parts in stage.moved for n in parts)

    def _area(self, name: str) -> int:
        """Of a slab's face, nm2."""
        slab = self.slabs[name]
        x, y, z = slab.box.size
        return x * y * z // slab.thickness

    def _distances(self, stage: Stage) -> Iterator[int]:
        """How far out to draw: clear of the mates if that shows it, else clear of everything, nm."""
        moved = self._moved_names(stage)
        every = [self.slabs[n].box for n in (*moved, *stage.there)]
        whole = [max(b.hi[k] for b in every) - min(b.lo[k] for b in every) for k in range(3)]
        thick = max(self.slabs[n].thickness for n in moved)
        gap = max(3 * thick, max(whole) // 7)
        if stage.joins:
            near = self._clear(stage, stage.joins) + gap
            if self._free(stage, near):
                yield near
        yield self._clear(stage, stage.there) + (gap if stage.joins else 2 * gap)

    def _clear(self, stage: Stage, others: Sequence[str]) -> int:
        """How far the moved go back until they are past the others, nm."""
        axis, sense = stage.direction or (0, 1)
        mine = [self.slabs[n].box for n in self._moved_names(stage)]
        rest = [self.slabs[n].box for n in others]
        if sense > 0:
            far = max(b.hi[axis] for b in mine) - min(b.lo[axis] for b in rest)
        else:
            far = max(b.hi[axis] for b in rest) - min(b.lo[axis] for b in mine)
        return max(far, 0)

    def _free(self, stage: Stage, far: int) -> bool:
        """Whether nothing in place reaches into where the moved are drawn."""
        away, _ = self._vectors(stage, far)
        for name in self._moved_names(stage):
            lo, hi = (
                [p[k] + away[k] for k in range(3)]
                for p in (self.slabs[name].box.lo, self.slabs[name].box.hi)
            )
            for other in stage.there:
                box = self.slabs[other].box
                if all(lo[k] < box.hi[k] and box.lo[k] < hi[k] for k in range(3)):
                    return False
        return True

    def _vectors(self, stage: Stage, far: int) -> tuple[Triple, Triple]:
        """Offset of the moved from their places, and the way home."""
        axis, sense = stage.direction or (0, 1)
        away, home = [0, 0, 0], [0, 0, 0]
        away[axis], home[axis] = -sense * far, sense * far
        return (away[0], away[1], away[2]), (home[0], home[1], home[2])

    def _leaders(self, stage: Stage) -> list[str]:
        """The parts that get an arrow: of each thing that travels the one that goes ahead."""
        axis, sense = stage.direction or (0, 1)

        def ahead(name: str) -> tuple[int, int]:
            box = self.slabs[name].box
            return (box.hi[axis] if sense > 0 else -box.lo[axis]), self._area(name)

        found = [max(parts, key=ahead) for parts in stage.moved]
        # a thicket of arrows says no more than the one nearest to the viewer
        return found if len(found) <= _NAMES else [max(found, key=self._nearness)]

    def _nearness(self, name: str) -> int:
        box = self.slabs[name].box
        return box.hi[0] - box.lo[1] + box.hi[2]

    def _share_seen(self, stage: Stage, view: IsometricView) -> float:
        """How much of the moved is seen, of what would be seen of it alone."""
        moved = set(self.strong(stage))
        seen = sum(
            float(o.area)
            for n, o in zip(view.scene.names, view.outlines, strict=True)
            if n in moved
        )
        mine = [self.slabs[n].box for n in moved]
        x, y, z = (max(b.hi[k] for b in mine) - min(b.lo[k] for b in mine) for k in range(3))
        alone = min(x * y + y * z + z * x, sum(self._area(n) for n in moved))
        return seen / alone


def step_pages(built: Built) -> dict[str, str]:
    """Return the assembly sequence as pages, A4 upright, by the name of the file.

    Returns
    -------
    dict
        ``steps.svg``, or ``steps-1.svg`` and so on where there is more than one page; empty where a
        set locks. SVG 1.1, lines end with ``\\n``, the same for the same input, byte for byte.
    """
    count = len(stages(built)) + 1
    if count == 1:
        return {}
    columns, rows = next((g for g in _GRIDS if g[0] * g[1] >= count), _GRIDS[-1])
    width = (_PAGE_MM[0] - 2 * _MARGIN_MM - (columns - 1) * _GAP_MM) / columns
    height = (_PAGE_MM[1] - 2 * _MARGIN_MM - _HEAD_MM - (rows - 1) * _GAP_MM) / rows
    size = 3.0 if columns == 2 else 2.5
    room = int((width - 3) / (_LETTER * size))
    told = [textwrap.wrap(s.text, room) for s in stages(built)]
    foot = (max(map(len, told)) * 1.3 + 1) * size
    made = step_pictures(built, width_mm=width, height_mm=height - foot, text_mm=size)
    most = columns * rows
    sheets = [made[k : k + most] for k in range(0, len(made), most)]
    pages = {}
    for number, sheet in enumerate(sheets, 1):
        title = f"{built.job.title}: how it goes together"
        if len(sheets) > 1:
            title += f", page {number} of {len(sheets)}"
        cells = []
        for k, one in enumerate(sheet):
            x = _MARGIN_MM + k % columns * (width + _GAP_MM)
            y = _MARGIN_MM + _HEAD_MM + k // columns * (height + _GAP_MM)
            cells.append(_cell(one, (x, y), (width, height), size, room))
        name = "steps.svg" if len(sheets) == 1 else f"steps-{number}.svg"
        pages[name] = _page(title, cells)
    return pages


def _cell(
    one: StepPicture, at: tuple[float, float], size_mm: tuple[float, float], size: float, room: int
) -> str:
    """One picture with its number above and its words below."""
    width, height = size_mm
    lines = textwrap.wrap(one.text, room)
    top = one.picture.height_mm + size
    words = [
        Line(text=t, at=(1.5, top + (k + 0.2) * 1.3 * size), size=size) for k, t in enumerate(lines)
    ]
    x, y = map(written_mm, at)
    w, h = map(written_mm, (width, height))
    out = [f'<g transform="translate({x} {y})">\n']
    out.append(
        f'<rect fill="none" stroke="{INK}" stroke-width="0.13" x="0" y="0" width="{w}" height="{h}"/>\n'
    )
    out.append(picture_svg(one.picture))
    if one.number:
        out.append(f'<circle fill="{INK}" cx="6" cy="6" r="4"/>\n')
        number = Line(text=one.number, at=(6, 6), size=4.6, anchor="middle")
        out += lines_svg([number], colour="#FFFFFF")
    out += lines_svg(words)
    out.append("</g>\n")
    return "".join(out)


def _page(title: str, cells: Sequence[str]) -> str:
    w, h = map(written_mm, _PAGE_MM)
    head = Line(text=title, at=(_MARGIN_MM, _MARGIN_MM + 3), size=5.0)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}">\n'
        f"<title>{escape(title)}</title>\n" + "".join((*lines_svg([head]), *cells)) + "</svg>\n"
    )
