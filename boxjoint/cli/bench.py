"""Options that say where something was cut and when, shared by the commands of gauge and book."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from boxjoint.errors import InputError
from boxjoint.units import read_length, read_speed

if TYPE_CHECKING:
    from boxjoint.shop.book import Book
    from boxjoint.shop.learn import Belief
    from boxjoint.shop.records import Settings

__all__ = [
    "DATE",
    "Where",
    "date_of",
    "kerf_text",
    "lengths_mm",
    "open_book",
    "plus_minus",
    "settings_given",
    "settings_options",
    "settings_text",
    "where_cut",
]

F = TypeVar("F", bound=Callable[..., Any])

DATE = click.option(
    "--date", metavar="YYYY-MM-DD", help="When it was done; left out: the form's date, or now."
)

_SPEED_UNITS = ("mm/min", "in/min", "mm/s", "in/s")


def _with(command: F, options: list[Callable[[F], F]]) -> F:
    for option in reversed(options):
        command = option(command)
    return command


def settings_options(command: F) -> F:
    """Add the options that describe how the machine was set. None of them is ever called safe."""
    return _with(
        command,
        [
            click.option("--speed", metavar="SPEED", help='With its unit: "700 mm/min".'),
            click.option("--power", type=float, metavar="PERCENT", help="Power, percent."),
            click.option("--passes", type=int, metavar="N", help="Passes over the same line."),
            click.option("--air", metavar="TEXT", help="Air: on, off, a pressure."),
            click.option("--focus", metavar="LENGTH", help="Focus setting, as you note it."),
            click.option("--lens", metavar="TEXT", help="The lens, as you name it."),
        ],
    )


def where_cut(command: F) -> F:
    """Add machine, sheet and settings in the book, or what describes them."""
    command = settings_options(command)
    return _with(
        command,
        [
            click.option("--machine", metavar="NAME", help="Machine in the shop book."),
            click.option("--sheet", metavar="ID", help="Sheet in the shop book, by id or batch."),
            click.option("--material", metavar="TEXT", help="Of a sheet that is not in the book."),
            click.option(
                "--thickness",
                metavar="LENGTH",
                multiple=True,
                help="Its thickness; give it once for each caliper reading.",
            ),
            click.option(
                "--settings", metavar="NAME", help="Settings in the book, or a name for new ones."
            ),
        ],
    )


def lengths_mm(texts: tuple[str, ...], option: str) -> tuple[float, ...]:
    """Read lengths given to an option; bare ones are mm."""
    out = []
    for text in texts:
        try:
            out.append(float(read_length(text, unit="mm", what=option.lstrip("-"))))
        except InputError as error:
            raise error.within(option) from None
    return tuple(out)


def settings_given(given: Mapping[str, Any], at: datetime) -> Settings | None:
    """Return what the options say of the settings, without a name; ``None`` when nothing."""
    from boxjoint.shop.records import Settings

    names = ("speed", "power", "passes", "air", "focus", "lens")
    if all(given.get(n) is None for n in names):
        return None
    speed, unit = None, ""
    if given.get("speed") is not None:
        read = read_speed(given["speed"], what="--speed")
        plain = "".join(read.text.lower().split()).replace("ipm", "in/min")
        unit = next((u for u in _SPEED_UNITS if plain.endswith(u)), "mm/s")
        value = {
            "mm/s": read.mm_per_s,
            "mm/min": read.mm_per_min,
            "in/min": read.in_per_min,
            "in/s": read.in_per_min / 60,
        }[unit]
        speed = float(value)
    focus = given.get("focus")
    return Settings(
        at=at,
        speed=speed,
        speed_unit=unit,
        power_percent=given.get("power"),
        passes=1 if given.get("passes") is None else given["passes"],
        air=given.get("air") or "",
        focus_mm=None if focus is None else _focus(focus),
        lens=given.get("lens") or "",
    )


def _focus(text: str) -> float:
    try:
        return float(read_length(text, unit="mm", what="focus", signed=True))
    except InputError as error:
        raise error.within("--focus") from None


def date_of(text: str, where: str) -> datetime:
    """Read a date, of today or before: a day (taken as now if it is today, else its noon) or a time.

    The clock is read here, at the rim, and nowhere further in.
    """
    now = datetime.now(UTC)
    if not text:
        return now
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            "a date that cannot be read", where=where, value=repr(text), limit="such as 2026-11-25"
        ) from None
    if len(text.strip()) <= 10:  # a day only
        if at.date() == now.date():
            return now
        at = at.replace(hour=12, tzinfo=UTC)
    elif at.tzinfo is None:
        at = at.astimezone()  # a time on the clock of this place
    if at > now:
        raise InputError("a date that is yet to come", where=where, value=repr(text))
    return at


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """What is known of where something was cut: options first, then what a form or job says."""

    machine: str = ""
    sheet: str = ""
    material: str = ""
    thickness_mm: tuple[float, ...] = ()
    settings: str = ""
    given: Settings | None = None

    @classmethod
    def of(cls, options: Mapping[str, Any], facts: Mapping[str, str], at: datetime) -> Where:
        """Put options and facts together."""
        thickness = lengths_mm(options.get("thickness") or (), "--thickness")
        material = options.get("material") or ""
        sheet = options.get("sheet") or ""
        if not (sheet or material or thickness):
            sheet = facts.get("sheet", "")
        return cls(
            machine=options.get("machine") or facts.get("machine", ""),
            sheet=sheet,
            material=material,
            thickness_mm=thickness,
            settings=options.get("settings") or facts.get("settings", ""),
            given=settings_given(options, at),
        )

    def find(self, book: Book, at: datetime) -> Any:
        """Return the place in the book, as :func:`boxjoint.shop.bench.find_place`."""
        from boxjoint.shop.bench import find_place

        if not self.machine:
            raise InputError(
                "on which machine was it cut?", where="the shop book", do="give --machine NAME"
            )
        return find_place(
            book,
            machine=self.machine,
            at=at,
            sheet=self.sheet,
            material=self.material,
            thickness_mm=self.thickness_mm,
            settings=self.settings,
            given=self.given,
        )


def open_book(path: Path | None, *, write: bool) -> Book:
    """Open the book; one that was named must exist unless it is to be written."""
    from boxjoint.shop.book import Book

    return Book.open(path, write=write, must_exist=path is not None and not write)


# ---- words -----------------------------------------------------------------------------------


def plus_minus(U: float, unit: str = "mm") -> str:
    """Write an expanded uncertainty; of a scale in mm per metre."""
    return f"+-{U:.3f} mm" if unit == "mm" else f"+-{1e3 * U:.2f} mm/m"


def settings_text(settings: Settings) -> str:
    """Say in one line how a machine was set."""
    speed = "" if settings.speed is None else f"{settings.speed:g} {settings.speed_unit}"
    power = "" if settings.power_percent is None else f"{settings.power_percent:g} %"
    passes = "" if settings.passes == 1 else f"{settings.passes} passes"
    focus = "" if settings.focus_mm is None else f"focus {settings.focus_mm:g} mm"
    air = settings.air and f"air {settings.air}"
    lens = settings.lens and f"lens {settings.lens}"
    facts = ", ".join(f for f in (speed, power, passes, air, focus, lens) if f)
    return f"{settings.name or 'unnamed'}: {facts or 'nothing written down'}"


def kerf_text(belief: Belief) -> str:
    """Say in one line what is believed of a kerf, with its age."""
    from boxjoint.shop.records import counted

    if belief.kerf_x is None or belief.kerf_y is None:
        return "nothing is known of the kerf"
    age = "" if belief.age_days is None else f"; last read {belief.age_days:.0f} days ago"
    figures = ", ".join(
        f"kerf_{axis} {f.value:.3f} mm {plus_minus(1.96 * f.u)}"
        + ("" if str(f.source) == "measured" else " (ASSUMED)")
        for axis, f in (("x", belief.kerf_x), ("y", belief.kerf_y))
    )
    counts = ", ".join(
        counted(n, word)
        for n, word in (
            (belief.readings, "reading"),
            (belief.gauges, "gauge"),
            (belief.boxes, "box"),
        )
    )
    return f"{figures} (95 %; {counts}{age})"
