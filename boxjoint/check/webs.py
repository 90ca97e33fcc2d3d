"""Webs and necks of what is really cut: between straight sides, and behind relieved corners."""

from __future__ import annotations

from boxjoint.check.as_cut import Web, least_web
from boxjoint.fit.bites import Kind, bites_of
from boxjoint.fit.compensate import Drawn
from boxjoint.fit.relief import Relieved
from boxjoint.geometry.rings import Rings

__all__ = ["web_left"]


def web_left(as_cut: Rings, drawn: Drawn, relieved: Relieved, *, necks: bool = False) -> Web | None:
    """Find the least web (or neck) of a part, the bites of its reliefs counted.

    Parameters
    ----------
    as_cut
        Rings as cut without reliefs, nm, in the sheet's axes.
    drawn, relieved
        The same part as drawn, without and with reliefs.
    necks
        As in :func:`~boxjoint.check.as_cut.least_web`.

    Returns
    -------
    ``None`` where no two sides face each other over such material.
    """
    found = least_web(as_cut, necks=necks)
    if found is None or not relieved.corners:
        return found
    left = bites_of(drawn).left(
        relieved.at, relieved.radius, max(found.width, 0) / 1e6, relieved.lean
    )
    kind = left.kind == (Kind.NECK if necks else Kind.WEB)
    if not kind.any():
        return found
    width, place = left.width[kind], left.place[kind]
    k = int(width.argmin())
    nm = round(float(width[k]) * 1e6)
    if nm >= found.width:
        return found
    x, y = (place[k] * 1e6).round().astype(int).tolist()
    return Web(width=nm, place=(x, y))
