"""Make the pictures of the README and the docs from the fixtures: python docs/pictures/make.py."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import boxjoint
from boxjoint.export.bodies import bodies_apart
from boxjoint.export.isometric import exploded_offsets, isometric_svg

HERE = Path(__file__).parent
ROOT = HERE.parents[1]

#: Jobs of the gallery that are drawn with all panels apart, since assembled they hide what they show.
EXPLODED = ("chest-900-seam", "cube-20", "specimen-drawer", "specimen-tray-raised")
#: Jobs whose glued top is drawn above the box, so that one looks in.
TOP_OFF = ("notebook-box-a5", "notebook-box-contents")
#: Jobs of so many panels that their names would hide them.
UNNAMED = (
    "slide-tray-100",
    "specimen-case-pulls",
    "specimen-case-six-drawers",
    "specimen-drawers-hole",
)
#: Wide enough for the names, small enough for a page with all jobs.
WIDTH_MM = 120.0
#: Scored on the sheet and printed on its page, where a picture must be the same on every day.
DATE = "2026-01-12"


def pictures() -> dict[str, bytes]:
    """Return the pictures by file name; each job is built once."""
    built = {
        path.stem: boxjoint.build(boxjoint.read_job(path))
        for path in sorted((ROOT / "fixtures" / "jobs").glob("*.toml"))
    }
    tray = boxjoint.files(built["slide-tray"], picture=True)
    found = {
        "slide-tray-panels.svg": tray["panels.svg"],
        "slide-tray-assembled.svg": tray["box.svg"],
    }
    for name, one in built.items():
        found[f"gallery/{name}.svg"] = gallery_picture(name, one)
    found["gallery/leaf-box-marked-panels.svg"] = boxjoint.files(built["leaf-box-marked"])[
        "panels.svg"
    ]
    found["gallery/slide-tray-nested-sheets.svg"] = sheets_page(built["slide-tray-nested"])
    return found


def gallery_picture(name: str, built: Any) -> bytes:
    """Draw one job as the gallery shows it: with lids off and drawers out, apart, or assembled."""
    panels = [p.panel for p in built.cut_parts]  # of a panel with a seam, its pieces
    holes = {p.panel.name: [h.placed.hole for h in p.holes] for p in built.cut_parts if p.holes}
    apart = dict(_apart(name, built))
    for part in built.cut_parts:
        if part.home and part.home != part.panel.name:
            apart[part.panel.name] = _piece_apart(part, apart[part.home], built)
    drawn = {p.name for p in panels}
    return isometric_svg(
        panels,
        apart={n: v for n, v in apart.items() if n in drawn},
        holes=holes,
        marks={p.panel.name: p.marks for p in built.cut_parts},
        width_mm=WIDTH_MM,
        labels=name not in UNNAMED,
        title=built.job.title,
    ).encode()


def sheets_page(built: Any) -> bytes:
    """Return the page of the shop papers that shows the sheets of a job."""
    from boxjoint.order.files import order_files
    from boxjoint.order.lay import lay
    from boxjoint.order.plan import plan_order
    from boxjoint.order.read import lines_of
    from boxjoint.order.records import Order

    job = built.job
    order = Order(title=job.title, unit=job.unit, lines=lines_of([(job, 1)]))
    planned = plan_order(lay(order, built=[built], date=DATE))
    return order_files(planned, date=DATE)["shop-02.svg"]


def _apart(name: str, built: Any) -> Mapping[str, tuple[int, int, int]]:
    arrangement = built.solution.arrangement
    if name in EXPLODED:
        return exploded_offsets(built.solution)
    low = min(built.job.inside.length or 0, built.job.inside.width or 0)
    if name in TOP_OFF:
        size = max(s.box.hi[2] for s in arrangement.slabs)
        return {"top": (0, 0, size)}
    found = bodies_apart(arrangement)
    lids = [b for b in arrangement.bodies if b.out == (2, 1)]
    if len(lids) == 1:  # a single lid is drawn higher, so that one looks into the box
        found |= {n: (0, 0, max(found[n][2], low // 2)) for n in lids[0].slabs}
    return found


def _piece_apart(part: Any, home: tuple[int, int, int], built: Any) -> tuple[int, int, int]:
    """Where a piece of a panel goes: with its panel, and a little away from the other piece."""
    whole = next(s.box for s in built.solution.arrangement.slabs if s.name == part.home)
    own = part.panel.slab.box
    away = -1 if own.lo[0] == whole.lo[0] else 1
    return (home[0] + away * 2 * part.panel.slab.thickness, home[1], home[2])


if __name__ == "__main__":
    for name, data in pictures().items():
        (HERE / name).parent.mkdir(exist_ok=True)
        (HERE / name).write_bytes(data)
        print(HERE / name)
