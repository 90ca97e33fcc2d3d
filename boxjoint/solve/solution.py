"""The whole nominal solution of an arrangement, in one call."""

from __future__ import annotations

from dataclasses import dataclass

from boxjoint.errors import ArrangementError
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.joints import Corner, Joint, find_corners, find_joints
from boxjoint.solve.panels import Panel, make_panels
from boxjoint.solve.tabs import JointTabs, TabAsk, corner_owners, divide

__all__ = ["Solution", "solve"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """An arrangement, its joints and corners, how they are shared, and the panels that result.

    ``owners[k]`` is the slab that owns ``corners[k]``, -1 where a joint's segments run through it.
    """

    arrangement: Arrangement
    joints: tuple[Joint, ...]
    corners: tuple[Corner, ...]
    tabs: tuple[JointTabs, ...]
    owners: tuple[int, ...]
    panels: tuple[Panel, ...]

    def panel(self, name: str) -> Panel:
        """The named panel."""
        for panel in self.panels:
            if panel.name == name:
                return panel
        raise ArrangementError("no panel of that name", value=name)

    def joint_name(self, index: int) -> str:
        """``front-left`` for the joint between front and left, the stronger first."""
        joint = self.joints[index]
        return f"{self.panels[joint.a].name}-{self.panels[joint.b].name}"


def solve(arrangement: Arrangement, ask: TabAsk | None = None) -> Solution:
    """Solve an arrangement: joints, segments, owners and panels.

    Parameters
    ----------
    arrangement
        Slabs, strongest first.
    ask
        What is asked of the tabs; ``None`` leaves all to the rule.

    Raises
    ------
    ArrangementError
        When no such thing can be made; names the panel and the place.
    InputError
        When an asked count or width cannot be had.
    """
    ask = ask or TabAsk()
    joints = find_joints(arrangement)
    corners = find_corners(arrangement, joints)
    tabs = divide(arrangement, joints, corners, ask)
    owners = corner_owners(arrangement, joints, corners, tabs)
    return Solution(
        arrangement=arrangement,
        joints=joints,
        corners=corners,
        tabs=tabs,
        owners=owners,
        panels=make_panels(arrangement, joints, corners, tabs, owners),
    )
