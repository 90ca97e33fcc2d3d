"""Named fits as clearances per material: one table, all of it assumed until the shop's own comb.

The numbers are starting values of the trade for 3 to 6 mm stock (common practice, no source) and are
replaced, never refined, by a fit comb that was cut and tried. Clearance is slot minus tab: negative
is interference.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from boxjoint.errors import InputError, nearest_name
from boxjoint.job.records import FITS

__all__ = [
    "ASSUMED_KERF_MM",
    "CLEARANCES",
    "SHEET_CLEARANCE_MM",
    "Family",
    "assumed_clearance",
    "family_of",
]

ASSUMED_KERF_MM = 0.18
"""Full kerf of a hobby laser in 3 to 6 mm stock when nobody measured it (common practice, no source)."""

SHEET_CLEARANCE_MM = 0.10
"""Clearance of a slot or mortise around a sheet when nothing is asked (assumed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Materials that take a fit alike.

    ``brittle`` stock cracks under interference: press is refused, snug is never below zero, inside
    corners get a relief, and its default web is 1.5 thicknesses.
    """

    name: str
    words: tuple[str, ...]
    brittle: bool = False


#: Families in the sequence in which a material's name is searched for their words.
FAMILIES = (
    Family(
        name="acrylic",
        words=("acryl", "acril", "pmma", "methacrylate", "polycarbonate", "glass"),
        brittle=True,
    ),
    Family(name="fibreboard", words=("mdf", "hdf", "hardboard", "fibreboard", "fiberboard")),
    Family(
        name="soft wood", words=("basswood", "lime", "pine", "spruce", "cedar", "balsa", "soft")
    ),
    Family(name="hard wood", words=("oak", "walnut", "maple", "cherry", "beech", "ash", "hard")),
    Family(name="plywood", words=("ply", "birch", "poplar")),
)
OTHER = Family(name="other", words=())

#: Default clearances, mm, by family and fit; ``None``: refused. All assumed.
CLEARANCES: dict[str, dict[str, float | None]] = {
    "plywood": {"press": -0.08, "snug": -0.03, "glue": 0.02, "slip": 0.12, "loose": 0.20},
    "soft wood": {"press": -0.11, "snug": -0.03, "glue": 0.02, "slip": 0.12, "loose": 0.20},
    "fibreboard": {"press": -0.05, "snug": 0.00, "glue": 0.03, "slip": 0.12, "loose": 0.20},
    "hard wood": {"press": -0.03, "snug": 0.02, "glue": 0.05, "slip": 0.12, "loose": 0.20},
    "acrylic": {"press": None, "snug": 0.05, "glue": 0.08, "slip": 0.12, "loose": 0.20},
    "other": {"press": -0.05, "snug": 0.00, "glue": 0.03, "slip": 0.12, "loose": 0.20},
}


def family_of(material: str) -> Family:
    """Return the family whose word occurs in the material's name; ``other`` when none does."""
    low = material.lower()
    for family in FAMILIES:  # brittle stock first, by any part of a word: better once too often
        if family.brittle and any(word in low for word in family.words):
            return family
    # plywood is named after its face: "oak plywood" takes a fit like plywood
    if "ply" in low:
        return next(f for f in FAMILIES if f.name == "plywood")
    for family in FAMILIES:
        # a word of the name begins with it: "ash" is no part of "washi"
        if any(re.search(rf"\b{word}", low) for word in family.words):
            return family
    return OTHER


def assumed_clearance(material: str, fit: str) -> float:
    """Return the assumed clearance, mm, of a named fit in a material.

    Raises
    ------
    InputError
        When there is no such fit, or the material does not bear it.
    """
    if fit not in FITS:
        raise InputError(
            "no fit of that name",
            value=fit,
            limit="one of " + ", ".join(FITS),
            do=nearest_name(fit, FITS),
        )
    family = family_of(material)
    value = CLEARANCES[family.name][fit]
    if value is None:
        raise InputError(
            f"a {fit} fit is refused in brittle stock: interference cracks it",
            value=material,
            limit="a clearance of 0 or more",
            do='ask for fit = "glue" or "slip"',
        )
    return value
