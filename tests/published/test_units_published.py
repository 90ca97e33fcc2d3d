"""Lengths and speeds against published conversion tables and what practitioners state."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from boxjoint import units

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def factor(text: str) -> Fraction:
    """The exact value of a factor as printed: ``25.4``, ``25.4/60``."""
    top, _, bottom = text.partition("/")
    return Fraction(top) / Fraction(bottom or 1)


# NIST SP 811 Appendix B, exact definitions (written from memory, see fixtures/published/README.md)

FACTORS = {(row["from"], row["to"]): row for row in rows("unit_conversions.csv")}


@pytest.mark.parametrize(
    ("source", "texts"),
    [
        ("international inch", ["1 in", "1 inch", '1"']),
        ("international foot", ["1 ft", "1 foot", "1'"]),
        ("mil (thou)", ["1 thou", "1 mil"]),
    ],
)
def test_length_factors(source: str, texts: list[str]) -> None:
    row = FACTORS[source, "mm"]
    assert row["status"] == "exact"
    for text in texts:
        assert units.read_length(text, unit="mm") == factor(row["multiply_by"])


def test_speed_factors() -> None:
    inch_per_min = units.read_speed("1 in/min")
    assert inch_per_min.mm_per_min == factor(FACTORS["in/min", "mm/min"]["multiply_by"])
    assert inch_per_min.mm_per_s == factor(FACTORS["in/min", "mm/s"]["multiply_by"])
    assert units.read_speed("1 in/s").mm_per_s == factor(FACTORS["in/s", "mm/s"]["multiply_by"])
    assert units.read_speed("1 mm/min").in_per_min == factor(
        FACTORS["mm/min", "in/min"]["multiply_by"]
    )


def test_inches_of_other_sources_agree() -> None:
    """72 points, 6 picas and 96 px are one inch: the table's other rows give the same inch."""
    inch = units.read_length("1 in", unit="mm")
    for source, count in (("point (CSS/PostScript)", 72), ("pica", 6), ("CSS px", 96)):
        assert count * factor(FACTORS[source, "mm"]["multiply_by"]) == inch


# Fractions of an inch in mm, all 64ths, exact decimals (NIST SP 811, 25.4 mm exactly)

SIXTY_FOURTHS = rows("fractional_inch_mm.csv")


def test_the_table_holds_all_64ths() -> None:
    assert [row["sixty_fourths"] for row in SIXTY_FOURTHS] == [f"{k}/64" for k in range(1, 65)]


@pytest.mark.parametrize("row", SIXTY_FOURTHS, ids=lambda row: row["sixty_fourths"])
def test_every_64th_is_exact(row: dict[str, str]) -> None:
    exact = Fraction(row["mm_exact"])
    for text in (row["inch_fraction"], row["sixty_fourths"], row["inch_decimal"]):
        assert units.read_length(f"{text} in", unit="mm") == exact
        assert units.read_length(text, unit="in") == exact
    nm = units.read_length_nm(row["mm_exact"], unit="mm")
    assert nm == exact * 10**6, "a whole number of nanometres"
    shown = "1 in" if row["inch_fraction"] == "1/1" else f"{row['inch_fraction']} in"
    assert units.format_fraction(nm) == shown
    assert Fraction(units.format_inch(nm, places=6).split()[0]) == Fraction(row["inch_decimal"])


# What practitioners state: common practice, no source


@pytest.mark.parametrize(
    ("in_per_min", "mm_per_min"),
    [(50, "1270"), (700, "17780"), (500, "12700"), (350, "8890"), (100, "2540"), (4, "101.6")],
)
def test_speeds_as_practitioners_state_them(in_per_min: int, mm_per_min: str) -> None:
    speed = units.read_speed(f"{in_per_min} in/min")
    assert speed.mm_per_min == Fraction(mm_per_min)
    assert f", {mm_per_min} mm/min, {in_per_min} in/min" in str(speed)
    assert units.read_speed(f"{mm_per_min} mm/min").in_per_min == in_per_min


def test_a_kerf_of_seven_thou() -> None:
    nm = units.read_length_nm("0.007 in", unit="mm")
    assert units.format_mm(nm) == "0.18 mm"
    assert units.mm_and_thou(nm / units.NM_PER_MM) == "0.18 mm (7.0 thou)"


@pytest.mark.parametrize(
    ("inches", "places", "trade"),
    [("1/4 in", 1, "6.4 mm"), ("1/2 in", 1, "12.7 mm"), ("3/4 in", 0, "19 mm")],
)
def test_stock_as_rounded_by_the_trade(inches: str, places: int, trade: str) -> None:
    assert units.format_mm(units.read_length_nm(inches, unit="mm"), places=places) == trade
