"""Pictures of the flux on the tubes: unrolled maps and rings."""

import math

import numpy as np
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes

from raytrace.arrays import Floats
from raytrace.maps import FluxMaps, flux_maps
from tracking.paper import style
from tracking.paper.light_view import LightView
from tracking.paper.style import Picture, new_figure

MM = 1e3
MOST_TUBES_DRAWN = 12


def flux(view: LightView) -> tuple[Picture, Picture]:
    """Flux around and along each tube: unrolled maps, and rings of the mean along the tube."""
    maps = flux_maps(view.scene, rays=view.trace.rays, seed=view.trace.seed, row=view.row, **view.angles)
    kilowatts = maps.ratio * view.dni / 1e3
    power = np.array([tube.intercepted_fraction.value for tube in view.trace.tubes])
    shown = sorted(np.argsort(-power, kind="stable")[:MOST_TUBES_DRAWN].tolist())
    hottest, brightest = int(power.argmax()), int(np.argmax([tube.peak_flux_ratio for tube in view.trace.tubes]))
    peaks = [tube.peak_flux_ratio * view.dni for tube in view.trace.tubes]
    only = "" if len(shown) == len(power) else f" Shown: the {len(shown)} tubes with the most light of {len(power)}."
    ring_mean = kilowatts.mean(axis=1)
    off_lens = _middle_of(ring_mean[hottest], maps.around)
    numbers = {
        "tubes_shown": [k + 1 for k in shown],
        "intercepted_fraction": power.tolist(),
        "peak_flux_w_m2": peaks,
        "hottest_tube": hottest + 1,
        "tube_with_highest_peak": brightest + 1,
    }
    share, peak = f"{100 * power[hottest]:.1f} % of the aperture power", f"{peaks[brightest] / 1e3:.1f} kW/m2"
    if power[hottest] <= 0.0:
        alt = "no light reaches the tubes"
    elif len(power) == 1:
        alt = f"the tube takes {share}, with a peak of {peak}"
    else:
        alt = (
            f"tube {hottest + 1} of {len(power)} takes the most light, {share}; the highest peak is {peak}, on tube "
            f"{brightest + 1}"
        )
    middle = ""
    if power[hottest] > 0.0:
        middle = f" The light on tube {hottest + 1} has its middle {abs(off_lens):.0f} deg off the side of the lens."
    return (
        Picture(
            name="flux-maps",
            title="Flux on the tubes, unrolled",
            alt=f"Maps of flux along and around each absorber, unrolled: {alt}.{only}",
            figure=_unrolled(maps, kilowatts, shown, view, max(peaks) / 1e3),
            numbers=numbers,
        ),
        Picture(
            name="flux-rings",
            title="Flux around the tubes",
            alt=(f"Rings of flux around each absorber, mean along the tube: {alt}.{middle}{only}"),
            figure=_rings(maps, ring_mean, shown),
            numbers=numbers | {"mean_along_tube_w_m2": (1e3 * ring_mean).tolist(), "middle_off_lens_deg": off_lens},
        ),
    )


def _middle_of(ring: Floats, edges: Floats) -> float:
    """The mean direction of flux around a tube [deg], from -180 to 180; 0 is the lens's side."""
    turn = np.radians(0.5 * (edges[1:] + edges[:-1]))
    return math.degrees(math.atan2(float((ring * np.sin(turn)).sum()), float((ring * np.cos(turn)).sum())))


def _unrolled(maps: FluxMaps, kilowatts: Floats, shown: list[int], view: LightView, peak: float) -> Figure:
    """The maps, in colours up to the peak [kW/m2]: single patches of few rays may be brighter, but by noise alone."""
    columns = 1 if len(shown) == 1 else 2
    rows = -(-len(shown) // columns)
    figure = new_figure(1.1 + (2.4 if rows == 1 else 1.45 * rows))
    grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    half = kilowatts.shape[2] // 2
    top = max(peak, 1e-9)
    for axes, k in zip(grid.flat, shown, strict=False):
        axes.pcolormesh(
            maps.along * MM, maps.around - 180.0, np.roll(kilowatts[k], half, axis=1).T, cmap=style.MAP, vmin=0.0,
            vmax=top, rasterized=True,
        )  # fmt: skip
        axes.set_title(f"Tube {k + 1}", fontsize=9)
        axes.set_yticks([-180, -90, 0, 90, 180])
    for axes in grid.flat[len(shown) :]:
        axes.set_visible(False)
    figure.supxlabel("along the tube, from its middle [mm]", fontsize=9)
    figure.supylabel("around the tube [deg]; 0: lens's side, 90: next tube", fontsize=9)
    figure.colorbar(
        grid.flat[0].collections[0],
        ax=grid,
        label=f"flux [kW/m$^2$] at a DNI of {view.dni:.0f} W/m$^2$",
        pad=0.01,
        aspect=40,
        extend="max",
    )
    return figure


def _rings(maps: FluxMaps, ring_mean: Floats, shown: list[int]) -> Figure:
    columns = min(4, len(shown))
    rows = -(-len(shown) // columns)
    figure = new_figure(3.6 if columns == 1 else 0.5 + (7.0 / columns + 0.4) * rows)
    grid = figure.subplots(rows, columns, squeeze=False, subplot_kw={"projection": "polar"})
    top = max(float(ring_mean[shown].max()), 1e-9)
    turn = np.radians(np.append(0.5 * (maps.around[1:] + maps.around[:-1]), 0.5 * maps.around[1] + 360.0))
    for axes, k in zip(grid.flat, shown, strict=False):
        assert isinstance(axes, PolarAxes)  # noqa: S101  as asked for above
        axes.set_theta_zero_location("N")
        axes.set_theta_direction(-1)
        values = np.append(ring_mean[k], ring_mean[k, 0])
        axes.fill(turn, values, color=style.ORANGE, alpha=0.5)
        axes.plot(turn, values, color="black", lw=0.9)
        axes.set_ylim(0.0, 1.05 * top)
        axes.set_yticks(_nice_ticks(top))
        axes.set_rlabel_position(200.0)
        axes.tick_params(labelsize=7.5, pad=1)
        axes.set_xticks(np.radians([0, 90, 180, 270]), ["lens", "", "", ""])
        axes.set_anchor("S")  # room above: the layout does not see the title move up past the word at the rim
        axes.set_title(f"Tube {k + 1}", fontsize=9, loc="center")
    for axes in grid.flat[len(shown) :]:
        axes.set_visible(False)
    figure.supxlabel("flux, mean along the tube [kW/m$^2$]; top: lens's side, right: next tube", fontsize=9)
    return figure


def _nice_ticks(top: float) -> list[float]:
    step = 10.0 ** math.floor(math.log10(top))
    for factor in (0.5, 1.0, 2.0, 5.0):
        if top / (step * factor) <= 3.0:
            return [step * factor * k for k in range(1, int(top / (step * factor)) + 1)]
    return [step]
