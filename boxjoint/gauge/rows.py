"""What is written down of a gauge: its code, its rows to read and slots to try."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from boxjoint.gauge.curves import Point
from boxjoint.gauge.readings import Axis, Form, Reading

__all__ = ["GaugeKind", "ReadingRow", "SlotRow", "code_of", "plain"]


class GaugeKind(StrEnum):
    """What a gauge piece is for."""

    KERF = "kerf"
    STRIP = "strip"
    COMB = "comb"
    SHEET_COMB = "sheet comb"
    COUPON = "coupon"


_CODE_LETTER = {
    GaugeKind.KERF: "K",
    GaugeKind.STRIP: "S",
    GaugeKind.COMB: "C",
    GaugeKind.SHEET_COMB: "T",
    GaugeKind.COUPON: "F",
}


# consonants only: a code is no word, and no spreadsheet takes it for a number or a date
_LETTERS = "BCDFGHJKMNPQRSTVWXZ"


def code_of(kind: GaugeKind, *facts: object) -> str:
    """Return the code of a piece from its parameters, for example ``K-BCDFG``."""
    written = [plain(f) if isinstance(f, float) else str(f) for f in facts]
    return f"{_CODE_LETTER[kind]}-{_letters((kind, *written), 5)}"


def _letters(facts: tuple[object, ...], count: int) -> str:
    digest = hashlib.sha256("|".join(map(str, facts)).encode()).digest()
    number = int.from_bytes(digest[:16], "big")
    out = ""
    for _ in range(count):
        number, k = divmod(number, len(_LETTERS))
        out += _LETTERS[k]
    return out


def plain(mm: float) -> str:
    """Write mm to the nanometre, without needless zeros."""
    text = f"{mm:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRow:
    """One reading to be taken: all of it but the value.

    Parameters
    ----------
    row
        Number on the form, from 1.
    form, axis, drawn_mm, slices, cut_ends, contour, turned, u_mm
        As in :class:`~boxjoint.gauge.readings.Reading`.
    what
        What is measured, in a few words.
    jaws
        How, and where the jaws go.
    part
        Name of the part that ``touch`` lies on; ``""`` where the reading is taken on loose slices
        or on two parts held together.
    touch
        The two points that the jaws touch, mm on the part; ``None`` where there are none.
    times
        How many values are wanted.
    optional
        True for a reading that the estimate can do without.
    """

    row: int
    form: Form
    axis: Axis
    drawn_mm: float
    what: str
    jaws: str
    slices: int | None = None
    cut_ends: int = 2
    contour: str = ""
    turned: bool = False
    u_mm: float | None = None
    part: str = ""
    touch: tuple[Point, Point] | None = None
    times: int = 1
    optional: bool = False

    def reading(
        self, values_mm: Iterable[float], *, where: str = "", u_mm: float | None = None
    ) -> Reading:
        """Return the reading, with its values in mm; ``u_mm`` replaces the row's own.

        Raises
        ------
        ReadingError
            As :class:`~boxjoint.gauge.readings.Reading` does, naming ``where``.
        """
        return Reading(
            form=self.form,
            axis=self.axis,
            drawn_mm=self.drawn_mm,
            values_mm=tuple(values_mm),
            slices=self.slices,
            cut_ends=self.cut_ends,  # type: ignore[arg-type]
            contour=self.contour,
            u_mm=self.u_mm if u_mm is None else u_mm,
            turned=self.turned,
            where=where or f"row {self.row}",
        )

    def code(self, piece: str) -> str:
        """Return four letters that tie this row to the piece of that code."""
        facts = (self.form, self.axis, plain(self.drawn_mm), self.slices, self.cut_ends)
        return _letters((piece, self.row, *facts, self.contour, self.turned), 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotRow:
    """One slot of a comb, to be tried and judged.

    Parameters
    ----------
    slot
        Number marked on the piece, from 1.
    x_mm
        Drawn slot less drawn tab (of a sheet comb: less the thickness), mm.
    slot_mm, tab_mm
        Drawn widths, mm; of a sheet comb ``tab_mm`` is the thickness.
    """

    slot: int
    x_mm: float
    slot_mm: float
    tab_mm: float

    def code(self, piece: str) -> str:
        """Return four letters that tie this row to the piece of that code."""
        return _letters((piece, self.slot, plain(self.x_mm)), 4)
