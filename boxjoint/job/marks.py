"""What a job asks to be marked on the faces of its panels: text and drawings, scored or engraved.

Scored marks are lines; engraved ones are areas that the beam fills. A mark may be both: the filled
areas, and their outlines as crisp lines. All lengths are ``int`` nanometres. A field that is ``None``
was left out of the job; what takes its place stands in ``boxjoint.fit.marks``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

from boxjoint.job.cutouts import Place

__all__ = [
    "ALIGNS",
    "ANGLES",
    "FACES",
    "FONT_ENDINGS",
    "LETTERS",
    "MOST_LETTERS",
    "MOST_LINES",
    "WORKS",
    "Align",
    "Face",
    "Mark",
    "Work",
]

Work = Literal["score", "engrave", "engrave and score"]
WORKS: tuple[Work, ...] = get_args(Work)
Face = Literal["outside", "inside"]
FACES: tuple[Face, ...] = get_args(Face)
Align = Literal["left", "middle", "right"]
ALIGNS: tuple[Align, ...] = get_args(Align)
#: Letters that need no file; ``strokes`` are single lines and cannot be filled.
LETTERS = ("strokes", "plain", "bold")
#: A name with one of these endings is the file of a font.
FONT_ENDINGS = (".ttf", ".otf")
#: Degrees counter-clockwise, as one looks at the face.
ANGLES = (0, 90, 180, 270)
#: Of one text.
MOST_LETTERS, MOST_LINES = 500, 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One table of ``[[marks]]``: a text or a drawing.

    Parameters
    ----------
    panels
        Names, as under ``[panels.NAME]``; ``drawer-front`` means that of every drawer.
    place
        Where, as one looks at the face that is marked.
    text
        Its lines with ``\\n`` between them; ``""`` for a drawing.
    drawing
        Name of an SVG file, from the job's folder; ``""`` for a text.
    letters
        One of ``LETTERS``, or the name of a font file from the job's folder.
    height, width
        At most one. Of a text ``height`` is that of its capitals.
    align
        Of several lines of text.
    angle
        One of ``ANGLES``.
    content
        The drawing or font as it was read.
    """

    panels: tuple[str, ...]
    place: Place = field(default_factory=Place)
    text: str = ""
    drawing: str = ""
    letters: str | None = None
    height: int | None = None
    width: int | None = None
    align: Align = "middle"
    angle: int = 0
    work: Work = "score"
    face: Face = "outside"
    content: bytes = field(default=b"", repr=False)

    @property
    def file(self) -> str:
        """The file that it needs beside the job, ``""`` where it needs none."""
        if self.drawing:
            return self.drawing
        needs = self.letters is not None and self.letters.lower().endswith(FONT_ENDINGS)
        return self.letters if needs and self.letters else ""

    @property
    def is_engraved(self) -> bool:
        """Whether areas are filled."""
        return self.work != "score"

    @property
    def is_scored(self) -> bool:
        """Whether lines are scored."""
        return self.work != "engrave"
