"""A group of commands that are imported only when one of them is run, so that help is quick."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import click

__all__ = ["Late", "Suggesting"]


class Suggesting(click.Group):
    """A group that suggests the nearest command for a word that is none."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command of the first word, or fail with the nearest one."""
        from boxjoint.errors import nearest_name

        known = self.list_commands(ctx)
        if args and args[0] not in known and not args[0].startswith("-"):
            near = nearest_name(args[0], known).capitalize() or f"One of: {', '.join(known)}"
            ctx.fail(f"no command {args[0]!r}. {near}")
        return super().resolve_command(ctx, args)


class Late(Suggesting):
    """A group whose commands are known by module and one line of help.

    Parameters
    ----------
    table
        Name of each command, in the sequence in which help shows them: (module, line of help). The
        module has a command of that name.
    """

    def __init__(self, *args: Any, table: Mapping[str, tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.table = table

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names, importing nothing."""
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of one command."""
        if cmd_name not in self.table:
            return None
        module = importlib.import_module(self.table[cmd_name][0])
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands, importing nothing."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.table.items()])
