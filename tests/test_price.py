"""Prices: the lines add up exactly, and every rate says where it comes from."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from boxjoint.errors import InputError
from boxjoint.job.figures import Figure
from boxjoint.job.records import Source
from boxjoint.sheet.price import RATES, Rates, Work, price_of


def asked(value: float) -> Figure:
    return Figure(value=value, source=Source.ASKED, unit="1")


WORK = Work(
    boxes=4,
    panels=20,
    joints=32,
    edge_mm=26_000,
    machine_s=1800,
    band_s=(1500, 2400),
    sheets=(("birch", 1.4),),
    loads=2,
)
#: Worked by hand: 30 min at 60 = 30; 1.4 x 10 = 14; labour 30 an hour: 10 + 2 x 5 + 20 x 1 + 26 x 0.5
#: + 32 x 0.5 + 4 x 5 = 89 min = 44.50; consumables 4 x 1 = 4; cost 92.50; 10 % spoiled 9.25: 101.75;
#: a margin of 20 % of the price: 101.75 / 4 = 25.44: 127.19.
BY_HAND = {
    "machine": 60, "labour": 30, "sheet": 10, "setup": 10, "per-sheet": 5, "per-part": 1,
    "per-joint": 0.5, "per-box": 5, "edge": 0.5, "consumables": 1, "spoilage": 10, "margin": 20,
    "minimum": 25,
}  # fmt: skip


def test_a_price_worked_by_hand() -> None:
    quote = price_of(WORK, Rates(values={k: asked(v) for k, v in BY_HAND.items()}, currency="EUR"))
    amounts = {line.what: float(line.amount) for line in quote.lines}
    assert amounts["machine"] == 30.0
    assert amounts["sheets: birch"] == 14.0
    assert sum(v for k, v in amounts.items() if k.startswith("labour")) == 44.5
    assert float(quote.floor) == 101.75
    assert float(quote.total) == 127.19
    assert quote.money(quote.total) == "127.19 EUR"
    assert float(quote.each) == 31.80  # 127.19 / 4 = 31.7975, rounded up
    assert quote.band[0] < quote.total < quote.band[1]


@given(
    st.integers(1, 500),
    st.integers(1, 5000),
    st.floats(0, 1e6),
    st.floats(1, 1e6),
    st.dictionaries(
        st.sampled_from([n for n in RATES if n != "step"]), st.floats(0, 90), max_size=8
    ),
    st.sampled_from([0.01, 0.05, 1.0, 0.001]),
)
def test_lines_add_up_to_the_total_in_steps_of_the_currency(
    boxes: int, panels: int, edge: float, seconds: float, values: dict[str, float], step: float
) -> None:
    work = Work(
        boxes=boxes,
        panels=panels,
        joints=panels,
        edge_mm=edge,
        machine_s=seconds,
        band_s=(seconds / 2, seconds * 2),
        sheets=(("a", 2.25), ("b", 0.4)),
    )
    rates = Rates(values={k: asked(v) for k, v in values.items()} | {"step": asked(step)})
    quote = price_of(work, rates)
    assert sum((line.amount for line in quote.lines), Fraction(0)) == quote.total
    for line in quote.lines:
        assert (line.amount / quote.step).denominator == 1
    assert quote.each * boxes >= quote.total
    assert quote.total >= quote.floor
    assert quote.total >= Fraction(repr(float(rates["minimum"].value)))


def test_what_nobody_set_is_assumed_and_says_how_to_set_it() -> None:
    quote = price_of(WORK, Rates(values={"machine": asked(50)}))
    said = {line.what: line.how for line in quote.lines}
    assert "50 an hour (asked)" in said["machine"]
    assert "ASSUMED" in said["margin"]
    assert "book add rate margin" in quote.rates["margin"].note


def test_a_small_order_pays_the_minimum_charge() -> None:
    small = Work(boxes=1, panels=1, joints=0, edge_mm=0, machine_s=1, band_s=(1, 1), sheets=())
    quote = price_of(small, Rates(values={"minimum": asked(100)}))
    assert quote.total == 100
    assert quote.lines[-1].what == "to the minimum charge"


@pytest.mark.parametrize("step", [0.25, 2.5, 0.125, 7.0, 0.01])
def test_amounts_are_printed_with_all_the_places_of_the_step(step: float) -> None:
    quote = price_of(WORK, Rates(values={"step": asked(step), "minimum": asked(24)}))
    printed = [Fraction(quote.money(line.amount)) for line in quote.lines]
    assert printed == [line.amount for line in quote.lines]
    assert sum(printed) == Fraction(quote.money(quote.total))


def test_a_coarse_step_does_not_round_the_minimum_charge_down() -> None:
    small = Work(boxes=1, panels=1, joints=0, edge_mm=0, machine_s=1, band_s=(1, 1), sheets=())
    quote = price_of(small, Rates(values={"minimum": asked(24), "step": asked(7)}))
    assert quote.total == 28  # 24 is nearer to 21, which is below it


def test_sheets_may_have_prices_of_their_own() -> None:
    quote = price_of(WORK, Rates(values={}, sheets={"birch": asked(20)}))
    assert float(quote.lines[0].amount) == 28.0


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"machin": 1.0}, "no rate of that name"),
        ({"margin": 100.0}, "out of any window"),
        ({"labour": -1.0}, "out of any window"),
        ({"labour": math.nan}, "out of any window"),
        ({"step": 0.0}, "out of any window"),
    ],
)
def test_nonsense_is_refused(values: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Rates(values={k: asked(v) for k, v in values.items()})
