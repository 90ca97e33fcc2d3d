"""Values of a job that may be right but are worth a second look; nothing is refused here."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from boxjoint.job.keys import key_name
from boxjoint.job.limits import WINDOWS, Window, shown
from boxjoint.job.measures import measures
from boxjoint.job.records import DIRECTIONS, Job, PerAxis
from boxjoint.job.tops import Till, speaks_of, unused_keys
from boxjoint.units import both, small_size

__all__ = ["Question", "question_job", "question_kerf"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A warning that the maker can answer with yes.

    Parameters
    ----------
    where
        Table and key, as in ``[cut] kerf``.
    value
        The value in both systems, the job's own first.
    text
        What is unusual, and what is usually behind it.
    """

    where: str
    value: str
    text: str

    def __str__(self) -> str:
        return f"{self.where}: {self.value}: {self.text}"


def _unusual(window: Window, job: Job) -> str:
    if window.usual is None:
        return ""
    low, high = (shown(window, bound, job.unit) for bound in window.usual)
    text = f"{window.name} is usually {low} to {high}"
    return f"{text}; {window.hint}" if window.hint else text


def question_job(job: Job) -> tuple[Question, ...]:
    """Return what is unusual about a job, in the sequence of its tables.

    Parameters
    ----------
    job
        The job with any overrides already in it: what is asked about is what will be cut.

    Returns
    -------
    tuple of Question
        Empty where everything is usual. One question a key: of several unusual readings the first
        is shown.
    """
    found: dict[str, Question] = {}
    for keys, window, value in measures(job):
        if not window.is_usual(value):
            where = key_name(tuple(k for k in keys if isinstance(k, str)))
            text = _unusual(window, job)
            found.setdefault(
                where, Question(where=where, value=shown(window, value, job.unit), text=text)
            )
    return (*found.values(), *_thick(job), *_unused(job))


def question_kerf(
    job: Job, *, usual_mm: float, measured: PerAxis | None = None
) -> tuple[Question, ...]:
    """Question a kerf that is near half or twice another one: half and full are the commonest slip.

    Parameters
    ----------
    job
        Only a kerf that it gives itself is questioned, and none that is unusual as it stands.
    usual_mm
        Full kerf that is usual in such stock, mm.
    measured
        Full kerf along each axis as the shop book has it for this machine, sheet and settings, mm;
        it goes before what is usual, and closer.
    """
    kerf = job.cut.kerf
    if kerf is None:
        return ()
    axes = ("x",) if kerf.x == kerf.y and (measured is None or measured.x == measured.y) else "xy"
    found = []
    for axis in axes:
        value: float = getattr(kerf, axis)
        known = usual_mm if measured is None else getattr(measured, axis)
        near = 0.25 if measured is None else 0.15
        factor = next((f for f in (0.5, 2.0) if abs(value / (f * known) - 1) <= near), None)
        if factor is None or not WINDOWS["kerf"].is_usual(Fraction(repr(float(value)))):
            continue
        whose = (
            "what is usual for a laser in 3 to 6 mm stock (common practice, no source)"
            if measured is None
            else "what the shop book has measured here"
        )
        which = "half of" if factor < 1 else "twice"
        ask = "is it what one edge loses" if factor < 1 else "was a full width doubled"
        keys = ("cut", "kerf") if len(axes) == 1 else ("cut", "kerf", axis)
        found.append(
            Question(
                where=key_name(keys),
                value=small_size(value, job.unit),
                text=f"near {which} {small_size(known, job.unit)}, {whose}: kerf is the FULL width "
                f"that the beam removes; {ask}?",
            )
        )
    return tuple(found)


def _thick(job: Job) -> tuple[Question, ...]:
    """Stock thicker than the smallest inside: right for thick stock around a small inside."""
    asked = {d: nm for d, nm in zip(DIRECTIONS, job.inside.asked, strict=True) if nm is not None}
    if not asked:
        return ()
    direction = min(asked, key=lambda name: asked[name])
    smallest = asked[direction]
    panel = max(job.panel_names, key=lambda name: job.thickness(name).greatest)
    thickness = job.thickness(panel).greatest
    if thickness <= smallest:
        return ()
    own = job.panels.get(panel)
    keys: tuple[str, ...] = ("stock",)
    if own and own.thickness is not None:
        keys = ("panels", panel)
    elif panel in job.dividers.names and job.divider_stock.thickness is not None:
        keys = ("dividers",)
    return (
        Question(
            where=key_name((*keys, "thickness")),
            value=both(thickness, first=job.unit),
            text=f"thicker than the inside's {direction}, {both(smallest, first=job.unit)}",
        ),
    )


def _unused(job: Job) -> tuple[Question, ...]:
    """What the job says of panels and of a top that its box has not."""
    return (
        tuple(
            Question(
                where=key_name(("panels", name), table=True),
                value="not used",
                text=f"the box has no {name} panel"
                + (f"; [top] kind is {job.top.kind!r}" if name == "top" else ""),
            )
            for name in job.panels
            if not speaks_of(name, job.panel_names, job.stack, job.drawers)
        )
        + tuple(
            Question(
                where=key_name(("top", key)),
                value="not used",
                text=f"a top of the kind {job.top.kind!r} has no {key}",
            )
            for key in unused_keys(job.top)
        )
        + _till(job)
    )


def _till(job: Job) -> tuple[Question, ...]:
    """A till that is described but rests on nothing."""
    if job.till.on or job.till == Till():
        return ()
    text = 'there is no till: say what it rests on, on = "ledges" or "dividers"'
    return (Question(where=key_name(("till",), table=True), value="not used", text=text),)
