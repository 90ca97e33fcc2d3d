"""How results look on a screen: a table for a terminal, plain text for a pipe."""

from __future__ import annotations

import itertools
import re
import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, TextIO

import click

from boxjoint.check.built import Built
from boxjoint.export.panels import kerf_text
from boxjoint.export.report_inside import whole_as_cut
from boxjoint.export.said import figure_rows, layer_words, names_together, panel_thickness
from boxjoint.export.stages import short_sequence, stages
from boxjoint.job.records import DIRECTIONS, Source
from boxjoint.solve.box import outside_of
from boxjoint.solve.inside import find_inside
from boxjoint.units import both, both_sizes, own_first

if TYPE_CHECKING:
    from boxjoint.again import Change, Restocked

__all__ = ["Progress", "show_built", "show_restocked", "show_table"]

#: Whose a quantity of restock is, by its kind.
_OF = {"thickness": "panel", "size": "panel", "segments": "joint", "segment width": "joint"}
#: A table that wraps is no wider in a pipe.
_WIDEST = 100


def _on_terminal(stream: TextIO | None) -> bool:
    """Whether somebody watches; a stream that the caller closed is ``None``."""
    return stream is not None and stream.isatty()


def show_table(
    title: str, header: Sequence[str], rows: Sequence[Sequence[str]], *, wrap: bool = False
) -> None:
    """Print a table on stdout: framed on a terminal, columns set apart by two blanks in a pipe.

    ``wrap`` lets long cells go on in the next line of a pipe, where the table would be too wide.
    """
    if _on_terminal(sys.stdout):
        from rich.console import Console
        from rich.table import Table

        table = Table(title=title, title_justify="left", header_style="bold")
        for name in header:
            table.add_column(name)
        for row in rows:
            style = "bold" if any("ASSUMED" in cell for cell in row) else None
            table.add_row(*row, style=style)
        Console().print(table)
        return
    click.echo(f"{title}:")
    widths = _widths([header, *rows], _WIDEST if wrap else None)
    for row in [header, *rows]:
        cells = [_wrapped(c, w) for c, w in zip(row, widths, strict=True)]
        for parts in itertools.zip_longest(*cells, fillvalue=""):
            line = "  ".join(c.ljust(w) for c, w in zip(parts, widths, strict=True))
            click.echo("  " + line.rstrip())


def _widths(rows: Sequence[Sequence[str]], most: int | None) -> list[int]:
    """Widths of columns: what they need, the widest taken back until all of them have room."""
    needed = [max(1, *(len(c) for c in column)) for column in zip(*rows, strict=True)]
    if most is None:
        return needed
    room = most - 2 * len(needed)
    widest = max(needed)
    while widest > 12 and sum(min(w, widest) for w in needed) > room:
        widest -= 1
    return [min(w, widest) for w in needed]


def _wrapped(cell: str, width: int) -> list[str]:
    """A cell in lines; no number is parted from its unit, nor sizes from each other."""
    held = re.sub(r" (?=(?:mm|in|thou|cm2|in2|x)\b)|(?<=\bx) ", "\u00a0", cell)
    lines = textwrap.wrap(held, width, break_long_words=False, break_on_hyphens=False)
    return [line.replace("\u00a0", " ") for line in lines] or [""]


def show_built(built: Built) -> None:
    """Print what was asked, what it was cut with, and what was proved."""
    job, unit = built.job, built.job.unit
    rows = []
    outside = outside_of(built.solution.arrangement).size
    found = find_inside(job).along
    for k, name in enumerate(DIRECTIONS):
        inside = whole_as_cut(built, k)
        cut = "-"
        if inside and inside.by_panel:
            cut = own_first(inside.least, unit, places=3)
            if inside.greatest != inside.least:
                cut += f" to {own_first(inside.greatest, unit, places=3)} ({inside.binds} binds)"
        how = "asked" if found[k].source is Source.ASKED else "computed"
        rows.append([name, both(found[k].nm, unit), how, cut, both(outside[k], unit)])
    head = ["direction", "inside", "what it is", "as cut, computed", "outside, computed"]
    show_table(job.title, head, rows, wrap=True)
    for name, along in zip(DIRECTIONS, found, strict=True):
        if along.how:
            click.echo(f"{name} {both(along.nm, unit)} (computed): {along.how}")
        if along.limit is not None:
            slack = along.limit - outside[DIRECTIONS.index(name)]
            click.echo(
                f"{name}: goes into {both(along.limit, unit)} (asked), "
                f"slack {both(slack, unit)} (computed)"
            )
    figures = figure_rows(built)
    show_table(
        "Cut with", ["figure", "value", "what it is"], [row[:3] for row in figures], wrap=True
    )
    notes: dict[str, list[str]] = {}
    for figure, _, _, note in figures:
        if note:
            notes.setdefault(note, []).append(figure)
    for note, names in notes.items():  # whole lines: a command in them can be run as printed
        click.echo(f"  {', '.join(names)}: {note}")
    _show_panels(built)
    for warning in built.warnings:
        click.echo(f"look at: {warning}", err=True)
    click.echo(kerf_text(built))
    e, solid, assembly = built.exact, built.solid, built.assembly
    click.echo(
        f"exact proof: {'holds' if e.passed else 'FAILED'} ({e.bars} bars, {e.corners} corners); "
        f"virtual cut: {'holds' if not built.faults else 'FAILED'}; "
        f"assembly sequence: {'holds' if assembly.passed else 'FAILED'}"
        + ("" if solid is None else f"; solid proof: {'holds' if solid.passed else 'FAILED'}")
    )
    if assembly.passed:
        click.echo(f"goes together in {len(stages(built))} steps: {short_sequence(built)}")
    for fault in (*e.faults, *built.faults, *assembly.faults, *(solid.faults if solid else ())):
        click.echo(f"  {fault}", err=True)


def _show_panels(built: Built) -> None:
    """Print the panels, those alike in one row, and what was read of their thickness."""
    unit = built.job.unit
    alike: dict[tuple[str, ...], list[str]] = {}
    for p in built.cut_parts:
        name, home = p.panel.name, p.home
        how = ", ".join(filter(None, (panel_thickness(built, home), layer_words(built, home))))
        size, thickness = both_sizes(p.panel.size, unit), both(p.panel.slab.thickness, unit)
        alike.setdefault((size, thickness, how), []).append(name)
    rows, read = [], {}
    for (size, thickness, how), names in alike.items():
        what, _, readings = how.partition(": ")
        rows.append([names_together(names), size, thickness, what])
        if readings:
            read[thickness] = readings
    show_table("Panels", ["panel", "size, computed", "thickness", "what it is"], rows, wrap=True)
    for thickness, readings in read.items():
        click.echo(f"  thickness {thickness}: readings from {readings}")


def show_restocked(result: Restocked) -> None:
    """Print what changed with the sheet, old against new, and how much did not."""
    alike: dict[tuple[str, ...], list[Change]] = {}
    same: dict[str, list[str]] = {}
    for c in result.changes:
        if c.old == c.new:
            same.setdefault(c.kind if c.kind in _OF else "", []).append(c.what)
        else:
            alike.setdefault((c.kind, c.old, c.new, c.source), []).append(c)
    rows = [
        [_together(changes), old, new, source] for (_, old, new, source), changes in alike.items()
    ]
    title = f"{result.new.job.title}, restocked"
    if rows:
        show_table(title, ["what changed", "old", "new", "what it is"], rows, wrap=True)
    if same:
        what = [", ".join(whole)] if (whole := same.pop("", [])) else []
        what += [f"{kind} of {len(n)} {_OF[kind]}{'s' * (len(n) > 1)}" for kind, n in same.items()]
        click.echo(f"did not change: {'; '.join(what)}")
    ways: dict[str, list[str]] = {}
    for c in result.changes:
        if c.kind == "segments" and c.axis not in ways.setdefault(c.source, []):
            ways[c.source].append(c.axis)
    said = [f"{way} along {', '.join(axes)}" for way, axes in ways.items()]
    click.echo(f"segment counts: {'; '.join(said)}")
    for warning in result.new.warnings:
        click.echo(f"look at: {warning}", err=True)


def _together(changes: Sequence[Change]) -> str:
    """Name what changed alike: ``front, back thickness``."""
    return f"{names_together([c.name for c in changes])} {changes[0].kind}".strip()


class Progress:
    """Say how far a long step has come, on stderr, once it has taken more than a second."""

    def __init__(self) -> None:
        import time

        self._clock = time.monotonic
        self._begun = self._clock()
        self._said = 0.0

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Report that ``done`` of ``total`` are done in a stage."""
        now = self._clock()
        if now - self._begun < 1.0:
            return
        if not _on_terminal(sys.stderr) and done < total and now - self._said < 5.0:
            return
        self._said = now
        text = f"{stage}: {done} of {total}"
        if _on_terminal(sys.stderr):
            click.echo(f"\r{text:<60}" + ("\n" if done >= total else ""), err=True, nl=False)
        else:
            click.echo(text, err=True)
