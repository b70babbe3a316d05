"""Figures of a year, as PNG in memory."""

import calendar
import datetime as dt
import io
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from raytrace.result import LEDGER_ENTRIES
from tracking.energy.year import Year

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DOTS_PER_INCH = 150
JOULES_PER_KWH = 3.6e6
MONTHS = tuple(calendar.month_abbr[1:])
ENTRY_WORDS: Mapping[str, str] = {
    "reflected_lens": "reflected by\nthe lens",
    "absorbed_lens": "absorbed in\nthe lens",
    "upward_lens": "sent upward\nby the lens",
    "edge_lens": "out through\nthe lens's edge",
    "trapped_lens": "trapped in\nthe lens",
    "missed": "missed\nthe tubes",
    "envelope": "lost in the\nenvelope",
    "reflected_absorber": "reflected by\nthe absorber",
    "absorbed": "absorbed",
}
LOSS_COLOUR, KEPT_COLOUR, WATER_COLOUR = "#b5543a", "#d89c2b", "#3a76a8"


def figures_of(year: Year, title: str) -> dict[str, bytes]:
    """The four figures of a year by file name: days, heat map, months, waterfall."""
    return {
        "year_days.png": _png(day_figure(year, title)),
        "year_heat_map.png": _png(heat_map(year, title)),
        "year_months.png": _png(month_figure(year, title)),
        "year_waterfall.png": _png(waterfall(year, title)),
    }


def _figure(width: float, height: float) -> "tuple[Figure, Axes]":
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    return figure, figure.subplots()


def _png(figure: "Figure") -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    FigureCanvasAgg(figure)
    target = io.BytesIO()
    figure.savefig(target, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None})
    return target.getvalue()


def _clock(year: Year) -> str:
    return f"hour, standard time UTC{year.utc_offset:+g} h"


def day_figure(year: Year, title: str) -> "Figure":
    """Absorbed power of the row through the solstices and the equinoxes."""
    figure, axes = _figure(8.0, 4.5)
    steps = year.steps
    hours = np.array([time.hour + time.minute / 60.0 for time in steps.start_local]) + steps.seconds / 7200.0
    dates = np.array([time.date() for time in steps.start_local])
    for key, style in zip(year.key_days, ("-", "-", "--", "-"), strict=True):
        of = dates == key.date
        axes.plot(hours[of], steps.absorbed[of].sum(axis=1), style, label=_day_words(key.date))
    lit = hours[steps.aimed > 0.0]
    if len(lit):
        axes.set_xlim(np.floor(lit.min()), np.ceil(lit.max()))
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(_clock(year))
    axes.set_ylabel("absorbed by the row, W")
    axes.set_title(f"{title}: power through the day")
    axes.grid(visible=True, alpha=0.3)
    axes.legend()
    return figure


def _day_words(date: dt.date) -> str:
    return f"{date.day} {calendar.month_name[date.month]}"


def heat_map(year: Year, title: str) -> "Figure":
    """Mean absorbed power of the row by month and hour of the day."""
    figure, axes = _figure(8.0, 4.8)
    steps = year.steps
    hour = np.array([time.hour for time in steps.start_local])
    power = steps.absorbed.sum(axis=1)
    has_value = steps.is_gap == 0.0
    means = np.zeros((24, 12))
    for month in range(12):
        for k in range(24):
            of = (steps.month == month + 1) & (hour == k) & has_value
            means[k, month] = power[of].mean() if of.any() else 0.0
    lit = np.flatnonzero(means.max(axis=1) > 0.0)
    first, last = (int(lit[0]), int(lit[-1]) + 1) if len(lit) else (0, 24)
    image = axes.imshow(
        means[first:last], aspect="auto", origin="lower", cmap="inferno", extent=(0.5, 12.5, first, last), vmin=0.0
    )
    axes.set_xticks(range(1, 13), MONTHS)
    axes.set_yticks(range(first, last + 1, 2))
    axes.set_ylabel(_clock(year))
    axes.set_title(f"{title}: mean absorbed power")
    figure.colorbar(image, ax=axes, label="absorbed by the row, W")
    return figure


def month_figure(year: Year, title: str) -> "Figure":
    """Absorbed energy and distillate of each month."""
    figure, axes = _figure(8.0, 4.5)
    places = np.arange(12)
    energy = [sum(month.absorbed) / JOULES_PER_KWH for month in year.months]
    litres = [sum(month.litres) for month in year.months]
    other = axes.twinx()
    bars = axes.bar(places - 0.2, energy, 0.38, color=KEPT_COLOUR, label="absorbed, kWh (left)")
    water = other.bar(places + 0.2, litres, 0.38, color=WATER_COLOUR, label="distillate, L (right)")
    axes.set_xticks(places, MONTHS)
    axes.set_ylabel("absorbed by the row, kWh")
    other.set_ylabel("distillate of the row, L")
    axes.set_ylim(0.0, 1.2 * max(*energy, 1e-9))
    other.set_ylim(0.0, 1.2 * max(*litres, 1e-9))
    axes.set_title(f"{title}: energy and distillate by month")
    axes.legend(handles=[bars, water], loc="upper left", ncols=2)
    return figure


def waterfall(year: Year, title: str) -> "Figure":
    """From the energy on the aperture through all losses to the steam that leaves the tubes."""
    figure, axes = _figure(10.0, 5.2)
    total, flows = year.total, year.steps.flows
    ledger = {name: total.ledger[name] / JOULES_PER_KWH for name in LEDGER_ENTRIES}
    absorbed = ledger["absorbed"]
    made = sum(total.distillate)
    steam = sum(total.steam)
    line, lost = total.lost_on_line / JOULES_PER_KWH, total.lost / JOULES_PER_KWH
    boiled = steam * year.steam.latent_heat / JOULES_PER_KWH
    # What is neither lost nor boiled away has warmed up the feed, or left with water that was spilt or drained.
    traced = float(flows["absorbed"].sum()) / JOULES_PER_KWH
    warmed = traced - line - lost - boiled
    level = total.aperture / JOULES_PER_KWH
    rows: list[tuple[str, float, float, str]] = [("on the\naperture", 0.0, level, KEPT_COLOUR)]
    for name in LEDGER_ENTRIES[:-1]:
        if ledger[name] <= SMALLEST_SHARE * rows[0][2]:
            continue
        rows.append((ENTRY_WORDS[name], level - ledger[name], ledger[name], LOSS_COLOUR))
        level -= ledger[name]
    rows.append(("absorbed", 0.0, absorbed, KEPT_COLOUR))
    level = absorbed
    for words, value in (
        ("lost by\nthe tubes", lost), ("lost on the\nsteam line", line), ("feed and tubes\nwarmed", warmed),
    ):
        rows.append((words, level - value, value, LOSS_COLOUR))
        level -= value
    rows.append(("steam\n(latent heat)", 0.0, boiled, WATER_COLOUR))
    for k, (_, bottom, height, colour) in enumerate(rows):
        axes.bar(k, height, 0.7, bottom=bottom, color=colour)
        axes.text(k, bottom + height, f"{height:.0f}" if height >= 10.0 else f"{height:.1f}", ha="center", va="bottom")
    axes.set_xticks(range(len(rows)), [words for words, *_ in rows], rotation=60, ha="right", fontsize=8)
    axes.set_ylim(0.0, 1.1 * max(rows[0][2], 1e-9))
    axes.set_ylabel("kWh in the year")
    axes.set_title(f"{title}: where the year's energy goes; distillate {made:.0f} kg")
    return figure


SMALLEST_SHARE = 5e-4
"""Share of the energy on the aperture below which an entry of the ledger gets no bar of its own."""
