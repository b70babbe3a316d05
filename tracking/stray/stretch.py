"""Which pose, and which stretch of time: what a question about an idle lens begins with."""

import datetime as dt

from raytrace.response import ResponseTable
from tracking.errors import InputError
from tracking.mount import Setting
from tracking.plans.instant import instants_at
from tracking.plans.moves import chosen_plan
from tracking.scenefile import SceneFile
from tracking.sky.site import Site
from tracking.sky.sunpath import day_instants

LAST_AIM_STEP = dt.timedelta(minutes=10)
"""Step in which the last setting of a day is looked for."""

DAYS_APART = 14
"""Between the days that stand for a year [d]: the sun's declination moves by at most 5.5 deg in it."""


def day_times(site: Site, date: dt.date, step: dt.timedelta) -> list[dt.datetime]:
    """Instants of a day with the sun up."""
    return day_instants(site, date, step)


def year_times(site: Site, year: int, step: dt.timedelta, apart: int = DAYS_APART) -> list[dt.datetime]:
    """Instants with the sun up on every `apart`-th day of a year, the first one on the 1st of January."""
    first = dt.date(year, 1, 1)
    days = [first + dt.timedelta(days=k) for k in range(0, 366, apart)]
    return [time for day in days if day.year == year for time in day_instants(site, day, step)]


def last_setting(scene_file: SceneFile, date: dt.date) -> Setting | None:
    """The setting in which perfect aiming leaves the lens at the end of a day; None on a day without aiming."""
    instants = instants_at(scene_file, day_instants(scene_file.site, date, LAST_AIM_STEP))
    aims = [each.aim.setting for each in instants if each.aim is not None]
    return aims[-1] if aims else None


def last_of_plan(scene_file: SceneFile, date: dt.date, table: ResponseTable) -> Setting:
    """The setting in which a day's plan of moves leaves the lens.

    Raises
    ------
    InputError
        If the sun stays too low all day.
    """
    return chosen_plan(scene_file, date, table).stretches[-1].setting


def idle_setting(scene_file: SceneFile, date: dt.date, tilt: float | None, swivel: float | None) -> Setting:
    """The pose that nobody moves: as given, and what is not given as it was last aimed on the day before [deg].

    Raises
    ------
    InputError
        If an angle lies outside the mount's range, or the lens was not aimed the day before.
    """
    mount = scene_file.mount
    limits = mount.swivel_limits
    if limits is not None and limits[0] == limits[1]:
        if swivel is not None and swivel != limits[0]:
            raise InputError(
                key="--swivel", problem=f"{swivel:g} deg cannot be set: this mount does not turn",
                allowed=f"Allowed: {limits[0]:g} deg, or no such option.",
            )  # fmt: skip
        swivel = limits[0]
    if tilt is None or swivel is None:
        last = last_setting(scene_file, date - dt.timedelta(days=1))
        if last is None:
            raise InputError(
                key="--tilt", problem=f"the lens is not aimed on the day before {date}, so its pose is not known",
                allowed="Allowed: --tilt and --swivel together.",
            )  # fmt: skip
        tilt = last.tilt if tilt is None else tilt
        swivel = last.swivel if swivel is None else swivel
    low, high = mount.tilt_limits
    if not low <= tilt <= high:
        raise InputError(
            key="--tilt", problem=f"{tilt:g} deg is out of the mount's range",
            allowed=f"Allowed: {low:g} to {high:g} deg.",
        )  # fmt: skip
    if limits is not None and limits[0] != limits[1]:
        within = (swivel - limits[0]) % 360.0 + limits[0]
        if within > limits[1]:
            raise InputError(
                key="--swivel", problem=f"{swivel:g} deg is out of the mount's range",
                allowed=f"Allowed: {limits[0]:g} to {limits[1]:g} deg.",
            )  # fmt: skip
    return Setting(tilt=tilt, swivel=swivel)
