"""Commands that a message tells the maker to run, whole enough to be run as printed."""

from __future__ import annotations

import shlex

from boxjoint.job.records import Job

__all__ = ["gauge_command"]

#: Folder that a hint writes a piece to, by the piece's name in ``gauge draw``.
_FOLDERS = {"kerf": "gauge", "comb": "comb", "strip": "strips"}


def gauge_command(job: Job, piece: str, *more: str) -> str:
    """Return the command that draws a gauge piece for a job.

    Parameters
    ----------
    piece
        ``kerf``, ``comb`` or ``strip``.
    more
        Further options, as words.

    Returns
    -------
    str
        With the job's file where there is one, else with its material and thickness; and with a
        folder to write to. Quoted for a POSIX shell.
    """
    words = ["boxjoint", "gauge", "draw", piece]
    if job.path and not job.path.startswith("<"):  # a job that came as text has no file
        words.append(job.path)
    else:
        thickness = job.stock.thickness.nm
        words += ["--material", job.stock.material, "--thickness", f"{thickness / 1e6:.6g} mm"]
        if piece == "comb":
            tab = job.joint.tab_width or thickness * 5 // 2
            words += ["--tab-width", f"{tab / 1e6:.6g} mm"]
    return shlex.join([*words, *more, "--out", _FOLDERS[piece]])
