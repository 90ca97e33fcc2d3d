"""The list of tables ``[[marks]]``: a text or a drawing each, and the files that they need.

Files lie beside the job or in folders below: a job that is copied or made again takes them along.
"""

from __future__ import annotations

import dataclasses
import unicodedata
from pathlib import Path, PurePosixPath
from typing import Any, cast

from boxjoint.job.cutout_tables import CutoutReader
from boxjoint.job.keys import Keys
from boxjoint.job.limits import MARK_WINDOWS
from boxjoint.job.marks import (
    ALIGNS,
    ANGLES,
    FACES,
    FONT_ENDINGS,
    LETTERS,
    MOST_LETTERS,
    MOST_LINES,
    WORKS,
    Align,
    Face,
    Mark,
    Work,
)
from boxjoint.units import to_nm

__all__ = ["MOST_BYTES", "MarkReader"]

#: Larger drawings and fonts are a slip, or too much to mark.
MOST_BYTES = 10_000_000


class MarkReader(CutoutReader):
    """Reads what is marked on panels."""

    def marks(self) -> tuple[Mark, ...]:
        """Every table, as far as it could be read."""
        read = [self._read_mark(keys, table) for keys, table in self._listed("marks")]
        return tuple(m for m in read if m is not None)

    def _read_mark(self, keys: Keys, table: dict[str, Any]) -> Mark | None:
        before = len(self.problems)
        panels = self._panels((*keys, "panel"), table)
        if ("text" in table) == ("drawing" in table):
            if "text" in table:
                self._wrong(
                    (*keys, "drawing"), "text and drawing exclude each other", table["drawing"],
                    do="write two tables",
                )  # fmt: skip
            else:
                self._missing((*keys, "text"), 'text = "Birch" or drawing = "leaf.svg"')
        is_text = "text" in table
        text = self._text((*keys, "text"), table.get("text"))
        drawing = self._beside((*keys, "drawing"), table.get("drawing"), (".svg",))
        letters = self._letters_of((*keys, "letters"), table.get("letters"))
        lengths = {
            k: self._mark_nm(
                (*keys, k), table.get(k), "letters" if is_text and k == "height" else k
            )
            for k in ("height", "width")
        }
        if lengths["height"] is not None and lengths["width"] is not None:
            self._wrong(
                (*keys, "width"), "height and width exclude each other", table["width"],
                do="keep one of the two: the other follows in proportion",
            )  # fmt: skip
        work = cast("Work | None", self._choice((*keys, "work"), table.get("work"), WORKS))
        face = cast("Face | None", self._choice((*keys, "face"), table.get("face"), FACES))
        align = cast("Align | None", self._choice((*keys, "align"), table.get("align"), ALIGNS))
        angle = table.get("angle", 0)
        if isinstance(angle, bool) or angle not in ANGLES:
            self._wrong(
                (*keys, "angle"), "a mark is turned by quarters", angle,
                limit=f"{', '.join(map(str, ANGLES))} degrees, counter-clockwise",
            )  # fmt: skip
        for key in ("letters", "align"):
            if not is_text and key in table:
                self._wrong((*keys, key), f"a drawing has no {key}", table[key])
        if letters == "strokes" and work not in (None, "score"):
            self._wrong(
                (*keys, "letters"), "letters of single strokes have no areas to engrave", letters,
                do='take letters = "plain", "bold" or a font file, or work = "score"',
            )  # fmt: skip
        place = self._place(keys, table)
        if len(self.problems) > before or place is None:
            return None
        mark = Mark(
            panels=panels,
            place=place,
            text=text or "",
            drawing=drawing or "",
            letters=letters,
            align=align or "middle",
            angle=int(angle),
            work=work or "score",
            face=face or "outside",
            height=lengths["height"],
            width=lengths["width"],
        )
        if not mark.file:
            return mark
        content = self._content((*keys, "drawing" if mark.drawing else "letters"), mark.file)
        return None if content is None else dataclasses.replace(mark, content=content)

    def _mark_nm(self, keys: Keys, value: object, window: str) -> int | None:
        if value is None:
            return None
        mm = self._length(keys, value, MARK_WINDOWS[window])
        return None if mm is None else to_nm(mm)

    def _text(self, keys: Keys, value: object) -> str | None:
        """Lines of plain text."""
        if value is None:
            return None
        if not isinstance(value, str):
            self._wrong(keys, "text must be text", value, limit="a text in quotes")
        elif len(value) > MOST_LETTERS or value.count("\n") >= MOST_LINES:
            self._wrong(
                keys, "text is too long", value,
                limit=f"{MOST_LETTERS} letters, {MOST_LINES} lines",
            )  # fmt: skip
        elif any(unicodedata.category(c) in ("Cc", "Zl", "Zp", "Cs") for c in value if c != "\n"):
            self._wrong(keys, "text must be plain text", value, do="write a new line as \\n")
        elif not value.strip():
            self._wrong(keys, "there is nothing to see in the text", value)
        else:
            return value
        return None

    def _letters_of(self, keys: Keys, value: object) -> str | None:
        if isinstance(value, str) and value.lower().endswith(FONT_ENDINGS):
            return self._beside(keys, value, FONT_ENDINGS)
        return self._choice(keys, value, LETTERS)

    def _beside(self, keys: Keys, value: object, endings: tuple[str, ...]) -> str | None:
        """The name of a file in the job's folder or below it."""
        name = self._name(keys, value)
        if name is None:
            return None
        path = PurePosixPath(name)
        kinds = " or ".join(endings)
        if path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name:
            self._wrong(
                keys, "the file does not lie with the job", value,
                limit="a file in the job's folder or in one below it, with / between names",
                do="copy it there, so that the job stays whole when it is moved",
            )  # fmt: skip
        elif path.suffix.lower() not in endings:
            self._wrong(keys, f"{keys[-1]} must be the name of a {kinds} file", value)
        else:
            return name
        return None

    def _content(self, keys: Keys, name: str) -> bytes | None:
        path = Path(self.path).parent / name
        try:
            size = path.stat().st_size
            if size > MOST_BYTES:
                self._wrong(
                    keys, f"the file is too large ({size / 1e6:.1f} MB)", name,
                    limit=f"at most {MOST_BYTES // 1_000_000} MB",
                )  # fmt: skip
                return None
            content = path.read_bytes()
        except (OSError, ValueError) as error:
            reason = (getattr(error, "strerror", None) or str(error)).lower()
            self._wrong(
                keys, f"the file cannot be read ({reason})", name,
                limit=f"it is looked for at {path}",
            )  # fmt: skip
            return None
        if not content:
            self._wrong(keys, "the file is empty", name)
            return None
        return content
