"""The usual cautions of the trade, for the machine and for the bench (common practice, no source)."""

from __future__ import annotations

from boxjoint.export.papers.flow import GREY, SMALL, Flow

__all__ = ["BENCH", "MACHINE", "draw_cautions", "draw_kerf_not_measured"]

#: At the machine.
MACHINE = (
    "Stay with the machine while it runs. Pause it to leave, even for half a minute.",
    "Extinguisher (carbon dioxide does not ruin optics) and fire blanket within reach. A small flame "
    "at the cut is usual; a flame that stays is a stop.",
    "Air and extraction on before the start and for a while after; lid closed until the smoke is "
    "gone. Empty and clean bed, tray and slats: scraps and resin burn.",
    "Eye protection made for this wavelength wherever the beam is not fully enclosed; clear acrylic "
    "lets blue light through.",
    "Never cut PVC, vinyl or artificial leather, ABS, PTFE and other fluorine plastics, thick "
    "polycarbonate, foams, chrome-tanned leather, fibreglass, pressure-treated wood, or anything "
    "unknown without its data sheet.",
    "Very slow passes in thick wood, many passes, and dense cuts side by side can set it alight. "
    "Acrylic burns hot and fast; no stacks.",
    "Check that clamps and magnets clear the head, that parts can neither tip nor fall, and that the "
    "sheet has not moved, before every start.",
    "Check that it is cut through before the sheet is moved. Parts and bed stay hot.",
)
#: At the bench.
BENCH = (
    "Sheets are heavy and their edges sharp. Char and fibreboard dust: extraction and a dust mask.",
    "Solvents and cements: fresh air, no flame, never in or near the machine, never on laser-cut "
    "edges under stress.",
    "For children or food: finish, small parts and splinters are the maker's to judge; char rubs off.",
)
_LAST = (
    "Local rules, the makers' manuals and people licensed for this work come before this paper. "
    "Nothing on it says that a setting or a material is without danger."
)


def draw_cautions(flow: Flow, further: tuple[str, ...] = ()) -> None:
    """All of them in one block that stays on one page."""

    def draw(f: Flow) -> None:
        f.heading("Cautions", beside="common practice of the trade, no source", keep=0.0)
        for words in (*further, *MACHINE, *BENCH):
            f.paragraph(words, size=SMALL, bullet="–")
        f.paragraph(_LAST, size=SMALL, bold=True)

    flow.whole(draw)


def draw_kerf_not_measured(flow: Flow, *, forms: bool) -> None:
    """What to do where a kerf is only assumed."""

    def draw(f: Flow) -> None:
        f.heading("The kerf is not measured", keep=0.0)
        f.paragraph(
            "At least one kerf in these outlines was not measured in this stock. Cut a kerf gauge from the same sheet, with "
            "the same settings, near where the parts will lie, before any part is cut:"
        )
        for words in (
            "Cut the gauge, push its slices together in their window, all the same face up.",
            "Close the jaws and set the zero; read each row of the form as often as it has heavy "
            "boxes, jaws opened in between; write what is shown.",
            "Give the readings to the program (gauge read kerf); it does every division itself. Then "
            "make sheets and papers again: only the outlines change, not the inside.",
            "On paper 10 slices of drawn width W that push together to L have a full kerf of "
            "(10 × W – L) / 10, as a first check.",
        ):
            f.paragraph(words, bullet="–")
        if forms:
            f.paragraph("Forms of the gauges are the last pages.", fill=GREY)
        else:
            f.paragraph("The gauge and its form: boxjoint gauge draw kerf.", fill=GREY)

    flow.whole(draw)
