"""Readings as they were taken at the bench, and the caliper that took them.

A reading keeps the form it was taken in (plug, hole, stack, window, strip, difference) and every
repeat; the division into a kerf is the program's work. A record that exists has passed every
refusal that needs no other reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from boxjoint.errors import ReadingError, nearest_name

__all__ = ["MAX_VALUES", "Axis", "Caliper", "Form", "Reading", "check_readings"]

Axis = Literal["x", "y"]

#: Values that one estimate accepts; the full gauge has 12.
MAX_VALUES = 400
_INCH = 25.4
_UNIT_BAND = 0.02  # relative; a kerf changes a size by less than this only from 20 mm on, but
# no kerf turns a size into 25.4 times itself


class Form(StrEnum):
    """The form of a reading: what stood between the jaws."""

    PLUG = "plug"
    HOLE = "hole"
    WINDOW = "window"
    STACK = "stack"
    STRIP = "strip"
    DIFFERENCE = "difference"

    @property
    def inside_jaws(self) -> bool:
        """True where the inside jaws touch: a hole or a window."""
        return self in (Form.HOLE, Form.WINDOW)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caliper:
    """The caliper and the hand that holds it. The defaults are assumed, nobody measured them.

    Parameters
    ----------
    step_mm
        Step of the display, mm, >= 0; assumed 0.02.
    s0_mm
        Standard deviation of one value from the hand alone, mm, > 0; assumed 0.025.
    nu0
        Degrees of freedom that ``s0_mm`` is worth, > 0; assumed 8. Repeats add theirs.
    u_zero_outside_mm, u_zero_inside_mm
        Standard uncertainty of the zero of the outside and of the inside jaws, mm, > 0; assumed
        0.010 each, independent of each other.
    """

    step_mm: float = 0.02
    s0_mm: float = 0.025
    nu0: float = 8.0
    u_zero_outside_mm: float = 0.010
    u_zero_inside_mm: float = 0.010

    def __post_init__(self) -> None:
        for name in ("s0_mm", "nu0", "u_zero_outside_mm", "u_zero_inside_mm"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise ReadingError(
                    f"{name} must be larger than zero", where="caliper", value=repr(value)
                )
        if not (math.isfinite(self.step_mm) and self.step_mm >= 0.0):
            raise ReadingError(
                "step_mm must not be negative", where="caliper", value=repr(self.step_mm)
            )

    @property
    def rounding_mm(self) -> float:
        """Standard deviation of rounding to the display's step, mm: step / sqrt(12)."""
        return self.step_mm / math.sqrt(12.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One measured feature: its form, its drawn size, and every value read from it.

    Parameters
    ----------
    form
        What was measured; a name or a :class:`Form`. ``plug``: the part that fell out, outside
        jaws. ``hole`` and ``window``: what it left, inside jaws. ``stack``: all slices of a window
        pressed together, outside jaws. ``strip``: a long piece read with another instrument than
        the caliper, whose uncertainty is ``u_mm``. ``difference``: the strip along X laid against
        the one along Y, value = size of the X strip minus size of the Y strip.
    axis
        Machine axis that the size lies along, ``x`` or ``y``; of a difference: ``x``.
    drawn_mm
        Size as drawn, mm, > 0; of a difference: that of both strips.
    values_mm
        At least one value, mm: finite, and > 0 except for a difference.
    slices
        Number of slices of a stack, >= 2; ``None`` for every other form.
    cut_ends
        How many of the two ends the beam cut: 2 (default), 1 (one factory edge) or 0.
    contour
        Name of the closed contour that cut this size. Sizes along one axis with the same name
        share the errors of their two edges (a stack and its window, a plug and its hole).
        Empty: a contour of its own.
    u_mm
        Standard uncertainty of the mean of the values, mm, in place of the caliper's; it covers
        the zero of whatever was used. Needed for strip and difference.
    turned
        A stack whose slices were turned over alternately; used for taper only.
    where
        Row of the form or file, for messages.

    Raises
    ------
    ReadingError
        Exit code 2, naming ``where``. ``data['flag']`` is ``UNITS?`` where a value is about 25.4
        times too large or too small.
    """

    form: Form
    axis: Axis
    drawn_mm: float
    values_mm: tuple[float, ...]
    slices: int | None = None
    cut_ends: Literal[0, 1, 2] = 2
    contour: str = ""
    u_mm: float | None = None
    turned: bool = False
    where: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        self._check_form()
        self._check_values()

    def _refuse(
        self, what: str, value: object = "", limit: str = "", do: str = "", flag: str = ""
    ) -> ReadingError:
        shown = value if isinstance(value, str) else repr(value)
        return ReadingError(
            what,
            where=self.where or "reading",
            value=shown,
            limit=limit,
            do=do,
            flag=flag or "REFUSED",
        )

    def _check_form(self) -> None:
        try:
            object.__setattr__(self, "form", Form(self.form))
        except ValueError:
            raise self._refuse(
                "unknown form of reading",
                self.form,
                "one of " + ", ".join(f.value for f in Form),
                nearest_name(str(self.form), [f.value for f in Form]),
            ) from None
        if self.axis not in ("x", "y"):
            raise self._refuse("unknown axis", self.axis, "x or y")
        if self.form is Form.DIFFERENCE and self.axis != "x":
            raise self._refuse("a difference is read as X strip minus Y strip", self.axis, "axis x")
        if self.cut_ends not in (0, 1, 2):
            raise self._refuse("cut_ends", self.cut_ends, "0, 1 or 2")
        if self.form.inside_jaws and self.cut_ends != 2:
            raise self._refuse(f"a {self.form} is cut at both ends", self.cut_ends, "cut_ends 2")
        if self.form is Form.STACK:
            n = self.slices
            if n is None or isinstance(n, bool) or not isinstance(n, int) or n < 2:
                raise self._refuse(
                    "number of slices of a stack",
                    n,
                    "a whole number, 2 or more",
                    "count the slices; the number is marked on the gauge",
                )
        elif self.slices is not None:
            raise self._refuse(f"a {self.form} has no slices", self.slices)
        elif self.turned:
            raise self._refuse(f"a {self.form} cannot be turned over alternately")
        if self.u_mm is None and self.form in (Form.STRIP, Form.DIFFERENCE):
            raise self._refuse(
                f"a {self.form} needs its own uncertainty u_mm",
                do="state the standard uncertainty of the rule or of the comparison in mm",
            )
        if self.u_mm is not None and not (math.isfinite(self.u_mm) and self.u_mm > 0.0):
            raise self._refuse("uncertainty u_mm", self.u_mm, "larger than zero")

    def _check_values(self) -> None:
        if not (math.isfinite(self.drawn_mm) and self.drawn_mm > 0.0):
            raise self._refuse("drawn size", self.drawn_mm, "larger than zero")
        object.__setattr__(self, "values_mm", tuple(float(v) for v in self.values_mm))
        if not self.values_mm:
            raise self._refuse("no value", limit="at least one")
        for value in self.values_mm:
            if not math.isfinite(value):
                raise self._refuse("a value is not a number", value)
            if self.form is Form.DIFFERENCE:
                continue
            if value <= 0.0:
                raise self._refuse("a value must be larger than zero", value)
            ratio = value / self.drawn_mm
            for factor, unit in ((_INCH, "mm read as inches"), (1.0 / _INCH, "inches")):
                if abs(ratio / factor - 1.0) < _UNIT_BAND:
                    raise self._refuse(
                        f"UNITS? {value:g} looks like {unit} where {self.drawn_mm:g} mm was drawn",
                        do="give the value in mm, or state its unit",
                        flag="UNITS?",
                    )

    @property
    def mean_mm(self) -> float:
        """Mean of the values, mm."""
        return math.fsum(self.values_mm) / len(self.values_mm)

    @property
    def label(self) -> str:
        """Short name for messages: form, axis and drawn size, with the row if known."""
        size = f"{self.drawn_mm:g}" + (f"/{self.slices}" if self.slices else "")
        name = f"{self.form} {self.axis} {size}" + (" turned" if self.turned else "")
        return f"{self.where}: {name}" if self.where else name


def check_readings(readings: tuple[Reading, ...]) -> None:
    """Refuse a set of readings that is too large to be one gauge.

    Raises
    ------
    ReadingError
        More than :data:`MAX_VALUES` values.
    """
    count = sum(len(r.values_mm) for r in readings)
    if count > MAX_VALUES:
        raise ReadingError(
            "too many values for one estimate",
            value=str(count),
            limit=f"at most {MAX_VALUES}; a full gauge has 12",
            do="estimate each gauge apart; the shop book combines them in time order",
        )
