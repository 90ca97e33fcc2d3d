"""Lay out pages: blocks one below the other, a new page with its header when one is full.

Everything is measured with the font's own widths before it is drawn. A table goes on on the next
page with its heads repeated, a block that must stay whole moves there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from boxjoint import __version__
from boxjoint.export.papers.typeface import printed, shrunk, width_mm, wrapped
from boxjoint.geometry.page import INK, LINE, PALE, Anchor, Page, Paper, Point

__all__ = ["GREY", "SIDE", "Cell", "Column", "Flow", "put"]

#: Left and right margin, mm; printers leave 5, a punch takes 12.
SIDE = 14.0
_TOP, _FOOT = 10.0, 9.0
_FOOT_HIGH = 6.0
GREY = "#4a4a4a"

BODY, SMALL, LEAST = 2.9, 2.35, 1.9
_RIGHT = 3.0  # from right-hand words to the next column, mm
_LEAD = 1.28  # from base line to base line, in font sizes
_CAP = 0.73  # height of capitals, in font sizes
_MOST_LINES = 6  # of a cell at full size; then it is set smaller
_MOST_SMALL = 14  # of a cell at the least size; then it ends in an ellipsis
_ENDLESS = 1e6


def put(
    page: Page,
    x: float,
    y: float,
    words: str,
    size: float = BODY,
    *,
    bold: bool = False,
    anchor: Anchor = "start",
    fill: str = INK,
    room: float | None = None,
    matrix: tuple[float, float, float, float] = (1.0, 0.0, 0.0, 1.0),
) -> float:
    """Put words on one line, made smaller to fit ``room`` mm; return how long they are."""
    if room is None:
        words = printed(words)
    else:
        words, size = shrunk(words, size, room, least=min(size, 1.6), bold=bold)
    wide = width_mm(words, size, bold=bold)
    if words:
        page.text(x, y, words, size, bold=bold, anchor=anchor, fill=fill, width=wide, matrix=matrix)
    return wide


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column: its head, its share of the table's width, and where words stand."""

    head: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What stands in a cell: words, smaller words below, a box to tick, or boxes to write in."""

    main: str = ""
    sub: str = ""
    bold: bool = False
    tick: bool = False
    write: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    words: str
    size: float
    bold: bool
    fill: str


class Flow:
    """Pages that fill from the top.

    Parameters
    ----------
    paper
        The same for all pages.
    title
        Stands on top of every page.
    beside
        At its right: date and reference.
    """

    def __init__(
        self, paper: Paper, title: str, beside: str = "", *, endless: bool = False
    ) -> None:
        self.paper, self.title, self.beside = paper, title, beside
        self.pages: list[Page] = []
        self.width = paper.wide - 2 * SIDE
        self._endless = endless
        self.page = Page(paper)
        self.y = 0.0
        self.top = 0.0
        if not endless:
            self.new_page()

    # ---- pages ----------------------------------------------------------------------------

    @property
    def bottom(self) -> float:
        """Where blocks have to end, mm from the top of the page."""
        return _ENDLESS if self._endless else self.paper.high - _FOOT - _FOOT_HIGH

    @property
    def room(self) -> float:
        """What is left of the page, mm."""
        return self.bottom - self.y

    @property
    def full_room(self) -> float:
        """What a fresh page has, mm."""
        return self.bottom - _TOP - 9.0

    def new_page(self) -> None:
        """Begin a page and put the title on it, large on the first one."""
        self.page = Page(self.paper)
        self.pages.append(self.page)
        first = len(self.pages) == 1
        size = 5.6 if first else 3.6
        beside = width_mm(printed(self.beside), BODY)
        room = self.width - min(beside, 0.4 * self.width) - 4.0
        lines = wrapped(self.title, size, room, bold=True) if first else []
        if not first or len(lines) > 3:
            words, size = shrunk(self.title, size, room, least=2.4, bold=True)
            lines = [words]
        y = _TOP + _CAP * size
        put(
            self.page,
            SIDE + self.width,
            y,
            self.beside,
            BODY,
            anchor="end",
            room=0.4 * self.width,
        )
        for i, words in enumerate(lines):
            put(self.page, SIDE, y + i * size * _LEAD, words, size, bold=True)
        y += (len(lines) - 1) * size * _LEAD + 2.2
        self.page.line((SIDE, y), (SIDE + self.width, y), width=0.5)
        self.y = self.top = y + 4.0

    def need(self, high: float) -> bool:
        """Begin a page unless ``high`` mm are left; say whether it did."""
        if high <= self.room or self.y == self.top:
            return False
        self.new_page()
        return True

    def add_page(self, page: Page) -> None:
        """Put a page that was laid out elsewhere below the header of a page of its own."""
        self.new_page()
        scale = min(self.width / page.paper.wide, self.room / page.paper.high)
        self.page.place(page.marks, (self.paper.wide - page.paper.wide * scale) / 2, self.y, scale)
        self.y = self.bottom

    def height_of(self, draw: Callable[[Flow], None]) -> float:
        """How high something would be if no page ended, mm."""
        other = Flow(self.paper, self.title, endless=True)
        draw(other)
        return other.y

    def whole(self, draw: Callable[[Flow], None]) -> None:
        """Draw something on one page where it fits on a page at all."""
        self.need(min(self.height_of(draw), self.full_room))
        draw(self)

    def finish(self) -> tuple[Page, ...]:
        """Number the pages and return them."""
        for i, page in enumerate(self.pages):
            y = self.paper.high - _FOOT
            page.line((SIDE, y - 3.4), (SIDE + self.width, y - 3.4), stroke=LINE)
            put(
                page,
                SIDE,
                y,
                f"Stay with the machine while it runs. · boxjoint {__version__}",
                SMALL,
                fill=GREY,
            )
            put(
                page,
                SIDE + self.width,
                y,
                f"{i + 1} of {len(self.pages)}",
                BODY,
                bold=True,
                anchor="end",
            )
        return tuple(self.pages)

    # ---- blocks ---------------------------------------------------------------------------

    def gap(self, high: float = 3.0) -> None:
        """Leave room, but not at the top of a page."""
        if self.y > self.top or self._endless:
            self.y += high

    def heading(self, words: str, *, keep: float = 20.0, beside: str = "") -> None:
        """A heading that is not the last thing on its page: ``keep`` mm below it stay with it."""
        self.need(9.0 + keep)
        self.gap(3.2)
        size = 4.0
        beside_wide = min(width_mm(printed(beside), SMALL), 0.6 * self.width)
        y = self.y + _CAP * size
        put(self.page, SIDE, y, words, size, bold=True, room=self.width - beside_wide - 3.0)
        if beside:
            put(
                self.page,
                SIDE + self.width,
                y,
                beside,
                SMALL,
                anchor="end",
                fill=GREY,
                room=beside_wide + 0.01,
            )
        self.y = y + 2.6

    def paragraph(
        self,
        words: str,
        *,
        size: float = BODY,
        bold: bool = False,
        fill: str = INK,
        indent: float = 0.0,
        bullet: str = "",
    ) -> None:
        """Words over the whole width, with a bullet before the first line."""
        hang = width_mm(printed(bullet), size) + 1.4 if bullet else 0.0
        for i, line in enumerate(wrapped(words, size, self.width - indent - hang, bold=bold)):
            self.need(size * _LEAD)
            y = self.y + _CAP * size
            if bullet and i == 0:
                put(self.page, SIDE + indent, y, bullet, size, fill=fill)
            put(self.page, SIDE + indent + hang, y, line, size, bold=bold, fill=fill)
            self.y += size * _LEAD
        self.y += 0.5

    def framed(self, words: Sequence[str], *, head: str) -> None:
        """Words in a heavy frame, for what must not be overlooked; a frame ends with its page."""
        inner = self.width - 8.0
        lines: list[tuple[str, bool]] = [(h, True) for h in wrapped(head, BODY, inner, bold=True)]
        for w in words:
            lines += [(line, False) for line in wrapped(w, BODY, inner)]
        step = BODY * _LEAD
        self.need(min(len(lines), 4) * step + 4.0)
        while lines:
            count = max(1, min(len(lines), int((self.room - 4.0) / step)))
            part, lines = lines[:count], lines[count:]
            high = len(part) * step + 3.4
            self.page.box(SIDE, self.y, self.width, high, width=0.7)
            for i, (line, bold) in enumerate(part):
                y = self.y + 2.0 + _CAP * BODY + i * step
                put(self.page, SIDE + 4.0, y, line, BODY, bold=bold)
            self.y += high + 2.0
            if lines:
                self.new_page()

    # ---- tables ---------------------------------------------------------------------------

    def table(
        self, columns: Sequence[Column], rows: Sequence[Sequence[str | Cell]], *, least: float = 0.0
    ) -> None:
        """A table over the whole width; its heads come again on every page it reaches.

        Parameters
        ----------
        columns
            Their shares are scaled to the width.
        rows
            A cell a column.
        least
            Least height of a row, mm.
        """
        total = sum(c.share for c in columns)
        wide = [c.share / total * self.width for c in columns]
        heads = [
            self._lines(Cell(main=c.head), w, head=True, right=c.right)
            for c, w in zip(columns, wide, strict=True)
        ]
        head_high = max(_high(h) for h in heads) + 1.6
        cells = [[Cell(main=c) if isinstance(c, str) else c for c in row] for row in rows]
        laid = [
            [self._lines(c, w, right=k.right) for c, w, k in zip(row, wide, columns, strict=True)]
            for row in cells
        ]
        highs = [
            max(
                max(_high(lines) for lines in row) + 1.8,
                least,
                *(7.0 if c.write else 5.0 if c.tick else 0.0 for c in marks),
            )
            for row, marks in zip(laid, cells, strict=True)
        ]
        first = highs[0] if highs else 0.0
        self.need(head_high + min(first, self.full_room))
        self._heads(columns, wide, heads, head_high)
        for row, marks, high in zip(laid, cells, highs, strict=True):
            if self.need(high + 0.2):
                self._heads(columns, wide, heads, head_high)
            x = SIDE
            for column, w, lines, cell in zip(columns, wide, row, marks, strict=True):
                self._cell(column, x, w, lines, cell, high)
                x += w
            self.y += high
            self.page.line((SIDE, self.y), (SIDE + self.width, self.y), stroke=PALE)
        self.y += 1.5

    def _heads(
        self, columns: Sequence[Column], wide: list[float], heads: list[list[_Line]], high: float
    ) -> None:
        x = SIDE
        for column, w, lines in zip(columns, wide, heads, strict=True):
            # heads stand on the line below them
            down = high - _high(lines) - 0.8
            self._words(column, x, self.y + down - 0.8, w, lines)
            x += w
        self.y += high
        self.page.line((SIDE, self.y), (SIDE + self.width, self.y), width=0.4)

    def _lines(
        self, cell: Cell, wide: float, *, head: bool = False, right: bool = False
    ) -> list[_Line]:
        """The lines of a cell, in sizes at which they fit."""
        room = wide - (0.8 + _RIGHT if right else 1.6)
        if cell.tick or cell.write:
            return []
        out: list[_Line] = []
        size = SMALL if head else BODY
        for words, full, bold, fill in (
            (cell.main, size, cell.bold or head, INK),
            (cell.sub, SMALL, False, GREY),
        ):
            if not words:
                continue
            lines = wrapped(words, full, room, bold=bold)
            if len(lines) > 1 and width_mm(printed(words), full, bold=bold) <= 1.25 * room:
                one, smaller = shrunk(words, full, room, least=LEAST, bold=bold)
                if not one.endswith("…") or words.endswith("…"):
                    lines, full = [one], smaller
            if len(lines) > _MOST_LINES:
                full = LEAST
                lines = wrapped(words, full, room, bold=bold)
                if len(lines) > _MOST_SMALL:
                    last = shrunk(
                        " ".join(lines[_MOST_SMALL - 1 :]), full, room, least=full, bold=bold
                    )
                    lines = [*lines[: _MOST_SMALL - 1], last[0]]
            out += [_Line(words=w, size=full, bold=bold, fill=fill) for w in lines]
        return out

    def _words(self, column: Column, x: float, y: float, wide: float, lines: list[_Line]) -> None:
        for line in lines:
            base = y + 0.8 + _CAP * line.size
            if column.right:
                put(self.page, x + wide - _RIGHT, base, line.words, line.size, bold=line.bold,
                    anchor="end", fill=line.fill)  # fmt: skip
            else:
                put(self.page, x + 0.8, base, line.words, line.size, bold=line.bold, fill=line.fill)
            y += line.size * _LEAD

    def _cell(
        self, column: Column, x: float, wide: float, lines: list[_Line], cell: Cell, high: float
    ) -> None:
        if cell.tick:
            self.page.tick_box(x + 0.8, self.y + (high - 3.4) / 2)
        elif cell.write:
            each = wide / cell.write
            for i in range(cell.write):
                self.page.box(x + i * each + 0.6, self.y + 0.8, each - 1.2, high - 1.6, width=0.35)
        else:
            self._words(column, x, self.y + 0.2, wide, lines)

    def point(self, x: float, y: float) -> Point:
        """A place of the page from the left margin and where the flow stands, mm."""
        return SIDE + x, self.y + y


def _high(lines: list[_Line]) -> float:
    return sum(line.size * _LEAD for line in lines)
