"""What a year of power and water comes to: its steps, sums, key days, best moment and alarms."""

import datetime as dt
from dataclasses import dataclass

from raytrace.arrays import Floats, Ints
from tracking.energy.steam import Steam


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Steps:
    """The year's steps, n of them in order of time. Powers in [W], temperatures in [degC], masses in [kg] a step.

    `start_local` is the start of each step on the standard clock; `is_gap` tells where the weather file has no value;
    there everything is 0. `not_condensed` is the share of the steam that the condenser misses.
    """

    length: dt.timedelta
    start_local: tuple[dt.datetime, ...]
    month: Ints
    day: Ints
    dni: Floats
    is_gap: Floats
    aimed: Floats
    air: Floats
    aperture: Floats
    intercepted: Floats
    absorbed: Floats
    temperature: Floats
    steam: Floats
    not_condensed: Floats
    flows: dict[str, Floats]

    @property
    def seconds(self) -> float:
        """Length of a step [s]."""
        return self.length.total_seconds()

    @property
    def distillate(self) -> Floats:
        """Of each tube in each step (n, tubes) [kg]."""
        return self.steam * (1.0 - self.not_condensed[:, None])


@dataclass(frozen=True, kw_only=True, slots=True)
class Period:
    """Sums over a month, a day or the year: [h], [Wh/m2], [J], [kg], [L]; tuples hold a value for each tube.

    `dni_sum` is over all hours with a value; `hours_of_use` those in which the lens is aimed and light is on it.
    `ledger` holds energies; its sum is `aperture`, from traces of their own.
    """

    name: str
    hours_of_use: float
    gap_hours: float
    dni_sum: float
    aperture: float
    intercepted: tuple[float, ...]
    absorbed: tuple[float, ...]
    ledger: dict[str, float]
    steam: tuple[float, ...]
    distillate: tuple[float, ...]
    litres: tuple[float, ...]
    litres_per_m2: float
    feed: tuple[float, ...]
    lost: float
    lost_on_line: float

    @property
    def optical_efficiency(self) -> float | None:
        """Absorbed over aperture energy; None where there is none."""
        return sum(self.absorbed) / self.aperture if self.aperture > 0.0 else None


@dataclass(frozen=True, kw_only=True, slots=True)
class Alarm:
    """Something to be prevented: what, when (standard clock), which tube (from 1; None: all), in words."""

    kind: str
    time: dt.datetime | None
    tube: int | None
    words: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Design:
    """What the best moment of the year asks for, and what happens when water fails there. Rates are of one tube.

    `best_absorbed` [W] is the strongest power on one tube, in the hours of `best_time`; `needed_feed` [L/h];
    `steam_rate` [kg/h]; `condenser_duty` [W] of the row and `condenser_needed` [W/K], None where the air is as hot as
    steam; `warm_up` [min] of that tube from cold; `dry_out` [min] from full when the feed stops; `stagnation` [degC]
    of the tube when dry; `cool_down` [min] of the dry tube, covered, until it may be filled.
    """

    best_time: dt.datetime | None
    best_tube: int
    best_absorbed: float
    needed_feed: float
    steam_rate: float
    condenser_duty: float
    condenser_needed: float | None
    warm_up: float | None
    dry_out: float | None
    stagnation: float
    cool_down: float


@dataclass(frozen=True, kw_only=True, slots=True)
class KeyDay:
    """A solstice or an equinox: its sums, and the times (standard clock) that matter for filling.

    `fill_before` is the latest safe time before the focused hours, `fill_after` the earliest after them for a tube
    that has run dry in the strongest light of the day; None on a day without light.
    """

    date: dt.date
    period: Period
    warm_up: float | None
    first_steam: dt.datetime | None
    fill_before: dt.datetime | None
    fill_after: dt.datetime | None
    stagnation: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Year:
    """All of a year; `largest_imbalance` is the worst of the boiler's balances over the energy that passed."""

    year: int
    utc_offset: float
    steam: Steam
    steps: Steps
    months: tuple[Period, ...]
    total: Period
    key_days: tuple[KeyDay, ...]
    design: Design
    alarms: tuple[Alarm, ...]
    drains: int
    highest_concentration: float
    litres_to_drain: float
    ledger_traces: int
    table_error: float
    largest_imbalance: float
    weather_file_dni_sum: float | None
    notes: tuple[str, ...]
