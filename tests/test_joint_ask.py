"""What is asked of joints, built in Python: refused as the job file refuses it, with its key."""

from __future__ import annotations

import math
import pickle
from typing import Any

import pytest

from boxjoint.errors import JobError
from boxjoint.job.joint_ask import JointAsk
from boxjoint.job.read import parse_job
from boxjoint.job.records import JointAsk as Handed

MM = 1_000_000

HEAD = """unit = "mm"
[inside]
length = 100
width = 80
height = 40
[stock]
material = "birch plywood"
thickness = 3
[joint]
"""


def test_the_records_hand_out_the_same() -> None:
    assert Handed is JointAsk
    ask = JointAsk(clearance=-50_000, segments={"length": 9}, rank=("top", "left"), web=0)
    assert pickle.loads(pickle.dumps(ask)) == ask


@pytest.mark.parametrize(
    ("line", "given"),
    [
        ("clearance = 1.2", {"clearance": 1_200_000}),
        ("clearance = -0.6", {"clearance": -600_000}),
        ("sheet_clearance = 2", {"sheet_clearance": 2 * MM}),
        ("tab_width = 0", {"tab_width": 0}),
        ("proud = 11", {"proud": 11 * MM}),
        ("web = -1", {"web": -MM}),
        ("shoulder_relief = 6", {"shoulder_relief": 6 * MM}),
        ("floor_relief = -0.1", {"floor_relief": -100_000}),
        ("corner_relief = 5.1", {"corner_relief": 5_100_000}),
        ('fit = "snugg"', {"fit": "snugg"}),
        ('ends = "outside"', {"ends": "outside"}),
        ("segments = { length = 4 }", {"segments": {"length": 4}}),
        ("segments = { length = 1 }", {"segments": {"length": 1}}),
        ("segments = { lenght = 5 }", {"segments": {"lenght": 5}}),
        ('rank = ["front", "left", "front"]', {"rank": ("front", "left", "front")}),
        ('rank = ["lid"]', {"rank": ("lid",)}),
        ('clearance = 0\nfit = "snug"', {"clearance": 0, "fit": "snug"}),
        ("tab_width = 8\nsegments = { length = 5 }", {"tab_width": 8 * MM, "segments": {"length": 5}}),
    ],
)  # fmt: skip
def test_python_refuses_what_the_file_refuses_at_the_same_key(
    line: str, given: dict[str, Any]
) -> None:
    with pytest.raises(JobError) as by_file:
        parse_job(HEAD + line)
    with pytest.raises(JobError) as by_hand:
        JointAsk(**given)
    keys = [tuple(k for k in e.value.data["problems"][0].keys) for e in (by_file, by_hand)]
    assert keys[0] == keys[1]
    assert "[joint]" in str(by_hand.value)
    assert by_hand.value.exit_code == 2


@pytest.mark.parametrize("value", [math.nan, math.inf, 0.05, True, "0.1 mm", 10**30])
def test_a_length_is_whole_nanometres(value: Any) -> None:
    with pytest.raises(JobError, match=r"\[joint\] clearance"):
        JointAsk(clearance=value)


@pytest.mark.parametrize("value", [math.nan, 5.0, True, None, "5"])
def test_a_count_is_a_whole_number(value: Any) -> None:
    with pytest.raises(JobError, match=r"\[joint\] segments.width"):
        JointAsk(segments={"width": value})


@pytest.mark.parametrize(
    "given", [{"segments": [3]}, {"rank": "bottom"}, {"rank": (1,)}, {"proud": None}]
)
def test_what_has_no_such_form_is_refused(given: dict[str, Any]) -> None:
    with pytest.raises(JobError):
        JointAsk(**given)


def test_all_slips_are_told_at_once() -> None:
    with pytest.raises(JobError) as raised:
        JointAsk(web=-1, segments={"length": 4, "width": 6}, rank=("top", "top"))
    assert len(raised.value.data["problems"]) == 4
    assert "no such count" not in str(raised.value)
    assert "Use 3 or 5" in str(raised.value)
