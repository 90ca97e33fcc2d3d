"""DXF in millimetres: closed polylines with arcs, four or five layers, a check square.

R2000 is written with LWPOLYLINE and ``$INSUNITS`` 4 (mm). R12 has POLYLINE and no unit header at
all, so its reader must guess: the text beside the check square and the comments at the head of the
file say mm.

The empty document with its header, tables and objects is made by ezdxf, once a process and version;
the entities are our own text between its halves. Measured for the six panels of a closed box, CPU:
1.6 ms with 11 segments an edge against 25 ms for documents made and filled through ezdxf, 33 ms with
1001 segments against 480 ms. Tests read the files back through ezdxf's audit and through readers
that share no code with it.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.export.layout import BORDER_MM, Laid, Line, lay_out, written, written_all
from boxjoint.export.palette import DASH_MM, PENS
from boxjoint.geometry.drawing import Drawing, Layer
from boxjoint.geometry.strokes import to_ascii

__all__ = ["DxfVersion", "drawing_to_dxf"]

DxfVersion = Literal["R2000", "R12"]

# numbers that stand in the empty document for the corners of the drawing and the view of it
_LOW_X, _LOW_Y, _HIGH_X, _HIGH_Y = "-910001.5", "-910002.5", "910003.5", "910004.5"
_MID_X, _MID_Y, _VIEW = "910005.5", "910006.5", "910007.5"
_LEFT, _BELOW, _RIGHT, _ABOVE = "-910008.5", "-910009.5", "910010.5", "910011.5"
_VIEW_RATIO = 1.34  # width over height of ezdxf's initial view

# R12 stops at 255 characters a text
_LONGEST = 250


class _Empty(NamedTuple):
    """An empty document in two halves; entities go between them."""

    head: str
    tail: str
    owner: str  # handle of the model space's block record
    next_handle: int


def drawing_to_dxf(drawing: Drawing, *, version: DxfVersion = "R2000") -> str:
    """Return a drawing as DXF.

    Parameters
    ----------
    drawing
        In mm. Its title and notes go into text beside the check square and into comments (group
        999) at the head of the file.
    version
        ``"R2000"`` or ``"R12"``.

    Returns
    -------
    str
        ASCII only, lines end with ``\\n``; the same for the same drawing, byte for byte. Comments
        have ``\\U+XXXX`` for characters beyond ASCII. Few readers know that form, so in text beside
        the square only characters without a replacement (see ``strokes``) have it, and in R12 none;
        degree, diameter and plus-minus signs have codes of their own there.

    Raises
    ------
    InputError
        Another version is asked for, or the drawing has a coordinate that cannot be written.
    """
    if version not in ("R2000", "R12"):
        raise InputError("unknown version of DXF", value=repr(version), limit="R2000 or R12")
    laid = lay_out(drawing)
    empty = _empty(version, any(path.layer is Layer.ENGRAVE for path in laid.paths))
    writer = _Entities(version, empty.owner, empty.next_handle)
    for path in laid.paths:
        for nm, bulge, closed in path.parts:
            writer.polyline(path.layer, nm, bulge, closed)
    for line in laid.lines:
        writer.text(line)

    comments = "".join(
        f"999\n{piece}\n"
        for text in ("lengths in mm", laid.title, *laid.notes)
        for piece in _pieces(_comment(text))
    )
    head, tail = empty.head, empty.tail
    for standin, number in _corners(laid):
        head, tail = head.replace(standin, number), tail.replace(standin, number)
    seed = "$HANDSEED\n  5\n{:X}\n"
    head = head.replace(seed.format(empty.next_handle), seed.format(writer.handle))
    return comments + head + "".join(writer.out) + tail


class _Entities:
    """Tags of the entities, in sequence, with handles counted up from the first free one."""

    def __init__(self, version: DxfVersion, owner: str, first_handle: int) -> None:
        self.version = version
        self.owner = owner
        self.handle = first_handle
        self.out: list[str] = []

    def _start(self, kind: str, layer: Layer, *, solid: bool = False) -> str:
        # letters are never dashed, even on a dashed layer
        line = "  6\nContinuous\n" if solid and PENS[layer].dashed else ""
        tags = f"  0\n{kind}\n  5\n{self.handle:X}\n"
        self.handle += 1
        if self.version == "R12":
            return f"{tags}  8\n{layer}\n{line}"
        return f"{tags}330\n{self.owner}\n100\nAcDbEntity\n  8\n{layer}\n{line}"

    def polyline(
        self,
        layer: Layer,
        nm: NDArray[np.int64],
        bulge: NDArray[np.float64] | None,
        closed: bool,
    ) -> None:
        """One polyline; ``nm`` (n, 2), ``bulge`` (n,) or ``None``."""
        points = written_all(nm)
        # nine decimals, because half a chord of 5 m turns 1e-9 of bulge into 2.5 nm of arc height
        arcs = [f" 42\n{b:.9f}\n" if b else "" for b in bulge.tolist()] if bulge is not None else []
        if self.version == "R12":
            self.out.append(
                f"{self._start('POLYLINE', layer, solid=not closed)} 66\n1\n 10\n0\n 20\n0\n 30\n0\n 70\n{closed:d}\n"
            )
            for i, (x, y) in enumerate(points):
                self.out.append(
                    f"{self._start('VERTEX', layer)} 10\n{x}\n 20\n{y}\n 30\n0\n"
                    f"{arcs[i] if arcs else ''}"
                )
            self.out.append(self._start("SEQEND", layer))
            return
        self.out.append(
            f"{self._start('LWPOLYLINE', layer, solid=not closed)}100\nAcDbPolyline\n"
            f" 90\n{len(points)}\n 70\n{closed:d}\n 43\n0\n"
        )
        if arcs:
            self.out += [
                f" 10\n{x}\n 20\n{y}\n{arc}" for (x, y), arc in zip(points, arcs, strict=True)
            ]
        else:
            self.out += [f" 10\n{x}\n 20\n{y}\n" for x, y in points]

    def text(self, line: Line) -> None:
        """One line of live text on ``REFERENCE``."""
        place = (
            f" 10\n{written(round(line.x * 1e6))}\n 20\n{written(round(line.y * 1e6))}\n 30\n0\n"
            f" 40\n{written(round(line.height * 1e6))}\n  1\n{_text_value(line.text, self.version)}\n"
        )
        start = self._start("TEXT", Layer.REFERENCE)
        if self.version == "R12":
            self.out.append(start + place)
        else:
            self.out.append(f"{start}100\nAcDbText\n{place}100\nAcDbText\n")


def _coded(character: str) -> str:
    """DXF's own form of one character; what lies beyond U+FFFF has none."""
    return f"\\U+{ord(character):04X}" if ord(character) <= 0xFFFF else "?"


def _comment(text: str) -> str:
    """One line of text in ASCII that can be turned back into what it was."""
    return "".join(c if c.isascii() and c != "\\" else _coded(c) for c in text)


def _text_value(text: str, version: DxfVersion) -> str:
    """One line of text as the value of a TEXT entity, in which it reads as it stands."""
    # two percent signs would start a code, a caret a control character, \U+ another character
    text = text.replace("%%", "% %").replace("^", "^ ").replace("\\U+", "\\ U+")
    text = text.replace("°", "%%d").replace("±", "%%p").replace("⌀", "%%c")
    return to_ascii(text) if version == "R12" else to_ascii(text, otherwise=_coded)


def _pieces(text: str) -> list[str]:
    """A long comment in pieces that a line may hold."""
    return [text[i : i + _LONGEST] for i in range(0, len(text), _LONGEST)]


def _corners(laid: Laid) -> list[tuple[str, str]]:
    """What takes the place of each number that stands in."""
    (x0, y0), (x1, y1) = laid.low, laid.high
    view = max(y1 - y0, round((x1 - x0) / _VIEW_RATIO)) * 11 // 10
    border = BORDER_MM * 1_000_000
    standins = (
        *(_LOW_X, _LOW_Y, _HIGH_X, _HIGH_Y, _MID_X, _MID_Y, _VIEW),
        *(_LEFT, _BELOW, _RIGHT, _ABOVE),
    )
    numbers = (
        *(x0, y0, x1, y1, (x0 + x1) // 2, (y0 + y1) // 2, view),
        *(x0 - border, y0 - border, x1 + border, y1 + border),
    )
    return list(zip(standins, map(written, numbers), strict=True))


def _made(version: DxfVersion, engraved: bool) -> tuple[str, str]:
    """An empty document through ezdxf, and the handle of its model space's block record.

    Layers have their look, the unit is set, and extent, limits and view are the numbers that stand in.
    """
    # Imported here: ezdxf costs 0.28 s, and commands that write no DXF do without it.
    from io import StringIO

    from ezdxf import units
    from ezdxf.filemanagement import new

    document = new(version, units=units.MM)
    dash, gap = DASH_MM
    document.linetypes.add("REFERENCE", [dash + gap, dash, -gap], description="check square, notes")
    for layer, pen in PENS.items():
        if layer is Layer.ENGRAVE and not engraved:
            continue
        document.layers.add(
            str(layer),
            color=pen.aci,
            linetype="REFERENCE" if pen.dashed else "Continuous",
            lineweight=round(pen.width_mm * 100),
        )
    # the sheet on paper has room for the drawing, so that a print at 1:1 shows all of it
    for layout in (document.modelspace(), document.layout()):
        layout.dxf.extmin = (float(_LOW_X), float(_LOW_Y), 0.0)
        layout.dxf.extmax = (float(_HIGH_X), float(_HIGH_Y), 0.0)
        layout.dxf.limmin = (float(_LEFT), float(_BELOW))
        layout.dxf.limmax = (float(_RIGHT), float(_ABOVE))
    document.set_modelspace_vport(float(_VIEW), center=(float(_MID_X), float(_MID_Y)))
    stream = StringIO()
    document.write(stream)
    return stream.getvalue(), document.modelspace().layout_key


@cache
def _empty(version: DxfVersion, engraved: bool = False) -> _Empty:
    """The empty document in two halves, without anything that changes with time."""
    import logging

    # of an R12 document ezdxf always logs that it has no unit; the drawing's own text says mm
    log = logging.getLogger("ezdxf")
    log.addFilter(_drop)
    try:
        text, owner = _made(version, engraved)
    finally:
        log.removeFilter(_drop)
    text = _timeless(text)
    split = "  2\nENTITIES\n"
    head, tail = text.split(split)
    seed = re.search(r"\$HANDSEED\n\s*5\n([0-9A-F]+)\n", head)
    if seed is None:
        raise RuntimeError("ezdxf wrote no $HANDSEED")
    return _Empty(
        head=head + split,
        tail=tail,
        owner=owner,
        next_handle=int(seed.group(1), 16),
    )


def _drop(_record: object) -> bool:
    """Let no log record pass."""
    return False


def _timeless(text: str) -> str:
    """Take out of an ezdxf document what differs from run to run: dates, identifiers, its marker."""
    text = re.sub(r"(\$TDU?(?:CREATE|UPDATE)\n\s*40\n).*", r"\g<1>2451544.5", text)
    nothing = "{00000000-0000-0000-0000-000000000000}"
    text = re.sub(r"(\$(?:FINGERPRINT|VERSION)GUID\n\s*2\n).*", rf"\g<1>{nothing}", text)
    return re.sub(r"(?m)^[\w.]+ @ \d{4}-\d\d-\d\dT.*$", "boxjoint", text)
