"""What a job asks of its joints, held to the same limits wherever it comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from boxjoint.errors import nearest_name
from boxjoint.job.limits import WINDOWS, outside, rank_problem, segments_problem
from boxjoint.job.problems import Problem, job_error
from boxjoint.job.words import CORNER_STYLES, DIRECTIONS, FITS, CornerStyle, Ends
from boxjoint.units import NM_PER_MM

__all__ = ["JointAsk"]

_LENGTHS = (
    "clearance",
    "sheet_clearance",
    "tab_width",
    "proud",
    "web",
    "shoulder_relief",
    "floor_relief",
    "corner_relief",
    "corner_allowance",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class JointAsk:
    """How the joints shall be: fit, widths, ends, ranks.

    ``clearance`` (nm, negative is interference) excludes ``fit``; ``tab_width`` (nm) excludes
    ``segments`` (odd counts by direction). ``rank`` is strongest first and may name a part of the
    panels; the others follow in the default rank. ``corner_relief`` is the radius of the relief at
    inside corners, nm; ``None``: by material and tool. ``corner_style`` says where it lies;
    ``corner_allowance`` is how much larger than a router's cutter it is drawn, nm.
    """

    clearance: int | None = None
    fit: str | None = None
    sheet_clearance: int | None = None
    tab_width: int | None = None
    segments: dict[str, int] = field(default_factory=dict)
    ends: Ends = "inner"
    rank: tuple[str, ...] = ()
    proud: int = 0
    web: int | None = None
    shoulder_relief: int | None = None
    floor_relief: int | None = None
    corner_relief: int | None = None
    corner_style: CornerStyle = "diagonal"
    corner_allowance: int | None = None

    def __post_init__(self) -> None:
        problems = [p for p in _problems(self) if p is not None]
        if problems:
            raise job_error(problems)


def _problems(ask: JointAsk) -> Iterator[Problem | None]:
    """Give everything that the reader of a job file would refuse, by key."""
    for one, other in (("clearance", "fit"), ("tab_width", "segments")):
        if getattr(ask, one) is not None and getattr(ask, other) not in (None, {}):
            yield Problem(
                keys=("joint", other),
                what=f"{one} and {other} exclude each other",
                value=_short(getattr(ask, other)),
                do="keep one of the two",
            )
    for name in _LENGTHS:
        value = getattr(ask, name)
        if value is None and name != "proud":
            continue
        if not _whole(value):
            yield Problem(
                keys=("joint", name),
                what=f"{WINDOWS[name].name} must be whole nanometres",
                value=_short(value),
                do="1 mm is 1_000_000",
            )
        else:
            yield outside(WINDOWS[name], ("joint", name), Fraction(value, NM_PER_MM))
    if ask.fit is not None:
        yield _choice("fit", ask.fit, FITS)
    yield _choice("ends", ask.ends, ("inner", "outer"))
    yield _choice("corner_style", ask.corner_style, CORNER_STYLES)
    yield from _segments(ask.segments)
    if isinstance(ask.rank, str) or not all(isinstance(name, str) for name in ask.rank):
        yield Problem(
            keys=("joint", "rank"), what="rank must be names of panels", value=_short(ask.rank)
        )
    else:
        yield rank_problem(("joint", "rank"), ask.rank)


def _segments(segments: object) -> Iterator[Problem | None]:
    keys = ("joint", "segments")
    if not isinstance(segments, Mapping):
        yield Problem(
            keys=keys,
            what="segments must name its directions",
            value=_short(segments),
            limit="such as {'length': 9, 'width': 5, 'height': 3}",
        )
        return
    for name, count in segments.items():
        if name not in DIRECTIONS:
            yield Problem(
                keys=(*keys, str(name)),
                what="no such direction",
                value=_short(name),
                limit=f"one of {', '.join(DIRECTIONS)}",
                do=nearest_name(str(name), DIRECTIONS),
            )
        elif not _whole(count):
            yield Problem(
                keys=(*keys, name),
                what="a count of segments must be a whole number",
                value=_short(count),
            )
        else:
            yield segments_problem((*keys, name), count)


def _choice(key: str, value: object, known: tuple[str, ...]) -> Problem | None:
    if value in known:
        return None
    return Problem(
        keys=("joint", key),
        what=f"no such {key}",
        value=_short(value),
        limit=f"one of {', '.join(known)}",
        do=nearest_name(str(value), known),
    )


def _whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _short(value: object) -> str:
    return repr(value)[:60]
