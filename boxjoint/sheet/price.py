"""What an order costs, and what to ask for it: sheets, machine, labour, spoilage, margin.

Money is exact: every amount is a fraction rounded once, half up, to the currency's smallest step, and the
lines add up to the total as printed. Rates are the shop's own; one that nobody set is assumed and says
so. No tax: local rules decide.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from boxjoint.errors import InputError, nearest_name
from boxjoint.job.figures import Figure
from boxjoint.job.records import Source

__all__ = ["RATES", "Line", "Quote", "Rates", "Work", "price_of"]

#: Rates by name: (what it is, per what, value where the shop has set none). Assumed: common practice,
#: no source; money in the shop's own currency.
RATES: Mapping[str, tuple[str, str, float]] = {
    "machine": ("the machine's time", "h", 60.0),
    "labour": ("the maker's time", "h", 20.0),
    "sheet": ("a sheet, unless it has a price of its own", "sheet", 6.0),
    "setup": ("minutes to set up an order", "order", 15.0),
    "per-sheet": ("minutes to load and clear a sheet", "sheet", 4.0),
    "per-part": ("minutes to clean and sort a panel", "panel", 0.5),
    "per-joint": ("minutes to glue a joint", "joint", 0.5),
    "per-box": ("minutes to clamp, check and pack a box", "box", 6.0),
    "edge": ("minutes to clean a metre of cut edge", "m", 0.2),
    "consumables": ("glue, tape, lens wear", "box", 0.3),
    "spoilage": ("percent of the cost lost to spoiled parts", "%", 8.0),
    "margin": ("percent of the price that is margin", "%", 30.0),
    "minimum": ("the least charge for an order", "order", 25.0),
    "step": ("smallest step of the currency", "", 0.01),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """The shop's rates: those it has set, and the currency that it wrote; the others are assumed."""

    values: Mapping[str, Figure]
    currency: str = ""
    sheets: Mapping[str, Figure] | None = None

    def __post_init__(self) -> None:
        for name, figure in self.values.items():
            if name not in RATES:
                raise InputError(
                    "no rate of that name",
                    where="rates",
                    value=name,
                    limit="one of " + ", ".join(RATES),
                    do=nearest_name(name, RATES),
                )
            _check(name, figure.value)
        for name, figure in (self.sheets or {}).items():
            _check(f"sheet {name}", figure.value)

    def __getitem__(self, name: str) -> Figure:
        found = self.values.get(name)
        if found is not None:
            return found
        _, per, value = RATES[name]
        return Figure(
            value=value,
            source=Source.ASSUMED,
            unit=per or "1",
            note=f"set it: boxjoint book add rate {name} VALUE",
        )

    def sheet(self, name: str) -> Figure:
        """Price of the named kind of sheet."""
        return (self.sheets or {}).get(name) or self["sheet"]


def _check(name: str, value: float) -> None:
    most = 95.0 if name in ("margin", "spoilage") else 1e6
    least = 1e-6 if name == "step" else 0.0
    if not (math.isfinite(value) and least <= value <= most):
        raise InputError(
            "a rate out of any window", where=name, value=f"{value:g}", limit=f"0 to {most:g}"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What an order takes.

    Parameters
    ----------
    boxes, panels, joints
        How many in the whole order.
    edge_mm
        Length of all cut edges.
    machine_s
        Time at the machine, with its band.
    sheets
        By kind: how many are used, counted by what is used up of them, and charged.
    loads
        How many sheets are loaded and cleared.
    """

    boxes: int
    panels: int
    joints: int
    edge_mm: float
    machine_s: float
    band_s: tuple[float, float]
    sheets: Sequence[tuple[str, float]]
    loads: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a price: what, how it is reckoned, and the amount in steps of the currency."""

    what: str
    how: str
    amount: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Quote:
    """A price with all its lines; they add up to ``total`` exactly.

    ``floor`` is what the order costs the shop, without margin; ``each`` the price of one box, rounded up to
    the currency's step; ``band`` the total at the least and the greatest machine time believed.
    """

    lines: tuple[Line, ...]
    floor: Fraction
    total: Fraction
    each: Fraction
    boxes: int
    currency: str
    step: Fraction
    band: tuple[Fraction, Fraction]
    rates: Mapping[str, Figure]

    def money(self, amount: Fraction) -> str:
        """An amount as people read it, with the currency as the shop writes it."""
        places = 0  # as many as the step itself has: 0.25 needs two, though it is above 0.1
        while (self.step * 10**places).denominator != 1:
            places += 1
        scaled = round(amount * 10**places)
        sign, scaled = ("-" if scaled < 0 else ""), abs(scaled)
        whole, rest = divmod(scaled, 10**places)
        text = f"{sign}{whole}" + (f".{rest:0{places}d}" if places else "")
        return f"{text} {self.currency}".strip()


def _exact(value: float) -> Fraction:
    """The decimal that was typed, not the binary number next to it."""
    return Fraction(repr(float(value)))


def price_of(work: Work, rates: Rates) -> Quote:
    """Return the price of an order.

    Parameters
    ----------
    work
        What it takes.
    rates
        The shop's.

    Returns
    -------
    Quote
        The lines are cost by cost, then spoilage, margin and, where the order is small, what is missing to
        the minimum charge.
    """
    step = _exact(rates["step"].value)
    total, lines, floor = _total(work, rates, step, work.machine_s)
    low, high = (_total(work, rates, step, s)[0] for s in work.band_s)
    each = Fraction(math.ceil(total / work.boxes / step)) * step
    used = {name: rates[name] for name in RATES}
    return Quote(
        lines=lines,
        floor=floor,
        total=total,
        each=each,
        boxes=work.boxes,
        currency=rates.currency,
        step=step,
        band=(low, high),
        rates=used,
    )


def _total(
    work: Work, rates: Rates, step: Fraction, machine_s: float
) -> tuple[Fraction, tuple[Line, ...], Fraction]:
    def rounded(amount: Fraction) -> Fraction:
        return Fraction(math.floor(amount / step + Fraction(1, 2))) * step

    lines: list[Line] = []

    def add(what: str, how: str, amount: Fraction) -> None:
        lines.append(Line(what=what, how=how, amount=rounded(amount)))

    def rate(name: str) -> Fraction:
        return _exact(rates[name].value)

    for name, count in work.sheets:
        figure = rates.sheet(name)
        add(
            f"sheets: {name}",
            f"{count:.2f} x {figure.value:g} ({figure.standing}), waste counted",
            _exact(round(count, 4)) * _exact(figure.value),
        )
    minutes = machine_s / 60
    add(
        "machine",
        f"{minutes:.1f} min x {rates['machine'].value:g} an hour ({rates['machine'].standing})",
        _exact(round(minutes, 2)) / 60 * rate("machine"),
    )
    labour = (
        ("setting up", Fraction(1), "setup"),
        ("sheets in and out", Fraction(work.loads), "per-sheet"),
        ("cleaning and sorting", Fraction(work.panels), "per-part"),
        ("cleaning edges", _exact(round(work.edge_mm / 1000, 3)), "edge"),
        ("gluing", Fraction(work.joints), "per-joint"),
        ("clamping, checking, packing", Fraction(work.boxes), "per-box"),
    )
    for what, times, name in labour:
        each = rates[name]
        add(
            f"labour: {what}",
            f"{float(times):g} x {each.value:g} min ({each.standing}) at {rates['labour'].value:g} "
            f"an hour ({rates['labour'].standing})",
            times * _exact(each.value) / 60 * rate("labour"),
        )
    add(
        "consumables",
        f"{work.boxes} x {rates['consumables'].value:g} ({rates['consumables'].standing})",
        work.boxes * rate("consumables"),
    )
    cost = sum((line.amount for line in lines), Fraction(0))
    add(
        "spoilage",
        f"{rates['spoilage'].value:g} % of the cost ({rates['spoilage'].standing})",
        cost * rate("spoilage") / 100,
    )
    floor = cost + lines[-1].amount
    margin = rate("margin") / 100
    add(
        "margin",
        f"{rates['margin'].value:g} % of the price ({rates['margin'].standing})",
        floor * margin / (1 - margin),
    )
    total = floor + lines[-1].amount
    # up, never down: rounded to the nearest step the charge could fall below the least that was set
    short = math.ceil(rate("minimum") / step) * step - total
    if short > 0:
        least = rates["minimum"]
        add("to the minimum charge", f"{least.value:g} an order ({least.standing})", short)
        total += lines[-1].amount
    return total, tuple(lines), floor
