"""Radial profile of the sun: the disc, and the aureole around it that haze makes.

Radiance over the angle t from the centre [mrad], after D. Buie, A. G. Monger and C. J. Dey, "Sunshape distributions for
terrestrial solar simulations", Solar Energy 74 (2003) 113 (seen in several restatements that agree, not in the paper):
cos(0.326 t) / cos(0.308 t) on the disc, exp(kappa) t^gamma in the aureole, kappa = 0.9 ln(13.5 chi) chi^-0.3 and
gamma = 2.2 ln(0.52 chi) chi^0.43 - 0.1. Their chi is not quite the circumsolar ratio that results, so it is solved for.
"""

import functools
import math

import numpy as np

from raytrace.arrays import ArrayLike, Floats

DISC = 4.65  # [mrad], half-angle of the solar disc
AUREOLE = 43.6  # [mrad], where the aureole ends
STEPS = 4096
"""Panels of the quadrature over the disc."""


def disc_radiance(radius: ArrayLike) -> Floats:
    """Radiance of the limb-darkened disc over that of its centre; `radius` is (n,) float [mrad]."""
    t = np.asarray(radius, dtype=np.float64)
    return np.where(t <= DISC, np.cos(0.326 * t) / np.cos(0.308 * t), 0.0)


def aureole_exponents(chi: float) -> tuple[float, float]:
    """Both exponents of the aureole, kappa and gamma, for the paper's chi."""
    return 0.9 * math.log(13.5 * chi) * chi**-0.3, 2.2 * math.log(0.52 * chi) * chi**0.43 - 0.1


@functools.cache
def _disc_table() -> tuple[Floats, Floats]:
    # By squared radius, in which the density is smooth: cumulative of 2 pi t dt = pi d(t^2).
    square = np.linspace(0.0, DISC * DISC, STEPS + 1)
    radiance = disc_radiance(np.sqrt(square))
    # Simpson's rule on half panels keeps the fast fall at the limb.
    middle = disc_radiance(np.sqrt(0.5 * (square[1:] + square[:-1])))
    panels = math.pi * np.diff(square) * (radiance[:-1] + 4.0 * middle + radiance[1:]) / 6.0
    return square, np.concatenate([[0.0], np.cumsum(panels)])


def disc_power() -> float:
    """Integral of the disc's radiance over solid angle, in centre radiance times mrad^2."""
    return float(_disc_table()[1][-1])


def aureole_power(chi: float) -> float:
    """Integral of the aureole's radiance over solid angle, in the same unit as `disc_power`."""
    kappa, gamma = aureole_exponents(chi)
    e = gamma + 2.0
    whole = math.log(AUREOLE / DISC) if abs(e) < 1e-12 else (AUREOLE**e - DISC**e) / e
    return 2.0 * math.pi * math.exp(kappa) * whole


def realised_ratio(chi: float) -> float:
    """Circumsolar ratio that the profile with this chi really has."""
    halo = aureole_power(chi)
    return halo / (halo + disc_power())


CHI_LOW, CHI_HIGH = 1e-3, 0.9
"""Range in which chi is solved for: the realised ratio rises all the way. Its ends are our choice, no source."""


@functools.cache
def chi_for(circumsolar_ratio: float) -> float:
    """The paper's chi for which the realised circumsolar ratio is the one asked for, to 1e-12.

    Raises
    ------
    ValueError
        If the profile cannot have that ratio; the message says the largest that it can.
    """
    largest = realised_ratio(CHI_HIGH)
    if not realised_ratio(CHI_LOW) <= circumsolar_ratio <= largest:
        raise ValueError(
            f"circumsolar_ratio must be 0 or lie between {realised_ratio(CHI_LOW):.1e} and {largest:.3f}, "
            f"got {circumsolar_ratio!r}: the profile of the aureole is used for a chi from {CHI_LOW:g} to {CHI_HIGH:g} "
            "only."
        )
    low, high = CHI_LOW, CHI_HIGH
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if realised_ratio(middle) < circumsolar_ratio else (low, middle)
    return 0.5 * (low + high)


def _require_profile(sunshape: str, circumsolar_ratio: float) -> None:
    if sunshape not in {"limb-darkened", "uniform", "point"}:
        raise ValueError(f'sunshape must be "limb-darkened", "uniform" or "point", got {sunshape!r}.')
    if sunshape != "limb-darkened" and circumsolar_ratio != 0.0:
        raise ValueError(
            f'circumsolar_ratio must be 0 with the sunshape "{sunshape}", got {circumsolar_ratio!r}: only '
            '"limb-darkened" has an aureole.'
        )


def density(radius: ArrayLike, sunshape: str, circumsolar_ratio: float) -> Floats:
    """Share of the beam's power per solid angle at `radius` [mrad] from the centre, (n,) float [1/mrad2].

    Its integral over 2 pi t dt is 1.

    Raises
    ------
    ValueError
        If the sunshape is unknown or "point", which has no density, or the ratio is out of reach.
    """
    _require_profile(sunshape, circumsolar_ratio)
    if sunshape == "point":
        raise ValueError('sunshape must be "limb-darkened" or "uniform", got \'point\': a point has no density.')
    t = np.asarray(radius, dtype=np.float64)
    if sunshape == "uniform":
        return np.where(t <= DISC, 1.0 / (math.pi * DISC * DISC), 0.0)
    disc = disc_radiance(t) / disc_power()
    if circumsolar_ratio == 0.0:
        return np.asarray(disc, dtype=np.float64)
    chi = chi_for(circumsolar_ratio)
    kappa, gamma = aureole_exponents(chi)
    aureole = math.exp(kappa) * np.clip(t, DISC, AUREOLE) ** gamma / aureole_power(chi)
    halo = np.where((t > DISC) & (t <= AUREOLE), aureole, 0.0)
    return np.asarray((1.0 - circumsolar_ratio) * disc + circumsolar_ratio * halo, dtype=np.float64)


def radius_sq_at(share: ArrayLike, sunshape: str, circumsolar_ratio: float) -> Floats:
    """Squared radius [mrad2] within which the given share of the beam's power lies, (n,) float: the exact inverse.

    Raises
    ------
    ValueError
        If the sunshape is unknown or the ratio out of reach.
    """
    _require_profile(sunshape, circumsolar_ratio)
    u = np.asarray(share, dtype=np.float64)
    if sunshape == "point":
        return np.zeros_like(u)
    if sunshape == "uniform":
        return u * DISC * DISC
    square, power = _disc_table()
    on_disc = np.interp(np.minimum(u / (1.0 - circumsolar_ratio), 1.0) * power[-1], power, square)
    if circumsolar_ratio == 0.0:
        return np.asarray(on_disc, dtype=np.float64)
    _, gamma = aureole_exponents(chi_for(circumsolar_ratio))
    e = gamma + 2.0
    v = np.clip((u - (1.0 - circumsolar_ratio)) / circumsolar_ratio, 0.0, 1.0)
    halo: Floats
    if abs(e) > 1e-12:
        halo = (DISC**e + v * (AUREOLE**e - DISC**e)) ** (2.0 / e)
    else:
        halo = DISC**2 * (AUREOLE / DISC) ** (2.0 * v)
    return np.where(u > 1.0 - circumsolar_ratio, halo, on_disc)


def share_within(radius: ArrayLike, sunshape: str, circumsolar_ratio: float) -> Floats:
    """Share of the beam's power within `radius` [mrad] of the centre, (n,) float: the cumulative distribution.

    Raises
    ------
    ValueError
        If the sunshape is unknown or the ratio out of reach.
    """
    _require_profile(sunshape, circumsolar_ratio)
    t = np.asarray(radius, dtype=np.float64)
    if sunshape == "point":
        return np.ones_like(t)
    if sunshape == "uniform":
        return np.minimum(t / DISC, 1.0) ** 2
    square, power = _disc_table()
    disc = np.interp(np.minimum(t, DISC) ** 2, square, power) / power[-1]
    if circumsolar_ratio == 0.0:
        return np.asarray(disc, dtype=np.float64)
    _, gamma = aureole_exponents(chi_for(circumsolar_ratio))
    e = gamma + 2.0
    beyond = np.clip(t, DISC, AUREOLE)
    if abs(e) > 1e-12:
        halo = (beyond**e - DISC**e) / (AUREOLE**e - DISC**e)
    else:
        halo = np.log(beyond / DISC) / math.log(AUREOLE / DISC)
    return np.asarray((1.0 - circumsolar_ratio) * disc + circumsolar_ratio * halo, dtype=np.float64)


def radial_quantiles(sunshape: str, circumsolar_ratio: float, cells: int) -> Floats:
    """Squared radius [rad2] at evenly spaced shares of the power, (cells + 1,) float.

    Linear interpolation between the nodes samples the profile: exact at the nodes, evenly by solid angle in between.
    The share drawn within any radius is thus off by less than 1/cells. An aureole of few cells suffers most: with 2048
    cells and a ratio of 0.001 up to 4.6e-4; one smaller than a cell is drawn as nearly a whole cell.

    Raises
    ------
    ValueError
        If the sunshape is unknown, the ratio out of reach or `cells` less than 1.
    """
    if cells < 1:
        raise ValueError(f"cells must be at least 1, got {cells!r}.")
    return radius_sq_at(np.linspace(0.0, 1.0, cells + 1), sunshape, circumsolar_ratio) * 1e-6
