"""What is said about how parts go together: the steps, or the set that locks and what to change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from boxjoint.check.interlock import DIRECTIONS, Direction
from boxjoint.errors import ArrangementError

__all__ = [
    "Assembly",
    "Fall",
    "Lock",
    "LockJoint",
    "Removal",
    "Step",
    "direction_text",
    "listed",
    "step_text",
    "steps_text",
]

_NAMES_SHOWN = 6  # more names than this are counted, not listed

_HOW = {
    (0, 1): "push on from the left",
    (0, -1): "push on from the right",
    (1, 1): "push on from the front",
    (1, -1): "push on from the back",
    (2, 1): "turn over and set on from below",
    (2, -1): "set on from above",
}

_OPTIONS = {
    "finger": "leave out this joint (an open side), or try another rank for the two",
    "mortise": "let {guest} stand loose, without tabs in {host}, or let its slots be open to a side",
    "halflap": "try another rank for the two, which turns the half-lap over, or let one end short",
    "none": "they are not joined, only in each other's way: make one smaller, or leave a side open",
}


def direction_text(direction: Direction) -> str:
    """``+y`` for (1, 1)."""
    return f"{'+' if direction[1] > 0 else '-'}{'xyz'[direction[0]]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of an assembly sequence.

    Parameters
    ----------
    parts
        What is moved, as one: a single part, or parts that earlier steps put together, the one that
        lay on the bench first.
    direction
        Which way it travels; ``None`` for a part that is laid on the bench to begin with.
    there
        What it is put to, already together, in the sequence in which it came; empty for a part laid
        on the bench.
    body
        What people call the parts that are moved as one (``drawer-3``); empty where they have no
        name of their own.
    """

    parts: tuple[str, ...]
    direction: Direction | None
    there: tuple[str, ...]
    body: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Removal:
    """Something that must come out, and whether it does.

    Parameters
    ----------
    name
        Of a part or a body.
    direction
        Which way it must come out.
    struck
        What it strikes on its way; empty when it comes out.
    free
        The directions in which it could come out.
    """

    name: str
    direction: Direction
    struck: tuple[str, ...]
    free: tuple[Direction, ...]

    @property
    def what(self) -> str:
        """Which way it ought to come out, as a clause."""
        verb = "comes out" if not self.struck else "does not come out"
        return f"{self.name} {verb} towards {direction_text(self.direction)}"

    @property
    def why(self) -> str:
        """What it strikes; empty when it comes out."""
        return f"it strikes {listed(self.struck)}" if self.struck else ""

    @property
    def do(self) -> str:
        """What to change when it does not come out."""
        others = " or ".join(map(direction_text, self.free))
        if others:
            return f"leave that side open, or let it come out towards {others}"
        return "leave that side open: as it is, it comes out towards no side"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fall:
    """Something loose that nothing below it holds.

    Parameters
    ----------
    name
        Of the body, or of its first part.
    parts
        What falls, as one.
    aloft
        Whether it hangs in the air; else it stands on the bench and falls when the rest is lifted.
    """

    name: str
    parts: tuple[str, ...]
    aloft: bool

    def __str__(self) -> str:
        if self.aloft:
            return f"{self.name} falls down: no part lies under it; give it a ledge, or join it"
        return (
            f"{self.name} stays behind when the rest is lifted: no part lies under it; give it a ledge "
            "or a base, or join it"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LockJoint:
    """Two parts of a locked set that strike each other.

    Parameters
    ----------
    a, b
        Names, the stronger first.
    kind
        Of the joint between them (``finger``, ``mortise``, ``halflap``), or ``none``.
    guest
        The one of the two to change: of a mortise, whose tabs stand in it.
    opens
        Whether the set would come apart if these two did not strike each other.
    """

    a: str
    b: str
    kind: Literal["finger", "mortise", "halflap", "none"]
    guest: str
    opens: bool

    def __str__(self) -> str:
        host = self.b if self.guest == self.a else self.a
        what = "" if self.kind == "none" else f" ({self.kind.replace('halflap', 'half-lap')})"
        return f"{self.a}-{self.b}{what}: " + _OPTIONS[self.kind].format(
            guest=self.guest, host=host
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Lock:
    """The smallest set of parts that lock each other.

    Parameters
    ----------
    parts
        By rank.
    blocks
        For each of the six directions the pairs (mover, struck) within the set.
    joints
        The pairs that strike each other, those that open the set first.
    """

    parts: tuple[str, ...]
    blocks: Mapping[Direction, tuple[tuple[str, str], ...]]
    joints: tuple[LockJoint, ...]

    @property
    def what(self) -> str:
        """What is wrong, as a clause."""
        return f"{listed(self.parts)} lock each other: no direction parts them"

    @property
    def why(self) -> str:
        """Who strikes whom, direction by direction; every part's first obstacle."""
        lines = []
        for direction in DIRECTIONS:
            first: dict[str, str] = {}
            for mover, struck in self.blocks.get(direction, ()):
                first.setdefault(mover, struck)
            said = ", ".join(f"{m} strikes {s}" for m, s in list(first.items())[:_NAMES_SHOWN])
            more = f" and {len(first) - _NAMES_SHOWN} more" if len(first) > _NAMES_SHOWN else ""
            lines.append(f"towards {direction_text(direction)}: {said}{more}")
        return "; ".join(lines)

    @property
    def do(self) -> str:
        """What to change."""
        opening = [j for j in self.joints if j.opens]
        if not opening:
            near = next((j for j in self.joints if j.kind != "none"), None)
            text = "no single joint holds the set, more than one has to change"
            return text + (f"; begin with {near}" if near else "")
        shown = "; or ".join(str(j) for j in opening[:3])
        more = f"; or one of {len(opening) - 3} more joints" if len(opening) > 3 else ""
        return f"change one joint: {shown}{more}"

    def __str__(self) -> str:
        return f"{self.what}. {self.why}. {self.do[0].upper()}{self.do[1:]}."


@dataclass(frozen=True, slots=True, kw_only=True)
class Assembly:
    """How the parts go together, or why they cannot.

    Parameters
    ----------
    parts
        All names, by rank.
    steps
        The assembly sequence; empty when a set locks.
    free
        For each part the directions in which it can move away with everything in place, out to
        infinity. A part that is glued to others moves with them.
    lock
        ``None`` when all goes together.
    removals
        What must come out, and whether it does.
    falls
        What is loose and not held from below.
    """

    parts: tuple[str, ...]
    steps: tuple[Step, ...]
    free: Mapping[str, tuple[Direction, ...]]
    lock: Lock | None
    removals: tuple[Removal, ...]
    falls: tuple[Fall, ...] = ()

    @property
    def locked(self) -> tuple[str, ...]:
        """The smallest set of parts that lock each other; empty when all goes together."""
        return self.lock.parts if self.lock else ()

    @property
    def held(self) -> Mapping[str, tuple[str, ...]]:
        """What must come out and does not, and what it strikes."""
        return {r.name: r.struck for r in self.removals if r.struck}

    @property
    def passed(self) -> bool:
        """Whether all goes together, all comes out that must, and nothing hangs in the air."""
        return self.lock is None and not self.held and not any(f.aloft for f in self.falls)

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong, a sentence each; empty when all goes together."""
        found = [] if self.lock is None else [str(self.lock)]
        found += [f"{r.what}: {r.why}; {r.do}" for r in self.removals if r.struck]
        return (*found, *(str(f) for f in self.falls if f.aloft))

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the maker should look at."""
        return tuple(str(f) for f in self.falls if not f.aloft)

    def require(self) -> None:
        """Raise unless all goes together, all comes out that must, and nothing hangs in the air.

        Raises
        ------
        ArrangementError
            Names the parts that lock each other, what a part strikes that must come out, or what
            falls; ``data['panels']`` has the names.
        """
        if self.lock:
            raise ArrangementError(
                self.lock.what,
                where="assembly sequence",
                value=self.lock.why,
                do=self.lock.do,
                panels=self.lock.parts,
            )
        for removal in self.removals:
            if removal.struck:
                raise ArrangementError(
                    removal.what,
                    where="assembly sequence",
                    value=removal.why,
                    limit="lids, drawers and trays come out without taking anything apart",
                    do=removal.do,
                    panels=(removal.name, *removal.struck),
                )
        for fall in self.falls:
            if fall.aloft:
                raise ArrangementError(
                    str(fall).split(";", maxsplit=1)[0],
                    where="assembly sequence",
                    do="give it a ledge, or join it",
                    panels=fall.parts,
                )


def steps_text(assembly: Assembly) -> str:
    """Return the assembly sequence in words, one numbered line a step, or why there is none."""
    if assembly.lock:
        return str(assembly.lock)
    return "\n".join(f"{n}. {step_text(s, first=n == 1)}" for n, s in enumerate(assembly.steps, 1))


def step_text(step: Step, *, first: bool = False) -> str:
    """Return one step in words; a ``first`` one has nothing that it could be apart from."""
    if step.direction is None:
        return f"{step.parts[0]} on the bench{'' if first else ', apart from the rest'}."
    way = direction_text(step.direction)
    return f"{_moved(step)}: {_HOW[step.direction]} (towards {way})."


def _moved(step: Step) -> str:
    if len(step.parts) == 1:
        return step.parts[0]
    if step.body:
        return f"{step.body}, put together"
    return f"{step.parts[0]}, put together with {listed(step.parts[1:])}"


def listed(names: Sequence[str]) -> str:
    """``a, b and c``; beyond a handful the first ones and how many more."""
    shown = list(names)
    if len(shown) > _NAMES_SHOWN:
        shown = [*shown[: _NAMES_SHOWN - 1], f"{len(shown) - _NAMES_SHOWN + 1} more"]
    if len(shown) < 2:
        return "".join(shown)
    return ", ".join(shown[:-1]) + f" and {shown[-1]}"
