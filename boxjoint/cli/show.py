"""How results look on a screen: a table for a terminal, plain text for a pipe."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TextIO

import click

from boxjoint.check.built import Built
from boxjoint.export.panels import kerf_text
from boxjoint.export.report_inside import whole_as_cut
from boxjoint.export.stages import short_sequence
from boxjoint.job.records import DIRECTIONS, Source
from boxjoint.solve.box import outside_of
from boxjoint.solve.inside import find_inside
from boxjoint.units import both, format_mm, mm_and_thou

__all__ = ["Progress", "show_built", "show_table"]


def _on_terminal(stream: TextIO | None) -> bool:
    """Whether somebody watches; a stream that the caller closed is ``None``."""
    return stream is not None and stream.isatty()


def show_table(title: str, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table on stdout: framed on a terminal, columns set apart by two blanks in a pipe."""
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
    widths = [max(len(r[k]) for r in [header, *rows]) for k in range(len(header))]
    click.echo(f"{title}:")
    for row in [header, *rows]:
        click.echo("  " + "  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip())


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
            cut = format_mm(inside.least, places=3)
            if inside.greatest != inside.least:
                cut += f" to {format_mm(inside.greatest, places=3)} ({inside.binds} binds)"
        asked = "" if found[k].source is Source.ASKED else " (computed)"
        rows.append([name, both(found[k].nm, unit) + asked, cut, both(outside[k], unit)])
    show_table(
        job.title, ["direction", "inside, asked", "inside, as cut", "outside, computed"], rows
    )
    for name, along in zip(DIRECTIONS, found, strict=True):
        if along.how:
            click.echo(f"{name} {both(along.nm, unit)}: {along.how}")
        if along.limit is not None:
            slack = along.limit - outside[DIRECTIONS.index(name)]
            click.echo(f"{name}: goes into {both(along.limit, unit)}, slack {both(slack, unit)}")
    rows = []
    for name, f in built.figures.items():
        value = f"{f.value:.5f}" if f.unit == "1" else mm_and_thou(f.value, places=3)
        rows.append([name.replace("_", " "), value, f.standing, f.note])
    show_table("Cut with", ["figure", "value", "what it is", ""], rows)
    rows = []
    for p in built.parts:
        thickness = job.thickness(p.panel.name)
        # an arrangement that is not the job's may have slabs of its own
        t = thickness if thickness.nm == p.panel.slab.thickness else None
        how = "computed"
        if t is not None:
            how = (
                f"measured, {len(t.readings)} readings" if t.source is Source.MEASURED else "asked"
            )
        rows.append(
            [
                p.panel.name,
                " x ".join(both(s, unit) for s in p.panel.size),
                both(p.panel.slab.thickness, unit),
                how,
            ]
        )
    show_table("Panels", ["panel", "size, computed", "thickness", "what it is"], rows)
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
        click.echo(f"goes together in {len(assembly.steps)} steps: {short_sequence(built)}")
    for fault in (*e.faults, *built.faults, *assembly.faults, *(solid.faults if solid else ())):
        click.echo(f"  {fault}", err=True)


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
