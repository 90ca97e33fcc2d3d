"""What a job asks of seams: where a panel that is longer than the bed may be divided.

Glossary
--------
seam
    A stepped line along which one panel is divided into pieces, glued together again. It is no joint
    of slabs: straight steps hold by glue only.
step
    One stretch of the seam between two places where it turns back; as a tab of one piece in a slot of
    the other.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["SeamAsk"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamAsk:
    """Whether panels may be divided, and how; lengths in nm, ``None``: settled by the rule.

    Parameters
    ----------
    allowed
        True: any panel longer than the bed may be divided. A panel that states its own seam is divided
        in any case.
    longest
        The longest piece; ``None``: as the bed and the sheets allow.
    depth
        How far the steps of one piece reach into the other.
    steps
        How many, odd.
    relief
        What is left free between tips and bottoms of the steps.
    """

    allowed: bool = False
    longest: int | None = None
    depth: int | None = None
    steps: int | None = None
    relief: int | None = None
