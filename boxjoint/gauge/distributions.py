"""Distributions and low-discrepancy points that the estimators need at run time.

Only numpy and the standard library: importing a statistics package would cost more time than all
the estimates of a session. Each function says how exact it is; the tests hold it against scipy.
"""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Floats",
    "chi2_sf",
    "normal_cdf",
    "range_quantile",
    "sobol_normal",
    "sobol_unit",
    "student_cdf",
    "student_cdf_table",
    "student_mixture_quantiles",
    "student_quantile",
]

Floats = NDArray[np.float64]

_STANDARD = NormalDist()
_STEP = 4096  # table points per standard deviation
_END = 9.0  # beyond +-9 the normal cdf is 0 or 1 to 1e-18


@lru_cache(maxsize=1)
def _normal_table() -> tuple[Floats, Floats]:
    g = np.arange(-_END * _STEP, _END * _STEP + 2) / _STEP
    cdf = np.array([0.5 * math.erfc(-v / math.sqrt(2.0)) for v in g.tolist()])
    return cdf[:-1], np.diff(cdf)


def normal_cdf(x: Floats) -> Floats:
    """Standard normal distribution function, elementwise.

    Absolute error below 2e-9, relative error below 3e-7 in the lower tail down to -6. Linear
    interpolation in a table of exact values: ten times faster than ``math.erf`` per element, and
    the comb takes a million of these.
    """
    cdf, rise = _normal_table()
    u = np.clip(x, -_END, _END)
    u += _END
    u *= _STEP
    i = u.astype(np.intp)
    u -= i
    u *= rise.take(i)
    u += cdf.take(i)
    return u


def _beta_fraction(a: float, b: float, x: float) -> float:
    # continued fraction of the incomplete beta function (modified Lentz)
    tiny = 1e-300
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > tiny else tiny)
    h = d
    for m in range(1, 10_000):
        for num in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 + num * d
            d = 1.0 / (d if abs(d) > tiny else tiny)
            c = 1.0 + num / c
            c = c if abs(c) > tiny else tiny
            h *= c * d
        if abs(c * d - 1.0) < 4e-16:
            break
    return h


def _incomplete_beta(a: float, b: float, x: float, one_minus_x: float) -> float:
    # regularised I_x(a, b); both x and 1-x are passed so that neither is lost by rounding
    if x <= 0.0:
        return 0.0
    if one_minus_x <= 0.0:
        return 1.0
    log_front = (
        math.lgamma(a + b)
        - math.lgamma(a)
        - math.lgamma(b)
        + a * math.log(x)
        + b * math.log(one_minus_x)
    )
    front = math.exp(log_front)
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _beta_fraction(a, b, x) / a
    return 1.0 - front * _beta_fraction(b, a, one_minus_x) / b


def _student_sf(t: float, nu: float) -> float:
    # upper tail for t >= 0
    s = nu + t * t
    return 0.5 * _incomplete_beta(0.5 * nu, 0.5, nu / s, t * t / s)


def student_cdf(t: float, nu: float) -> float:
    """Student's t distribution function for ``nu`` > 0 degrees of freedom (``inf``: normal)."""
    if math.isinf(nu):
        return 0.5 * math.erfc(-t / math.sqrt(2.0))
    tail = _student_sf(abs(t), nu)
    return tail if t < 0 else 1.0 - tail


def _student_log_norm(nu: float) -> float:
    return math.lgamma(0.5 * (nu + 1.0)) - math.lgamma(0.5 * nu) - 0.5 * math.log(nu * math.pi)


@lru_cache(maxsize=512)
def student_quantile(p: float, nu: float) -> float:
    """Quantile of Student's t: the value that is exceeded with probability ``1 - p``.

    Parameters
    ----------
    p
        0 < p < 1.
    nu
        Degrees of freedom, > 0, need not be whole; ``inf`` gives the normal quantile.

    Notes
    -----
    Relative error below 1e-12 for p in 0.001..0.999. From 1000 degrees of freedom on by the
    asymptotic series 26.7.5 of Abramowitz and Stegun; below by Newton's iteration from the normal
    quantile, which is on the near side of the root, so that every step stays on that side.
    """
    if not 0.0 < p < 1.0 or not nu > 0.0:
        raise ValueError(f"no Student quantile for p={p}, nu={nu}")
    if p < 0.5:
        return -student_quantile(1.0 - p, nu)
    z = _STANDARD.inv_cdf(p)
    if p == 0.5 or math.isinf(nu):
        return z
    if nu >= 1000.0:
        z2 = z * z
        g1 = z * (z2 + 1) / 4
        g2 = z * (3 + z2 * (16 + 5 * z2)) / 96
        g3 = z * (-15 + z2 * (17 + z2 * (19 + 3 * z2))) / 384
        g4 = z * (-945 + z2 * (-1920 + z2 * (1482 + z2 * (776 + 79 * z2)))) / 92160
        return z + (g1 + (g2 + (g3 + g4 / nu) / nu) / nu) / nu
    norm = _student_log_norm(nu)
    t = z
    for _ in range(200):
        density = math.exp(norm - 0.5 * (nu + 1.0) * math.log1p(t * t / nu))
        step = (_student_sf(t, nu) - (1.0 - p)) / density
        t += step
        if step <= 1e-9 * t:  # quadratic: the next step would be below rounding
            break
    return t


@lru_cache(maxsize=16)
def _student_table(nu: float) -> tuple[Floats, Floats, float]:
    # cdf and slope on an even grid of the angle atan(t), in which all Student laws are smooth
    n = 2048
    h = math.pi / n
    nodes, weights = np.polynomial.legendre.leggauss(5)
    start = -0.5 * math.pi + h * np.arange(n)
    angle = start[:, None] + 0.5 * h * (nodes + 1.0)
    t = np.tan(angle)
    norm = _student_log_norm(nu)

    def slope(t: Floats) -> Floats:
        return np.exp(norm - 0.5 * (nu + 1.0) * np.log1p(t * t / nu)) * (1.0 + t * t)

    area = 0.5 * h * (slope(t) @ weights)
    cdf = np.concatenate([[0.0], np.cumsum(area)])
    edge = np.tan(start[1:])
    d = np.concatenate([[0.0], slope(edge), [0.0]])
    return cdf / cdf[-1], d * h, h


def student_cdf_table(t: Floats, nu: float) -> Floats:
    """Student's t distribution function for arrays, ``nu`` >= 2; absolute error below 1e-11."""
    if math.isinf(nu) or nu > 1e6:
        return normal_cdf(t)
    cdf, slope, h = _student_table(nu)
    u = (np.arctan(t) + 0.5 * math.pi) / h
    i = np.minimum(u.astype(np.intp), len(cdf) - 2)
    u -= i
    v = 1.0 - u
    below = v * v * ((1.0 + 2.0 * u) * cdf[i] + u * slope[i])
    above = u * u * ((1.0 + 2.0 * v) * cdf[i + 1] - v * slope[i + 1])
    return np.asarray(below + above)


def student_mixture_quantiles(
    weights: Floats, centres: Floats, scales: Floats, nu: float, probabilities: tuple[float, ...]
) -> Floats:
    """Quantiles of mixtures of scaled Student laws, one mixture per column.

    Parameters
    ----------
    weights
        (h,) weights of the components, summing to 1.
    centres, scales
        (h, p) centre and scale of component h in column p; scales > 0.
    nu
        Degrees of freedom of every component, >= 2.
    probabilities
        q probabilities in (0, 1).

    Returns
    -------
    Floats
        (q, p) quantiles, to about 1e-7 of the smallest scale of the column.

    Notes
    -----
    Bisection, made faster by Newton steps wherever they stay inside the bracket.
    """
    keep = weights > 1e-12
    w, c, s = weights[keep][:, None], centres[keep], scales[keep]
    out = np.empty((len(probabilities), centres.shape[1]))
    reach = [student_quantile(0.5 + 0.5 * min(0.999999, abs(2 * p - 1)), nu) for p in probabilities]
    norm = math.exp(_student_log_norm(nu)) if math.isfinite(nu) else 1.0 / math.sqrt(2 * math.pi)
    tolerance = 1e-7 * s.min(axis=0)
    for row, (p, r) in enumerate(zip(probabilities, reach, strict=True)):
        # the quantile of a mixture lies between the least and greatest of its components' quantiles
        side = r if p >= 0.5 else -r
        low, high = (c + side * s).min(axis=0), (c + side * s).max(axis=0)
        pad = tolerance + 1e-9 * np.abs(low) + 1e-9 * np.abs(high)
        low, high = low - pad, high + pad
        x = (w * (c + side * s)).sum(axis=0) / w.sum()
        for _ in range(200):
            t = (x - c) / s
            excess = (w * student_cdf_table(t, nu)).sum(axis=0) - p * w.sum()
            if math.isfinite(nu):
                density = norm * (1.0 + t * t / nu) ** (-0.5 * (nu + 1.0))
            else:
                density = norm * np.exp(-0.5 * t * t)
            slope = (w * density / s).sum(axis=0)
            low = np.where(excess < 0, x, low)
            high = np.where(excess < 0, high, x)
            step = np.where(slope > 0, -excess / np.maximum(slope, 1e-300), np.inf)
            inside = (x + step > low) & (x + step < high)
            new = np.where(inside, x + step, 0.5 * (low + high))
            done = np.abs(new - x) <= tolerance
            x = new
            if bool(done.all()):
                break
        out[row] = x
    return out


def chi2_sf(x: float, nu: float) -> float:
    """Probability that chi-squared with ``nu`` degrees of freedom exceeds ``x``; error < 1e-13."""
    if x <= 0.0:
        return 1.0
    a, half = 0.5 * nu, 0.5 * x
    log_front = a * math.log(half) - half - math.lgamma(a)
    if half < a + 1.0:
        term = total = 1.0 / a
        k = a
        while abs(term) > 1e-17 * abs(total):
            k += 1.0
            term *= half / k
            total += term
        return 1.0 - total * math.exp(log_front)
    tiny = 1e-300
    b = half + 1.0 - a
    c, d = 1.0 / tiny, 1.0 / b
    h = d
    for i in range(1, 10_000):
        an = -i * (i - a)
        b += 2.0
        d = an * d + b
        d = 1.0 / (d if abs(d) > tiny else tiny)
        c = b + an / c
        c = c if abs(c) > tiny else tiny
        h *= c * d
        if abs(c * d - 1.0) < 4e-16:
            break
    return h * math.exp(log_front)


@lru_cache(maxsize=64)
def range_quantile(p: float, n: int) -> float:
    """Range of ``n`` standard normal values that is exceeded with probability ``1 - p``; n >= 2."""
    x = np.linspace(-9.0, 9.0, 2881)
    density = n * np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi) * (x[1] - x[0])
    base = normal_cdf(x)
    low, high = 0.0, 20.0
    for _ in range(60):
        mid = 0.5 * (low + high)
        inside = float(density @ (normal_cdf(x + mid) - base) ** (n - 1))
        low, high = (mid, high) if inside < p else (low, mid)
    return 0.5 * (low + high)


# Sobol sequence in three dimensions: degree, inner coefficients and first direction numbers of the
# primitive polynomials 1, x + 1 and x^2 + x + 1, as tabulated by Joe and Kuo (2008).
_POLYNOMIALS = ((0, 0, ()), (1, 0, (1,)), (2, 1, (1, 3)))
_BITS = 30


def _directions(dimension: int) -> list[int]:
    degree, inner, first = _POLYNOMIALS[dimension]
    if degree == 0:
        return [1 << (_BITS - 1 - k) for k in range(_BITS)]
    m = list(first)
    for k in range(degree, _BITS):
        new = m[k - degree] ^ (m[k - degree] << degree)
        for j in range(1, degree):
            if (inner >> (degree - 1 - j)) & 1:
                new ^= m[k - j] << j
        m.append(new)
    return [m[k] << (_BITS - 1 - k) for k in range(_BITS)]


def sobol_unit(power: int, seed: int | None) -> Floats:
    """``2**power`` points of the three-dimensional Sobol sequence in (0, 1).

    Parameters
    ----------
    power
        0..20.
    seed
        ``None`` gives the plain sequence (whose first point is the origin). A number scrambles it:
        a random lower triangular matrix over the two-element field (unit diagonal) times each
        coordinate's bits, then a random digital shift. Both keep the net's equidistribution.

    Returns
    -------
    Floats
        (2**power, 3). The same seed gives the same points on every machine.
    """
    n = 1 << power
    index = np.arange(n, dtype=np.int64)
    gray = index ^ (index >> 1)
    rng = None if seed is None else np.random.Generator(np.random.PCG64(seed))
    out = np.empty((n, 3))
    for dim in range(3):
        directions = _directions(dim)
        shift = 0
        if rng is not None:
            # row r of the matrix makes output bit r (from the top) out of input bits 0..r
            rows = [
                (int(rng.integers(1 << r)) << (_BITS - r) if r else 0) | 1 << (_BITS - 1 - r)
                for r in range(_BITS)
            ]
            directions = [
                sum(((row & v).bit_count() & 1) << (_BITS - 1 - r) for r, row in enumerate(rows))
                for v in directions
            ]
            shift = int(rng.integers(1 << _BITS))
        value = np.full(n, shift, dtype=np.int64)
        for bit in range(power):
            value ^= np.where((gray >> bit) & 1, directions[bit], 0)
        # half a unit keeps scrambled points off 0, where the normal quantile is infinite
        out[:, dim] = (value + (0.0 if seed is None else 0.5)) / (1 << _BITS)
    return out


@lru_cache(maxsize=4)
def sobol_normal(power: int, seed: int) -> Floats:
    """(2**power, 3) standard normal points from the scrambled Sobol sequence; read-only."""
    unit = sobol_unit(power, seed)
    z = np.array([_STANDARD.inv_cdf(u) for u in unit.ravel().tolist()]).reshape(unit.shape)
    z.flags.writeable = False
    return z
