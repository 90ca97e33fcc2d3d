"""The commands ``gauge draw`` and ``gauge read``."""

from __future__ import annotations

import click

from boxjoint.cli.late import Late

__all__ = ["gauge"]

COMMANDS: dict[str, tuple[str, str]] = {
    "draw": ("boxjoint.cli.gauge_draw", "Draw gauge pieces, with the form to write down readings."),
    "read": ("boxjoint.cli.gauge_read", "From readings to kerf, from verdicts to the fit."),
}


@click.command(cls=Late, table=COMMANDS)
def gauge() -> None:
    """Measure the kerf and choose the fit.

    \b
    Examples:
      boxjoint gauge draw kerf --material "birch plywood" --thickness 3.02 --out gauge
      boxjoint gauge read kerf gauge/kerf-form.csv
      boxjoint gauge draw comb tray.toml --out comb
      boxjoint gauge read comb comb/comb-form.csv --fit press
    """
