"""What to cut with: every figure that compensation needs, each with its source.

The job's own numbers come first, then what was measured in this shop, then what is assumed, and the
plan says which is which. Brittle stock never gets interference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

from boxjoint.errors import CannotBeCut, InputError
from boxjoint.fit.compensate import Allowance, Beam
from boxjoint.fit.fits import (
    ASSUMED_KERF_MM,
    SHEET_CLEARANCE_MM,
    assumed_clearance,
    family_of,
)
from boxjoint.fit.tabs import EDGE_SD_MM, clearance_for_joint
from boxjoint.geometry.rings import Role
from boxjoint.job.figures import Figure
from boxjoint.job.hints import gauge_command
from boxjoint.job.records import CornerStyle, Job, PerAxis, Source
from boxjoint.units import mm_and_thou

__all__ = ["Measured", "Plan", "plan_cut", "seat_gap"]

SHOULDER_RELIEF_MM = 0.1
FLOOR_RELIEF_MM = 0.2
SEAM_RELIEF_MM = 0.1
CORNER_ALLOWANCE_MM = 0.05
BRITTLE_RELIEF_MM = 0.5

#: Standard uncertainty of a kerf, mm, that was asked (nobody said how it was measured) and of one
#: that was assumed; the correlation of both axes then; the same of a scale. All assumed, no source.
ASKED_KERF_U_MM, ASSUMED_KERF_U_MM, KERF_CORRELATION = 0.015, 0.06, 0.8
ASKED_SCALE_U, ASSUMED_SCALE_U = 0.3e-3, 1.2e-3
#: Of edges and backlash in an inside size, mm (standard; assumed).
INSIDE_EDGE_U_MM = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What the shop knows of this machine, sheet and settings; ``None`` where nothing is known.

    ``clearance``, as cut, is for the fit that the job names. ``covariance`` (4 x 4) is that of kerf_x,
    kerf_y (mm) and both scales; ``clearance_covariance`` (2 x 2, mm^2) that of the clearance as it
    would have to be *drawn* today for flanks across X and across Y: what a comb and a gauge share
    cancels in it. ``bed`` is how far the machine's head reaches, nm.
    """

    kerf_x: Figure | None = None
    kerf_y: Figure | None = None
    scale_x: Figure | None = None
    scale_y: Figure | None = None
    covariance: tuple[tuple[float, ...], ...] | None = None
    clearance: Figure | None = None
    clearance_covariance: tuple[tuple[float, ...], ...] | None = None
    bed: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Figures for one job, and the allowances that follow from them.

    ``fit`` is the name of the fit, ``""`` where a clearance was given instead. ``kerf_x`` and
    ``kerf_y`` are 0 for a router, whose controller offsets by the radius of ``tool`` (mm). ``webs``
    and ``clearances`` are by panel and by joint, mm. ``clearance`` is what was asked, measured on a
    comb or assumed; ``joint_source`` says what the clearances of the joints are: computed where those
    of the comb were shifted by ``edge_sd`` for the number of tabs. ``comb_axis`` and
    ``kerf_difference_u_mm`` as in :class:`Measured`, where the clearance is a comb's.
    """

    kerf_x: Figure
    kerf_y: Figure
    scale_x: Figure
    scale_y: Figure
    fit: str
    clearance: Figure
    clearances: tuple[float, ...]
    sheet_clearance: Figure
    proud: Figure
    shoulder_relief: Figure
    floor_relief: Figure
    seam_relief: Figure
    corner_relief: Figure
    web: Figure
    webs: tuple[float, ...]
    joint_source: Source
    edge_sd: Figure | None = None
    tool: Figure | None = None
    corner_style: CornerStyle = "diagonal"
    covariance: tuple[tuple[float, ...], ...] = ((0.0,) * 4,) * 4
    clearance_covariance: tuple[tuple[float, ...], ...] | None = None
    warnings: tuple[str, ...] = ()

    def joint_u_mm(self, axis_a: int, axis_b: int) -> float | None:
        """Standard uncertainty of the clearance, as cut, of one joint, mm.

        Parameters
        ----------
        axis_a, axis_b
            Axis of the sheet, 0 (X) or 1 (Y), along which the flanks' normals of either panel lie.

        Returns
        -------
        float or None
            How far the joint's clearance, as cut, may lie from what is wanted: from the clearance
            that was asked or assumed, or, by a comb, from what the hand wants. ``None`` for a
            router, whose offsets are not ours.

        Notes
        -----
        A slot cut across axis a comes out wider by its kerf, the tab across b narrower, and both
        are drawn for kerfs as estimated, k': as cut the clearance misses by the errors of k_a + k_b.
        What a comb wants as drawn for flanks across a is w_a = wanted - 2 k_a, so the joint misses by
        the error of (w_a + w_b)/2; the kerf of a gauge that was read for comb and box alike cancels.
        """
        if self.tool is not None:
            return None
        felt = self.clearance_covariance
        if felt is not None:
            both = felt[axis_a][axis_a] + felt[axis_b][axis_b] + 2.0 * felt[axis_a][axis_b]
            return 0.5 * sqrt(max(both, 0.0))
        c = self.covariance
        cut = c[axis_a][axis_a] + c[axis_b][axis_b] + 2.0 * c[axis_a][axis_b]
        own = (
            (self.clearance.uncertainty or 0.0) if self.clearance.source is Source.MEASURED else 0.0
        )
        return hypot(sqrt(max(cut, 0.0)), own)

    def inside_u_mm(self, axis: int, length_mm: float) -> float:
        """Standard uncertainty of an inside that a panel holds from shoulder to shoulder, mm.

        Parameters
        ----------
        axis
            Axis of the sheet, 0 (X) or 1 (Y), along which the panel holds it.
        length_mm
            The inside, mm.

        Notes
        -----
        ``u^2 = J C J' + 0.02^2`` with J = -1 for the kerf and the length for the scale: a kerf that is
        larger than was thought leaves the inside smaller. The 0.02 mm stand for edges and backlash.
        """
        c = self.covariance
        variance = (
            c[axis][axis]
            - 2.0 * length_mm * c[axis][2 + axis]
            + length_mm**2 * c[2 + axis][2 + axis]
        )
        return hypot(sqrt(max(variance, 0.0)), INSIDE_EDGE_U_MM)

    @property
    def beam(self) -> Beam:
        """The beam to compensate for."""
        return Beam(
            kerf=PerAxis(x=self.kerf_x.value, y=self.kerf_y.value),
            scale=PerAxis(x=self.scale_x.value, y=self.scale_y.value),
        )

    def allowance(self, *, guest: bool = False) -> Allowance:
        """The allowances of a panel."""
        return Allowance(
            clearance=self.clearances,
            sheet_clearance=self.sheet_clearance.value,
            proud=self.proud.value,
            shoulder_relief=self.shoulder_relief.value if guest else 0.0,
            floor_relief=self.floor_relief.value,
            seam_relief=self.seam_relief.value,
        )

    def outward(self, *, guest: bool = False) -> list[float]:
        """By role: how far a side as cut lies outside its nominal place, mm (of flanks: 0)."""
        found = [0.0] * len(Role)
        found[Role.TIP] = self.proud.value
        found[Role.CHEEK] = -self.sheet_clearance.value / 2
        found[Role.FLOOR] = -self.floor_relief.value / 2
        found[Role.SEAM] = -self.seam_relief.value / 2
        if guest:
            found[Role.SHOULDER] = -self.shoulder_relief.value
        return found

    @property
    def figures(self) -> dict[str, Figure]:
        """All figures by name, in the sequence in which they are shown."""
        names = (
            "kerf_x",
            "kerf_y",
            "scale_x",
            "scale_y",
            "clearance",
            "sheet_clearance",
            "proud",
            "shoulder_relief",
            "floor_relief",
            "seam_relief",
            "corner_relief",
            "web",
        )
        found: dict[str, Figure] = {n: getattr(self, n) for n in names}
        more = {"edge_sd": self.edge_sd, "tool": self.tool}
        return found | {n: f for n, f in more.items() if f is not None}


def _asked(nm: int | None, default: float, note: str) -> Figure:
    if nm is not None:
        return Figure(value=nm / 1e6, source=Source.ASKED)
    return Figure(value=default, source=Source.ASSUMED, note=note)


def plan_cut(
    job: Job,
    panels: Sequence[str],
    joints: Sequence[tuple[str, str, int]],
    measured: Measured | None = None,
) -> Plan:
    """Settle every figure of the cut.

    Parameters
    ----------
    job
        What was asked.
    panels
        Names of all panels, by index.
    joints
        The two panels of each joint and its number of segments, by index of the joint.
    measured
        What the shop book knows; the job's own numbers go before it.

    Raises
    ------
    InputError
        When the material does not bear the fit.
    """
    shop = measured or Measured()
    warnings: list[str] = []
    families = {p: family_of(job.material(p)) for p in panels}
    brittle = {p: f.brittle for p, f in families.items()}
    unknown = {job.material(p) for p, f in families.items() if f.name == "other"}
    warnings += [
        f"material {m!r} is not known here and is taken for stock that bears interference; "
        "if it is brittle, call it acrylic"
        for m in sorted(unknown)
    ]
    kerf_x, kerf_y = _kerf(job, shop)
    scale = job.cut.scale
    if scale is not None:
        scale_x = Figure(value=scale.x, source=Source.ASKED, unit="1")
        scale_y = Figure(value=scale.y, source=Source.ASKED, unit="1")
    else:
        one = Figure(
            value=1.0,
            source=Source.ASSUMED,
            unit="1",
            note=f"measure it with: {gauge_command(job, 'strip')}",
        )
        scale_x, scale_y = shop.scale_x or one, shop.scale_y or one
    edge_sd = _asked(
        job.cut.edge_sd, EDGE_SD_MM, "place of one cut edge; give [cut] edge_sd where it is known"
    )
    fit, clearance, clearances = _clearance(job, joints, brittle, shop, edge_sd.value)
    from_comb = fit != "" and shop.clearance is not None
    shifted = any(c != clearance.value for c in clearances)
    tool = None
    if job.cut.tool is not None:
        tool = Figure(value=job.cut.tool / 1e6, source=Source.ASKED)
        warnings.append(
            f"router: outlines are not compensated; the controller offsets by the radius, "
            f"{tool.value / 2:.4g} mm"
        )
    relief = job.joint.corner_relief
    if relief is not None:
        if tool is not None and relief / 1e6 < tool.value / 2:
            raise InputError(
                "the cutter does not enter a relief of this radius",
                where="[joint] corner_relief",
                value=mm_and_thou(relief / 1e6, places=4),
                limit=f"at least the cutter's radius, {mm_and_thou(tool.value / 2, places=4)}",
                do="leave it out, or take a thinner cutter",
            )
        corner = Figure(value=relief / 1e6, source=Source.ASKED)
    elif tool is not None:
        more = _asked(job.joint.corner_allowance, CORNER_ALLOWANCE_MM, "")
        corner = Figure(
            value=tool.value / 2 + more.value,
            source=Source.COMPUTED,
            note=f"radius of the router's cutter and {more.value:.3g} mm ({more.source})",
        )
    elif any(brittle.values()):
        corner = Figure(
            value=BRITTLE_RELIEF_MM, source=Source.ASSUMED, note="brittle stock cracks from corners"
        )
    else:
        corner = Figure(value=0.0, source=Source.ASSUMED)
    thick = {p: job.thickness(p).nm / 1e6 for p in panels}
    web_of = [thick[p] * (1.5 if brittle[p] else 1.0) for p in panels]
    if job.joint.web is not None:
        web_of = [job.joint.web / 1e6] * len(web_of)
    combed = fit != "" and shop.clearance is not None and job.cut.kerf is None and tool is None
    covariance = _covariance(kerf_x, kerf_y, scale_x, scale_y, shop)
    web = _asked(job.joint.web, min(web_of), "one thickness, 1.5 in brittle stock")
    return Plan(
        kerf_x=kerf_x,
        kerf_y=kerf_y,
        scale_x=scale_x,
        scale_y=scale_y,
        fit=fit,
        clearance=clearance,
        clearances=clearances,
        sheet_clearance=_asked(
            job.joint.sheet_clearance,
            SHEET_CLEARANCE_MM,
            f"try it with: {gauge_command(job, 'comb', '--sheet-comb')}",
        ),
        proud=Figure(
            value=job.joint.proud / 1e6,
            source=Source.ASKED if job.joint.proud else Source.ASSUMED,
        ),
        shoulder_relief=_asked(
            job.joint.shoulder_relief, SHOULDER_RELIEF_MM, "so that guests never push walls apart"
        ),
        floor_relief=_asked(
            job.joint.floor_relief, FLOOR_RELIEF_MM, "so that half-laps close on their rims"
        ),
        seam_relief=_asked(
            job.seams.relief, SEAM_RELIEF_MM, "so that the steps of a seam close on their sides"
        ),
        corner_relief=corner,
        web=web,
        webs=tuple(web_of),
        joint_source=Source.COMPUTED if from_comb and shifted else clearance.source,
        edge_sd=edge_sd if from_comb else None,
        tool=tool,
        corner_style=job.joint.corner_style,
        covariance=covariance,
        clearance_covariance=shop.clearance_covariance if combed else None,
        warnings=tuple(warnings),
    )


def _covariance(
    kerf_x: Figure, kerf_y: Figure, scale_x: Figure, scale_y: Figure, shop: Measured
) -> tuple[tuple[float, ...], ...]:
    """Covariance (4 x 4) of what is cut with: as measured, else as assumed for what it is."""
    beam, scale = (kerf_x, kerf_y), (scale_x, scale_y)
    if shop.covariance is not None and beam == (shop.kerf_x, shop.kerf_y):
        out = [list(row) for row in shop.covariance]
    else:
        out = [[0.0] * 4 for _ in range(4)]
        for i, figure in enumerate(beam):
            u = figure.uncertainty
            if figure.source is Source.ASKED:
                u = ASKED_KERF_U_MM
            elif figure.source is Source.ASSUMED:
                u = max(u or 0.0, ASSUMED_KERF_U_MM)
            out[i][i] = (u or 0.0) ** 2
        # one beam: what makes one kerf wider than was said mostly makes the other wider too
        out[0][1] = out[1][0] = KERF_CORRELATION * sqrt(out[0][0] * out[1][1])
    for i, (figure, known) in enumerate(zip(scale, (shop.scale_x, shop.scale_y), strict=True), 2):
        if shop.covariance is not None and known is not None and figure == known:
            continue
        for j in range(4):
            out[i][j] = out[j][i] = 0.0
        asked = figure.source is Source.ASKED
        out[i][i] = (ASKED_SCALE_U if asked else ASSUMED_SCALE_U) ** 2
        if kerf_x.source is Source.COMPUTED:
            out[i][i] = 0.0  # a router: its controller's offsets and scale are not known here
    return tuple(tuple(row) for row in out)


def _kerf(job: Job, shop: Measured) -> tuple[Figure, Figure]:
    if job.cut.tool is not None:
        none = Figure(
            value=0.0, source=Source.COMPUTED, note="a router's outlines are not compensated"
        )
        return none, none
    if job.cut.kerf is not None:
        return (
            Figure(value=job.cut.kerf.x, source=Source.ASKED),
            Figure(value=job.cut.kerf.y, source=Source.ASKED),
        )
    guess = Figure(
        value=ASSUMED_KERF_MM,
        source=Source.ASSUMED,
        note=f"nobody measured it; measure it with: {gauge_command(job, 'kerf')}",
    )
    if (shop.kerf_x is None) != (shop.kerf_y is None):
        # one axis was read: the other is nearer to it than to a guess
        read = shop.kerf_x or shop.kerf_y or guess
        other = replace(
            guess, value=read.value, note=f"as along the axis that was read; {guess.note}"
        )
        return shop.kerf_x or other, shop.kerf_y or other
    return shop.kerf_x or guess, shop.kerf_y or guess


def _clearance(
    job: Job,
    joints: Sequence[tuple[str, str, int]],
    brittle: dict[str, bool],
    shop: Measured,
    edge_sd: float,
) -> tuple[str, Figure, tuple[float, ...]]:
    """Return the fit's name, the clearance to show, and the clearance of every joint."""
    ask = job.joint
    if ask.clearance is not None:
        value = ask.clearance / 1e6
        for a, b, _ in joints:
            if value < 0 and (brittle[a] or brittle[b]):
                raise InputError(
                    "interference is refused in brittle stock: it cracks",
                    where="[joint] clearance",
                    value=f"{value:.3f} mm in {job.material(a if brittle[a] else b)}",
                    limit="0 or more",
                    do='give a clearance of 0 or more, or fit = "glue"',
                )
        return "", Figure(value=value, source=Source.ASKED), (value,) * len(joints)
    fit = ask.fit or "snug"
    if shop.clearance is not None:
        shown = shop.clearance
        for name in (p for p in brittle if brittle[p]):
            assumed_clearance(job.material(name), fit)  # refuses what brittle stock does not bear
            if shown.value < 0:
                note = f"{shown.note}; interference refused in brittle stock".lstrip("; ")
                shown = replace(shown, value=0.0, source=Source.COMPUTED, note=note)
        # a comb has one tab a slot; a joint of many tabs feels tighter at the same clearance
        by_joint = tuple(
            round(clearance_for_joint(shown.value, max(n, 3), edge_sd_mm=edge_sd), 6)
            for _, _, n in joints
        )
        return fit, shown, by_joint
    # of two materials the one that wants more room decides
    values = tuple(
        max(assumed_clearance(job.material(a), fit), assumed_clearance(job.material(b), fit))
        for a, b, _ in joints
    )
    stock = assumed_clearance(job.stock.material, fit)
    asked = f"fit {fit} asked" if ask.fit else f"fit {fit} assumed"
    figure = Figure(
        value=values[0] if values and len(set(values)) == 1 else stock,
        source=Source.ASSUMED,
        note=f"{asked}; starting value for {family_of(job.stock.material).name}; "
        f"try it with: {gauge_command(job, 'comb')}",
    )
    return fit, figure, values


def seat_gap(radius: float, clearance: float) -> float:
    """How far a mate's sharp corner stands off the shoulder on the fillet of a round beam, mm.

    Parameters
    ----------
    radius
        Of the fillet in inside corners, mm: half the kerf.
    clearance
        Slot minus tab, mm.

    Returns
    -------
    ``radius - sqrt(radius^2 - (radius - clearance/2)^2)``, and ``radius`` where the clearance is 0 or
    less; 0 where the clearance clears the fillet. Geometry; see the design's section 5.
    """
    if radius < 0:
        raise CannotBeCut("a fillet needs a radius of 0 or more", value=f"{radius} mm")
    if clearance <= 0:
        return radius
    left = radius - clearance / 2
    if left <= 0:
        return 0.0
    return radius - sqrt(radius * radius - left * left)
