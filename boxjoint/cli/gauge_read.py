"""The commands ``gauge read kerf`` and ``gauge read comb``: readings in, kerf and fit out."""

from __future__ import annotations

import click

from boxjoint.cli.late import Late

__all__ = ["read"]

COMMANDS: dict[str, tuple[str, str]] = {
    "kerf": (
        "boxjoint.cli.gauge_read_kerf",
        "Estimate kerf and scale from the readings of a gauge.",
    ),
    "comb": (
        "boxjoint.cli.gauge_read_comb",
        "Find the clearance that gives the wanted fit from the verdicts on a comb.",
    ),
}


@click.command(cls=Late, table=COMMANDS)
def read() -> None:
    """Turn readings into kerf, and verdicts into a fit.

    \b
    Examples:
      boxjoint gauge read kerf gauge/kerf-form.csv
      boxjoint gauge read comb comb/comb-form.csv --fit press
    """
