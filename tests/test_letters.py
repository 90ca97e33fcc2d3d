"""The stroke letters kept in the package are the library's own, so that no command has to unpack it."""

from __future__ import annotations

import json
from importlib.resources import files


def library_letters() -> dict[str, object]:
    """The font futural (Hershey, public domain) as the library Hershey-Fonts has it, base line at 0."""
    from HersheyFonts import HersheyFonts

    font = HersheyFonts()
    font.load_default_font("futural")
    return {
        character: [
            glyph.char_width,
            [
                [v for x, y in stroke for v in (x - glyph.left_offset, 9 - y)]
                for stroke in glyph.strokes
                if len(stroke) > 1
            ],
        ]
        for character, glyph in font.all_glyphs.items()
    }


def test_letters_are_the_librarys() -> None:
    """To make the file anew: json.dump(library_letters(), ..., separators=(",", ":"))."""
    kept = files("boxjoint.geometry").joinpath("letters.json").read_text(encoding="ascii")
    assert json.loads(kept) == json.loads(json.dumps(library_letters()))
