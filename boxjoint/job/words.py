"""The words that a job is written in: directions, panels, fits, units.

A file of its own, since limits and records both need them.
"""

from __future__ import annotations

from typing import Literal

__all__ = ["AXES", "CORNER_STYLES", "DIRECTIONS", "FITS", "PANELS", "CornerStyle", "Ends", "Unit"]

Unit = Literal["mm", "in"]
CornerStyle = Literal["diagonal", "side"]
Ends = Literal["inner", "outer"]

#: The three directions of the inside, along x, y and z.
DIRECTIONS = ("length", "width", "height")
AXES = ("x", "y", "z")
#: Default rank, strongest first.
PANELS = ("bottom", "top", "front", "back", "left", "right")
#: Where the relief at an inside corner lies: on its bisector, or in one of its sides.
CORNER_STYLES: tuple[CornerStyle, ...] = ("diagonal", "side")
#: Names of fits, tightest first.
FITS = ("press", "snug", "glue", "slip", "loose")
