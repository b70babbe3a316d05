"""Pictures of a year: power through its key days, power by month and hour, months, where the energy goes."""

import calendar
import datetime as dt

import numpy as np
from matplotlib.figure import Figure

from raytrace.result import LEDGER_ENTRIES
from tracking.energy.year import Year
from tracking.paper import style
from tracking.paper.light_figures import ENTRY_WORDS
from tracking.paper.reach_figure import LINES, MONTHS
from tracking.paper.style import Picture, drawing, new_figure

JOULES_PER_KWH = 3.6e6
SMALLEST_SHARE = 5e-4
"""Share of the energy on the aperture below which an entry of the ledger gets no bar of its own."""
LEAST_TOP = 1e-9
"""Least upper end of an axis: a year without light still has a picture."""


def year_pictures(year: Year, title: str) -> tuple[Picture, ...]:
    """The four pictures of a year: days, heat map, months, waterfall."""
    with drawing():
        return (days(year, title), heat_map(year, title), months(year, title), waterfall(year, title))


def figures_of(year: Year, title: str) -> dict[str, bytes]:
    """The same as PNG by file name."""
    return {f"{picture.name}.png": picture.png() for picture in year_pictures(year, title)}


def _clock(year: Year) -> str:
    return f"hour, standard time UTC{year.utc_offset:+g} h"


def days(year: Year, title: str) -> Picture:
    """Absorbed power of the row through the solstices and the equinoxes."""
    figure = new_figure(3.9)
    axes = figure.subplots()
    steps = year.steps
    hours = np.array([time.hour + time.minute / 60.0 for time in steps.start_local]) + steps.seconds / 7200.0
    dates = np.array([time.date() for time in steps.start_local])
    highest = {}
    for k, key in enumerate(year.key_days):
        of = dates == key.date
        power = steps.absorbed[of].sum(axis=1)
        highest[_day_words(key.date)] = float(power.max(initial=0.0))
        colour, dashes, marker = LINES[k % len(LINES)]
        lit = power > 0.0
        shown = lit | np.append(lit[1:], False) | np.insert(lit[:-1], 0, False)  # and a zero at either end
        axes.plot(hours[of][shown], power[shown], color=colour, ls=dashes, marker=marker, ms=3.0, lw=1.2,
                  label=_day_words(key.date))  # fmt: skip
    key_dates = {key.date for key in year.key_days}
    of_key_day = np.array([date in key_dates for date in dates.tolist()])
    bright = hours[of_key_day & (steps.absorbed.sum(axis=1) > 0.0)]
    if len(bright):
        step = steps.seconds / 3600.0
        axes.set_xlim(np.floor(bright.min() - step), np.ceil(bright.max() + step))
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(_clock(year))
    axes.set_ylabel("absorbed by the row [W]")
    axes.set_title(f"{title}: power through the day")
    figure.legend(loc="outside lower center", ncols=4)
    told = ", ".join(f"{power:.0f} W on {day}" for day, power in highest.items())
    return Picture(
        name="year_days",
        title="Power through the solstices and the equinoxes",
        alt=f"Power absorbed by the row over the hours of four days. At most {told}.",
        figure=figure,
        numbers={"highest_w": highest},
    )


def _day_words(date: dt.date) -> str:
    return f"{date.day} {calendar.month_name[date.month]}"


def heat_map(year: Year, title: str) -> Picture:
    """Mean absorbed power of the row by month and hour of the day."""
    figure = new_figure(4.2)
    axes = figure.subplots()
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
        means[first:last], aspect="auto", origin="lower", cmap=style.MAP, extent=(0.5, 12.5, first, last), vmin=0.0
    )
    axes.set_xticks(range(1, 13), MONTHS)
    axes.set_yticks(range(first, last + 1, 2))
    axes.set_ylabel(_clock(year))
    axes.set_title(f"{title}: mean absorbed power")
    figure.colorbar(image, ax=axes, label="absorbed by the row [W]", pad=0.01)
    best_hour, best_month = (int(k) for k in np.unravel_index(int(means.argmax()), means.shape))
    return Picture(
        name="year_heat_map",
        title="Mean power by month and hour",
        alt=(
            f"Mean power absorbed by the row by month and hour: most, {means.max():.0f} W, in {MONTHS[best_month]} "
            f"between {best_hour} and {best_hour + 1} h."
        ),
        figure=figure,
        numbers={"mean_absorbed_w": means.tolist()},
    )


def months(year: Year, title: str) -> Picture:
    """Absorbed energy and distillate of each month."""
    figure = new_figure(3.9)
    axes = figure.subplots()
    places = np.arange(12)
    energy = [sum(month.absorbed) / JOULES_PER_KWH for month in year.months]
    litres = [sum(month.litres) for month in year.months]
    other = axes.twinx()
    other.spines["right"].set_visible(True)
    bars = axes.bar(places - 0.2, energy, 0.38, color=style.ORANGE, edgecolor="black", lw=0.6,
                    label="absorbed [kWh], left axis")  # fmt: skip
    water = other.bar(places + 0.2, litres, 0.38, color=style.SKY, edgecolor="black", lw=0.6, hatch="///",
                      label="distillate [L], right axis, hatched")  # fmt: skip
    axes.set_xticks(places, MONTHS)
    axes.set_ylabel("absorbed by the row [kWh]")
    other.set_ylabel("distillate of the row [L]")
    axes.set_ylim(0.0, 1.05 * max(*energy, LEAST_TOP))
    other.set_ylim(0.0, 1.05 * max(*litres, LEAST_TOP))
    axes.set_title(f"{title}: energy and distillate by month")
    figure.legend(handles=[bars, water], loc="outside lower center", ncols=2)
    most, least = int(np.argmax(energy)), int(np.argmin(energy))
    return Picture(
        name="year_months",
        title="Energy and distillate by month",
        alt=(
            f"Energy absorbed and distillate of each month: most in {MONTHS[most]}, {energy[most]:.1f} kWh and "
            f"{litres[most]:.1f} L; least in {MONTHS[least]}, {energy[least]:.1f} kWh and {litres[least]:.1f} L."
        ),
        figure=figure,
        numbers={"absorbed_kwh": energy, "distillate_l": litres},
    )


def waterfall(year: Year, title: str) -> Picture:
    """From the energy on the aperture through all losses to the steam that leaves the tubes."""
    total, flows = year.total, year.steps.flows
    ledger = {name: total.ledger[name] / JOULES_PER_KWH for name in LEDGER_ENTRIES}
    absorbed = ledger["absorbed"]
    made = sum(total.distillate)
    line, lost = total.lost_on_line / JOULES_PER_KWH, total.lost / JOULES_PER_KWH
    boiled = sum(total.steam) * year.steam.latent_heat / JOULES_PER_KWH
    # What is neither lost nor boiled away has warmed up the feed, or left with water that was spilt or drained.
    traced = float(flows["absorbed"].sum()) / JOULES_PER_KWH
    warmed = traced - line - lost - boiled
    level = total.aperture / JOULES_PER_KWH
    aperture = level
    rows: list[tuple[str, float, float, str]] = [("on the aperture", 0.0, level, "#bbbbbb")]
    for name in LEDGER_ENTRIES[:-1]:
        if ledger[name] <= SMALLEST_SHARE * aperture:
            continue
        rows.append((ENTRY_WORDS[name], level - ledger[name], ledger[name], style.BLUE))
        level -= ledger[name]
    rows.append(("absorbed", 0.0, absorbed, style.ORANGE))
    level = absorbed
    losses = (("lost by the tubes", lost), ("lost on the steam line", line), ("feed and tubes warmed", warmed))
    for words, value in losses:
        rows.append((words, level - value, value, style.BLUE))
        level -= value
    rows.append(("steam (latent heat)", 0.0, boiled, style.SKY))
    figure = _steps_down(rows, f"{title}: where the energy goes")
    return Picture(
        name="year_waterfall",
        title="Where the year's energy goes",
        alt=(
            f"Steps down from {aperture:.0f} kWh on the aperture in the year: {absorbed:.0f} kWh is absorbed, "
            f"{lost:.0f} kWh of it lost by the tubes, {boiled:.0f} kWh goes into steam; distillate {made:.0f} kg."
        ),
        figure=figure,
        numbers={"aperture_kwh": aperture, "ledger_kwh": ledger, "steam_kwh": boiled, "distillate_kg": made},
    )


def _steps_down(rows: list[tuple[str, float, float, str]], title: str) -> Figure:
    """Bars from words, left end, length and colour; losses are hatched."""
    figure = new_figure(1.0 + 0.27 * len(rows))
    axes = figure.subplots()
    top = max(rows[0][2], LEAST_TOP)
    for k, (_, left, length, colour) in enumerate(rows):
        axes.barh(k, length, left=left, color=colour, edgecolor="black", lw=0.6,
                  hatch="///" if colour == style.BLUE else "")  # fmt: skip
        digits = 0 if abs(length) >= 10.0 else 1
        axes.text(left + max(length, 0.0) + 0.01 * top, k, f"{length:.{digits}f}", va="center", fontsize=8.5)
    axes.set_yticks(range(len(rows)), [words for words, *_ in rows])
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.12 * top)
    axes.set_xlabel("energy in the year [kWh]; hatched: lost")
    axes.set_title(title)
    return figure
