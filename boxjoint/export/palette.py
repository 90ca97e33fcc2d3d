"""How each layer looks: our own five colours, line widths and dashes.

========= ====== ======== ========= ======= ====== =============== ===============
layer     name   sRGB     DXF index width   line   contrast, white contrast, black
========= ====== ======== ========= ======= ====== =============== ===============
ENGRAVE   violet #7F00FF 190       0.13 mm filled 6.3             3.3
MARK      green  #00A57C  122       0.13 mm solid  3.1             6.7
CUT_INNER lilac  #9F7FFF  181       0.15 mm solid  3.0             7.0
CUT_OUTER ochre  #A57C00   42       0.20 mm solid  3.8             5.5
REFERENCE slate  #3F5F7F  155       0.13 mm dashed 6.6             3.2
========= ====== ======== ========= ======= ====== =============== ===============

How they were found: layers of DXF R2000 and R12 know no free colours, only an index into a table of
255, so the colours were searched among those, and SVG uses the same ones. Kept were the 67 whose
contrast is 3:1 or more both on white and on black (WCAG 2.1, 1.4.11 for graphics). Among sets of four
of these, full primaries and secondaries left out and ``REFERENCE`` muted, this one keeps its colours
at least 20.3 apart in CAM02-UCS for normal sight and for simulated protanopia, deuteranopia and
tritanopia (Machado, Oliveira and Fernandes 2009, full severity), reckoned with the library
colorspacious 1.1.2; 1 is about what an eye just sees. The best set reached 22.9, but its cut lines
are dark and get lost on the dark grey that many programs draw on.

``ENGRAVE`` came later: of what was left of the 67 it is the one that stays furthest, at least 17.1, from
the four. It is filled, so it is known by that too.

Colour is never the only difference: widths step up from what is marked to what is cut last, and only
``REFERENCE`` is dashed. Cut layers are never dashed, since a dash can be cut as a dash.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from boxjoint.geometry.drawing import Layer

__all__ = ["DASH_MM", "PENS", "Pen"]

#: Dash and gap of a dashed line, mm.
DASH_MM = (2.0, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """The look of one layer.

    Parameters
    ----------
    rgb
        sRGB as ``#RRGGBB``.
    aci
        The same colour's index in DXF's table, 1 to 255.
    width_mm
        Line width, mm; one of the widths that DXF knows.
    dashed
        Drawn with :data:`DASH_MM`.
    """

    rgb: str
    aci: int
    width_mm: float
    dashed: bool = False


#: One pen a layer, in the sequence of :class:`~boxjoint.geometry.drawing.Layer`.
PENS: Mapping[Layer, Pen] = MappingProxyType(
    {
        Layer.ENGRAVE: Pen(rgb="#7F00FF", aci=190, width_mm=0.13),
        Layer.MARK: Pen(rgb="#00A57C", aci=122, width_mm=0.13),
        Layer.CUT_INNER: Pen(rgb="#9F7FFF", aci=181, width_mm=0.15),
        Layer.CUT_OUTER: Pen(rgb="#A57C00", aci=42, width_mm=0.20),
        Layer.REFERENCE: Pen(rgb="#3F5F7F", aci=155, width_mm=0.13, dashed=True),
    }
)
