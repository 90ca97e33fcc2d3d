"""Readings and verdicts as they are typed on the command line.

::

    reading  = form axis drawn [slices] word* ":" value ((", " | ";") value)*
    form     = plug | hole | window | stack | strip | difference
    axis     = x | y
    drawn    = the size as drawn, without blanks: 72, 72mm, 3in; a bare one is mm, as on the form
    slices   = how many slices a stack has: 8, N=8
    word     = turned | ends=0 | ends=1 | ends=2 | contour=NAME | u=0.05
    value    = as read; a bare one is in --unit

    verdict  = x "=" word        x: drawn slot less drawn tab, mm; word: no, press, slides, loose

Two values are set apart by a comma and a blank, or by a semicolon: ``70.61, 70.63``. A comma without
a blank is a decimal comma, and where it could be either, the value is refused.

A window and a stack along one axis with the same drawn size share their contour, as they do on a
gauge, unless one is named. A plug and a hole do not: name one contour for both if the plug fell out
of that hole.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from boxjoint.errors import ReadingError, UnitError, nearest_name
from boxjoint.gauge.comb import Slot, Verdict, slot_positions
from boxjoint.gauge.readings import Form, Reading
from boxjoint.units import read_length

__all__ = ["read_reading", "read_readings", "read_values", "read_verdicts", "slots_of"]

_EXAMPLE = '--reading "stack x 72 8: 70.61, 70.63"'
_WORDS = ("turned", "ends", "contour", "u")
_BETWEEN = re.compile(r";|,\s+|,$")
_MOST_CHARACTERS = 200_000

Unit = Literal["mm", "in"]


def _refuse(where: str, what: str, value: str, limit: str = "", do: str = "") -> ReadingError:
    shown = value if len(value) <= 80 else value[:77] + "..."
    return ReadingError(what, where=where, value=shown, limit=limit, do=do)


def _length(text: str, unit: Unit, what: str, where: str, *, signed: bool = False) -> float:
    try:
        return float(read_length(text, unit=unit, what=what, signed=signed))
    except UnitError as error:
        raise ReadingError(
            error.what, where=where, value=error.value, limit=error.limit, do=error.do
        ) from None


def read_values(text: str, unit: Unit, where: str, *, signed: bool = False) -> tuple[float, ...]:
    """Read values set apart by a comma and a blank or by a semicolon, in mm.

    Raises
    ------
    ReadingError
        A value that cannot be read without guessing, naming ``where``.
    """
    if len(text) > _MOST_CHARACTERS:
        raise _refuse(where, "too many values for one reading", text)
    parts = [p.strip() for p in _BETWEEN.split(text.strip())]
    return tuple(_length(p, unit, "value", where, signed=signed) for p in parts if p)


def read_reading(text: str, *, unit: Unit = "mm", where: str = "--reading") -> Reading:
    """Read one reading by the grammar above.

    Raises
    ------
    ReadingError
        Names ``where`` and says what was expected; as :class:`Reading` for a value that no reading
        can have.
    """
    head, colon, tail = text.partition(":")
    words = head.split()
    if not colon or len(words) < 3 or not tail.strip():
        raise _refuse(
            where, "a reading is given as FORM AXIS DRAWN: VALUES", text, do=f"such as {_EXAMPLE}"
        )
    form, axis, drawn, *rest = words
    if form not in tuple(Form):
        forms = [f.value for f in Form]
        raise _refuse(
            where,
            "unknown form of reading",
            form,
            "one of " + ", ".join(forms),
            nearest_name(form, forms),
        )
    if axis not in ("x", "y"):
        raise _refuse(where, "unknown axis", axis, "x or y")
    size, _, count = drawn.partition("/")
    if count:
        rest.insert(0, count)
    slices: int | None = None
    ends, contour, u_mm, turned = 2, "", None, False
    for word in rest:
        key, eq, value = word.partition("=")
        if word.isdecimal() or (key == "N" and value.isdecimal()):
            slices = int(value or word)
        elif word == "turned":
            turned = True
        elif key == "ends" and value in ("0", "1", "2"):
            ends = int(value)
        elif key == "contour" and value:
            contour = value
        elif key == "u" and value:
            u_mm = _length(value, "mm", "u", where)
        else:
            raise _refuse(
                where,
                "unknown word in a reading",
                word,
                "slices, or turned, ends=, contour=, u=",
                nearest_name(key, _WORDS) if not eq or key not in _WORDS else "",
            )
    return Reading(
        form=Form(form),
        axis="x" if axis == "x" else "y",
        drawn_mm=_length(size, "mm", "drawn size", where),
        values_mm=read_values(tail, unit, where, signed=form == Form.DIFFERENCE),
        slices=slices,
        cut_ends=0 if ends == 0 else 1 if ends == 1 else 2,
        contour=contour,
        u_mm=u_mm,
        turned=turned,
        where=where,
    )


def read_readings(texts: Sequence[str], *, unit: Unit = "mm") -> tuple[Reading, ...]:
    """Read several readings, numbered in the sequence given; windows join their stacks."""
    found = [
        read_reading(t, unit=unit, where=f"--reading {i}" if len(texts) > 1 else "--reading")
        for i, t in enumerate(texts, 1)
    ]
    shared = {(r.axis, r.drawn_mm) for r in found if r.form is Form.STACK and not r.contour}
    shared &= {(r.axis, r.drawn_mm) for r in found if r.form is Form.WINDOW and not r.contour}
    return tuple(
        replace(r, contour=f"window {r.axis} {r.drawn_mm:g}")
        if r.form in (Form.STACK, Form.WINDOW) and not r.contour and (r.axis, r.drawn_mm) in shared
        else r
        for r in found
    )


def read_verdicts(texts: Sequence[str]) -> tuple[Slot, ...]:
    """Read verdicts given slot by slot, as ``-0.30=no``."""
    out = []
    for i, text in enumerate(texts, 1):
        where = f"--verdict {i}" if len(texts) > 1 else "--verdict"
        x, eq, word = text.partition("=")
        if not eq or not x.strip() or not word.strip():
            raise _refuse(
                where, "a verdict is given as X=WORD", text, do="such as --verdict -0.30=press"
            )
        out.append(
            Slot(
                x_mm=_length(x, "mm", "clearance as drawn", where, signed=True),
                verdict=Verdict.read(word, where),
            )
        )
    return tuple(out)


def slots_of(words: str, centre: str, step: str) -> tuple[Slot, ...]:
    """Read the verdicts of an evenly stepped comb, from slot 1; ``-`` is a slot not tried."""
    given = [w for w in re.split(r"[,;\s]+", words.strip()) if w]
    middle = _length(centre, "mm", "centre", "--centre", signed=True)
    apart = _length(step, "mm", "step", "--step")
    if apart <= 0.0:
        raise _refuse("--step", "the step of a comb must be larger than zero", step)
    return tuple(
        Slot(
            x_mm=round(x, 9),
            verdict=None if word == "-" else Verdict.read(word, f"--verdicts, slot {i}"),
        )
        for i, (x, word) in enumerate(
            zip(slot_positions(middle, apart, len(given)), given, strict=True), 1
        )
    )
