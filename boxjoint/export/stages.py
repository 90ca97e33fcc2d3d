"""The assembly sequence as people follow it: what is alike is done in one go and told once.

A step moves one thing; a stage is one picture and one line of words. Parts that lie side by side and go
on in the same direction, such as five shelves, are one stage, and of six drawers alike one is made step
by step and the others likewise. Nothing here changes what is done, or in which sequence.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from boxjoint.check.assembly import Step, listed
from boxjoint.check.built import Built
from boxjoint.check.interlock import Direction
from boxjoint.job.records import Unit
from boxjoint.solve.arrangement import Slab
from boxjoint.units import both

if TYPE_CHECKING:
    from boxjoint.check.turning import Turn

__all__ = ["Stage", "named", "pins_text", "short_sequence", "stages", "words"]

_FROM = {
    (0, 1): "from the left",
    (0, -1): "from the right",
    (1, 1): "from the front",
    (1, -1): "from the back",
    (2, 1): "from below",
    (2, -1): "from above",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One picture's worth of an assembly sequence.

    Parameters
    ----------
    number
        From 1.
    steps
        Numbers of the steps that it tells, from 1; none where pieces of a panel are glued.
    moved
        What travels: each of these moves as one. Pieces by their own names where they are glued.
    direction
        Which way; ``None`` where there is but one part, which is laid on the bench.
    there
        What is in place already.
    laid
        The part that is laid on the bench just before; empty where there is none.
    joins
        What of ``there`` the moved parts get a joint with, or are glued to.
    name
        What is moved, in words.
    alike
        Names of bodies that are made in the same way, besides the one that is told here.
    text
        All of it in words.
    """

    number: int
    steps: tuple[int, ...]
    moved: tuple[tuple[str, ...], ...]
    direction: Direction | None
    there: tuple[str, ...]
    laid: str = ""
    joins: tuple[str, ...] = ()
    name: str = ""
    alike: tuple[str, ...] = ()
    text: str = ""


def stages(built: Built) -> tuple[Stage, ...]:
    """Return the assembly sequence of a built job by stages; empty where a set locks."""
    if not built.assembly.steps:
        return ()
    glued = _seams(built)
    told = _Teller(built).tell()
    return glued + tuple(replace(s, number=s.number + len(glued)) for s in told)


def _seams(built: Built) -> tuple[Stage, ...]:
    """One stage a divided panel, before all others: its pieces are glued to each other."""
    found: list[Stage] = []
    for part in built.parts:
        if part.divided is None:
            continue
        name, frame = part.panel.name, part.divided.panel.frame
        pieces = [p.panel.name for p in part.pieces]
        axis, sense = frame.axes[part.divided.along], frame.senses[part.divided.along]
        seam = "seam" if len(pieces) == 2 else "seams"
        found.append(
            Stage(
                number=len(found) + 1,
                steps=(),
                moved=tuple((p,) for p in pieces[1:]),
                direction=(axis, -sense),
                there=(pieces[0],),
                joins=(pieces[0],),
                name=f"{seam} of {name}",
                text=f"Glue the {seam} of {name}: lay {listed(pieces)} flat on a straight board, push "
                "them together, check the length on a mate, and put weights on. Let the glue dry "
                "before the box is glued.",
            )
        )
    return tuple(found)


def short_sequence(built: Built) -> str:
    """Return what comes after what, in one line, a stage each: ``bottom and front, back, left``."""
    names: list[str] = []
    for stage in stages(built):
        whole = " put together" if len(stage.moved) and len(stage.moved[0]) > 1 else ""
        names.append(" and ".join(n for n in (stage.laid, stage.name + whole) if n))
    most = 14
    shown = names if len(names) <= most else [*names[: most - 1], f"{len(names) - most + 1} more"]
    return ", ".join(shown)


def pins_text(turn: Turn, unit: Unit) -> str:
    """What is to be done with the pins of a hinged lid."""
    hinge = turn.hinge
    return (
        f"Push {len(hinge.pairs)} pins of {both(hinge.pin, unit)}, at least "
        f"{both(turn.pin_length, unit)} long, from outside through "
        + ", and through ".join(f"{wall} into {cheek}" for cheek, wall in hinge.pairs)
        + "; glue them in the walls only."
    )


def named(names: Sequence[str]) -> str:
    """Return names as people say them: ``back and shelf-1 to shelf-5``."""
    found: list[list[str]] = []
    last: tuple[str, int] | None = None
    for name in names:
        match = re.fullmatch(r"(.*?)(\d+)", name)
        here = (match[1], int(match[2])) if match else None
        if here and last and here == (last[0], last[1] + 1):
            found[-1].append(name)
        else:
            found.append([name])
        last = here
    said: list[str] = []
    for run in found:
        said += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else run
    return listed(said)


class _Teller:
    """What is needed to tell the steps of one job."""

    def __init__(self, built: Built) -> None:
        solution = built.solution
        self.turn, self.unit = built.turn, built.job.unit
        hinge = solution.arrangement.hinge
        self.hinged = next(
            (b.slabs for b in solution.arrangement.bodies if hinge and b.name == hinge.body), ()
        )
        self.steps = built.assembly.steps
        self.slabs: dict[str, Slab] = {s.name: s for s in solution.arrangement.slabs}
        names = [s.name for s in solution.arrangement.slabs]
        self.jointed: dict[str, set[str]] = {n: set() for n in names}
        for joint in solution.joints:
            self.jointed[names[joint.a]].add(names[joint.b])
            self.jointed[names[joint.b]].add(names[joint.a])
        self.glued: dict[str, set[str]] = {n: set() for n in names}
        self.bodies = {frozenset(b.slabs) for b in solution.arrangement.bodies}
        for body in solution.arrangement.bodies:
            for one, other in body.glued:
                self.glued[one].add(other)
                self.glued[other].add(one)

    def tell(self) -> tuple[Stage, ...]:
        """Return the stages, in words."""
        if len(self.steps) == 1:
            (only,) = self.steps[0].parts
            text = f"Lay {only} on the bench."
            return (
                Stage(number=1, steps=(1,), moved=(), direction=None, there=(only,), text=text),
            )
        told: list[Stage] = []
        for stage in self._folded():
            before = told[-1] if told else None
            if before is not None and self._go_together(before, stage):
                told[-1] = replace(
                    before, steps=before.steps + stage.steps, moved=before.moved + stage.moved
                )
            else:
                told.append(stage)
        return tuple(self._worded(replace(s, number=n)) for n, s in enumerate(told, 1))

    def _folded(self) -> list[Stage]:
        """One stage a step; bodies like one that was made already are not made again."""
        found: list[Stage] = []
        made: dict[
            tuple[object, ...], int
        ] = {}  # by what it is like: the stage that ends its making
        bench: dict[str, int] = {}
        first_laid = self.steps[0].parts[0]
        for number, step in enumerate(self.steps, 1):
            if step.direction is None:
                bench[step.parts[0]] = number
                continue
            likeness = self._likeness(number) if len(step.parts) > 1 else None
            first = made.get(likeness) if likeness else None
            if first is not None:
                drop = len(self._making(number))
                gone = [s for s in found if s.steps[-1] >= number - drop]
                kept = found[first]
                alike = (*kept.alike, step.body or step.parts[0])
                numbers = kept.steps + tuple(range(number - drop, number))
                found[first] = replace(kept, alike=alike, steps=numbers)
                found = found[: len(found) - len(gone)]
            elif likeness:
                made[likeness] = len(found) - 1
            laid = step.there[0] if len(step.there) == 1 else ""
            numbers = (bench[laid], number) if laid else (number,)
            found.append(
                Stage(
                    number=0, steps=numbers, moved=(step.parts,), direction=step.direction,
                    there=step.there, laid=laid, name=step.body,
                )
            )  # fmt: skip
            if frozenset((*step.there, *step.parts)) in self.bodies and step.there[0] == first_laid:
                made.setdefault(self._made_like(self.steps[:number]), len(found) - 1)
        return found

    def _making(self, number: int) -> list[Step]:
        """The steps just before step ``number`` that put together what it moves."""
        parts = set(self.steps[number - 1].parts)
        begin = number - 1
        while begin and set(self.steps[begin - 1].parts) <= parts:
            begin -= 1
        return list(self.steps[begin : number - 1])

    def _likeness(self, number: int) -> tuple[object, ...]:
        """Equal for what is made of the same panels in the same way, wherever it then goes."""
        return self._made_like(self._making(number))

    def _made_like(self, making: Sequence[Step]) -> tuple[object, ...]:
        boxes = [self.slabs[n].box for s in making for n in s.parts]
        low = [min(b.lo[k] for b in boxes) for k in range(3)]
        made = []
        for s in making:
            parts = [self.slabs[n] for n in s.parts]
            made.append(
                (
                    s.direction,
                    tuple(
                        (p.normal, p.box.size, tuple(p.box.lo[k] - low[k] for k in range(3)))
                        for p in parts
                    ),
                )
            )
        return tuple(made)

    def _go_together(self, one: Stage, other: Stage) -> bool:
        """Whether two stages that follow each other are told as one."""
        if one.direction != other.direction or other.laid or one.alike or other.alike:
            return False
        first, last, new = one.moved[0], one.moved[-1], other.moved[0]
        if set(other.there) != set(one.there).union(*one.moved) or len(last) != len(new):
            return False
        for a, b in zip(last, new, strict=True):  # the same panels, side by side
            if self.slabs[a].normal != self.slabs[b].normal:
                return False
        if len(new) > 1 and [self.slabs[n].box.size for n in first] != [
            self.slabs[n].box.size for n in new
        ]:
            return False
        before = {n for parts in one.moved for n in parts}
        if any(self._in_line(one.direction, n, b) for n in new for b in before):
            return False
        return not any((self.jointed[n] | self.glued[n]) & before for n in new)

    def _in_line(self, direction: Direction | None, one: str, other: str) -> bool:
        """Whether two parts lie one behind the other, as seen along a direction."""
        a, b = self.slabs[one].box, self.slabs[other].box
        across = [k for k in range(3) if direction and k != direction[0]]
        return all(a.lo[k] < b.hi[k] and b.lo[k] < a.hi[k] for k in across)

    def _worded(self, stage: Stage) -> Stage:
        """Fill in name, joins and text."""
        there = set(stage.there)
        every = [n for parts in stage.moved for n in parts]
        jointed = {m for n in every for m in self.jointed[n]} & there
        glued = {m for n in every for m in self.glued[n]} & there
        joins = tuple(n for n in stage.there if n in jointed | glued)
        several = len(stage.moved[0]) > 1
        if several:
            bodies = [self._body(parts) for parts in stage.moved]
            name = named(bodies) if all(bodies) else self._with(stage.moved[0])
        else:
            name = named(every)
        turned = self._upside_down(stage.there[0])
        text = ""
        if stage.laid:
            apart = ", apart from the rest" if stage.number > 1 else ""
            text = f"Lay {stage.laid} on the bench{', upside down' if turned else ''}{apart}. "
        verb = self._verb(stage.direction, bool(jointed), bool(glued), turned)
        text += f"{verb.format(name)}{', put together' if several else ''}"
        if stage.direction:
            text += f", {_FROM[stage.direction]}"
        if joins:
            text += f"; joined to {named(joins)}" if jointed else f", to {named(joins)}"
        text += "."
        if stage.alike:
            text += f" Make {named(stage.alike)} likewise."
        if self.turn is not None and any(set(self.hinged) == set(parts) for parts in stage.moved):
            text += f" {pins_text(self.turn, self.unit)}"
        return replace(stage, joins=joins, name=name, text=text)

    def _verb(self, direction: Direction | None, jointed: bool, glued: bool, turned: bool) -> str:
        """What is done with the parts that move; their name goes between the braces."""
        upright = direction is not None and direction[0] == 2
        if jointed:
            verb = "set {} on" if upright else "push {} on"
        elif glued:
            verb = "glue {} on"
        else:
            verb = "set {} in place" if upright else "slide {} in"
        if direction == (2, 1) and not turned:
            verb = f"turn over and {verb}"
        return verb[0].upper() + verb[1:]

    def _upside_down(self, base: str) -> bool:
        """Whether a part that lies on the bench is the upper one of what hangs on to it."""
        top = self.slabs[base].box.hi[2]
        parts = self._whole(base) - {base}
        if self.slabs[base].normal != 2 or not parts:
            return False
        return all(self.slabs[n].box.hi[2] <= top for n in parts)

    def _whole(self, part: str) -> set[str]:
        """All that hangs on to a part."""
        reached, todo = {part}, [part]
        while todo:
            name = todo.pop()
            new = (self.jointed[name] | self.glued[name]) - reached
            reached |= new
            todo += new
        return reached

    def _body(self, parts: tuple[str, ...]) -> str:
        """What people call parts that move as one."""
        return next((s.body for s in self.steps if s.parts == parts and s.body), "")

    def _with(self, parts: Sequence[str]) -> str:
        return f"{parts[0]} with {listed(parts[1:])}"


def words(built: Built) -> Iterator[str]:
    """Give the sequence in words, one numbered line a stage."""
    for stage in stages(built):
        yield f"{stage.number}. {stage.text}"
