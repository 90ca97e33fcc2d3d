"""The words that a job is written in: directions, panels, fits, units.

A file of its own, since limits and records both need them.
"""

from __future__ import annotations

from typing import Literal

__all__ = ["AXES", "DIRECTIONS", "FITS", "PANELS", "Ends", "Unit"]

Unit = Literal["mm", "in"]
Ends = Literal["inner", "outer"]

#: The three directions of the inside, along x, y and z.
DIRECTIONS = ("length", "width", "height")
AXES = ("x", "y", "z")
#: Default rank, strongest first.
PANELS = ("bottom", "top", "front", "back", "left", "right")
#: Names of fits, tightest first.
FITS = ("press", "snug", "glue", "slip", "loose")
