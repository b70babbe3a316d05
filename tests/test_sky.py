"""Sites, civil days, sunrise and sunset, and the instants of a day."""

import datetime as dt
import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracking.errors import InputError
from tracking.sky.site import Site
from tracking.sky.sunpath import SunPath, day_instants, sun_events, sun_path

MADRID = Site(latitude=40.4, longitude=-3.7, timezone="Europe/Madrid", altitude=650.0)
SVALBARD = Site(latitude=78.2, longitude=15.6, timezone="Arctic/Longyearbyen")
HOUR = dt.timedelta(hours=1)


def local_hours(instants: list[dt.datetime]) -> list[str]:
    return [f"{instant:%H:%M%z}" for instant in instants]


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("latitude", 95.0, r"Site\.latitude must lie between -90 and 90 deg, got 95\.0 deg: north is positive\."),
        ("longitude", 200.0, r"Site\.longitude must lie between -180 and 180 deg"),
        ("altitude", 12000.0, r"Site\.altitude must lie between -450 and 6000 m, got 12000\.0 m"),
        ("latitude", float("nan"), r"Site\.latitude must lie between"),
        ("timezone", "Europe/Madird", r'got \'Europe/Madird\'\. Did you mean "Europe/Madrid"\?'),
        ("timezone", "../etc", r"Site\.timezone must be a name of the IANA time zone database"),
        ("timezone", "", r"Site\.timezone must be a name"),
        ("timezone", "Europe", r"Site\.timezone must be a name"),
    ],
)
def test_a_wrong_site_says_what_is_allowed(field: str, value: object, message: str) -> None:
    values: dict[str, object] = {"latitude": 40.0, "longitude": -3.0, "timezone": "Europe/Madrid"}
    with pytest.raises(ValueError, match=message):
        Site(**{**values, field: value})  # type: ignore[arg-type]


def test_input_error_is_one_message() -> None:
    error = InputError(file="a.toml", key="[lens] width", problem="0,6 m is no quantity", allowed="Write 0.6 m.")
    assert str(error) == "a.toml: [lens] width: 0,6 m is no quantity. Write 0.6 m."
    assert str(InputError(problem="the sun is down")) == "the sun is down"


@pytest.mark.parametrize(
    "time",
    [
        dt.datetime(2026, 6, 21, 12),  # noqa: DTZ001  # the very mistake that is refused
        dt.datetime(2026, 1, 21, 12, tzinfo=Site(latitude=51.0, longitude=0.0, timezone="Europe/London").zone),
        dt.datetime(2026, 6, 21, 12, tzinfo=dt.timezone(HOUR)),
    ],
)
def test_instants_that_are_not_utc_are_refused(time: dt.datetime) -> None:
    with pytest.raises(ValueError, match="times must be aware and in UTC, got 2026-0"):
        sun_path(MADRID, [time])


def test_a_utc_index_of_pandas_is_welcome_and_no_instants_give_no_positions() -> None:
    index = pd.date_range("2026-06-21", periods=3, freq="h", tz="UTC")
    path = sun_path(MADRID, index)
    assert path.azimuth.shape == path.elevation.shape == path.true_zenith.shape == (3,)
    assert path.times_utc[1] == np.datetime64("2026-06-21T01:00")
    assert len(sun_path(MADRID, [])) == 0


def test_refraction_lifts_a_low_sun_and_leaves_a_high_one() -> None:
    instants = [dt.datetime(2026, 6, 21, hour, tzinfo=dt.UTC) for hour in (5, 12)]
    path = sun_path(MADRID, instants)
    lift = path.elevation - (90.0 - path.true_zenith)
    assert 0.2 < lift[0] < 0.4  # 2 deg above the horizon
    assert 0.0 < lift[1] < 0.01


def test_the_sun_passes_north_of_a_southern_site() -> None:
    site = Site(latitude=-30.0, longitude=-71.0, timezone="America/Santiago")
    noon = sun_events(site, dt.date(2026, 6, 21)).transit
    assert noon is not None
    azimuth = sun_path(site, [noon]).azimuth[0]
    assert min(azimuth, 360.0 - azimuth) < 0.01


def test_whole_hours_from_sunrise_to_sunset() -> None:
    assert local_hours(day_instants(MADRID, dt.date(2026, 12, 21), HOUR)) == [
        f"{hour:02d}:00+0100" for hour in range(9, 18)
    ]


def test_the_night_that_loses_an_hour_and_the_one_that_repeats_it() -> None:
    # A clock of Madrid far to the east: the sun is up in the small hours when the clocks change.
    site = Site(latitude=40.0, longitude=150.0, timezone="Europe/Madrid")
    spring = local_hours(day_instants(site, dt.date(2026, 3, 29), HOUR))
    assert spring[:4] == ["00:00+0100", "01:00+0100", "03:00+0200", "04:00+0200"]
    autumn = local_hours(day_instants(site, dt.date(2026, 10, 25), HOUR))
    assert autumn[:5] == ["00:00+0200", "01:00+0200", "02:00+0200", "02:00+0100", "03:00+0100"]


def test_a_step_counts_on_the_clock_from_midnight_even_when_it_does_not_divide_the_hour() -> None:
    site = Site(latitude=70.0, longitude=25.0, timezone="Europe/Oslo")
    instants = day_instants(site, dt.date(2026, 6, 21), dt.timedelta(minutes=50))
    minutes = [instant.hour * 60 + instant.minute for instant in instants]
    assert minutes == list(range(0, 1440, 50))


def test_polar_day_holds_the_whole_civil_day() -> None:
    events = sun_events(SVALBARD, dt.date(2026, 6, 21))
    assert events.sun_is_up_all_day
    assert (events.sunrise, events.sunset) == (None, None)
    assert len(day_instants(SVALBARD, dt.date(2026, 6, 21), dt.timedelta(minutes=15))) == 96


def test_polar_night_is_empty_and_says_so() -> None:
    events = sun_events(SVALBARD, dt.date(2026, 12, 21))
    assert events.sun_stays_down
    assert (events.sunrise, events.sunset, events.transit) == (None, None, None)
    assert day_instants(SVALBARD, dt.date(2026, 12, 21), HOUR) == []


def test_days_with_one_event_only_at_the_edge_of_polar_day() -> None:
    events = [sun_events(SVALBARD, dt.date(2026, 4, day)) for day in range(10, 30)]
    kinds = [(event.sunrise is not None, event.sunset is not None) for event in events]
    assert kinds[0] == (True, True)
    assert kinds[-1] == (False, False)
    assert all(event.up for event in events)
    for yesterday, today in itertools.pairwise(events):
        assert yesterday.day[1] == today.day[0]
        assert (yesterday.up[-1][1] == yesterday.day[1]) == (today.up[0][0] == today.day[0])


@pytest.mark.parametrize(
    ("longitude", "zone"),
    [(179.5, "Pacific/Fiji"), (-171.8, "Pacific/Apia"), (-157.4, "Pacific/Kiritimati"), (-176.6, "America/Adak")],
)
def test_events_belong_to_the_civil_date_near_the_date_line(longitude: float, zone: str) -> None:
    site = Site(latitude=-14.0, longitude=longitude, timezone=zone)
    for date in (dt.date(2026, 1, 5), dt.date(2026, 7, 5)):
        events = sun_events(site, date)
        for event in (events.sunrise, events.transit, events.sunset):
            assert event is not None
            assert event.astimezone(site.zone).date() == date
        assert events.sunrise is not None
        assert events.sunset is not None
        assert events.transit is not None
        assert events.sunrise < events.transit < events.sunset


def test_a_date_that_was_skipped_is_refused() -> None:
    # Samoa moved across the date line at the end of 29 December 2011 (IANA time zone database).
    site = Site(latitude=-13.8, longitude=-171.8, timezone="Pacific/Apia")
    with pytest.raises(ValueError, match="2011-12-30 does not exist on the clock of Pacific/Apia"):
        sun_events(site, dt.date(2011, 12, 30))


@pytest.mark.parametrize("step", [dt.timedelta(0), dt.timedelta(minutes=-5), dt.timedelta(days=2)])
def test_a_step_out_of_range_is_refused(step: dt.timedelta) -> None:
    with pytest.raises(ValueError, match="step must be more than 0 and at most 24 h"):
        day_instants(MADRID, dt.date(2026, 6, 21), step)


def test_sunrise_against_pvlib_own_search() -> None:
    # pvlib's own sunrise of the SPA (a general library): seen from the earth's centre, so up to 2 s apart.
    from pvlib.solarposition import sun_rise_set_transit_spa

    for latitude in (-50.0, 0.0, 40.0):
        site = Site(latitude=latitude, longitude=10.0, timezone="Europe/Rome")
        table = sun_rise_set_transit_spa(pd.DatetimeIndex(["2026-05-10"], tz="UTC"), latitude, 10.0)
        events = sun_events(site, dt.date(2026, 5, 10))
        for name in ("sunrise", "sunset", "transit"):
            found = getattr(events, name)
            assert abs((table[name].iloc[0] - pd.Timestamp(found)).total_seconds()) < 2.5


@settings(max_examples=25)
@given(
    latitude=st.floats(-89.0, 89.0),
    longitude=st.floats(-180.0, 180.0),
    date=st.dates(dt.date(2020, 1, 1), dt.date(2035, 12, 31)),
    zone=st.sampled_from(["UTC", "Pacific/Kiritimati", "America/Adak", "Asia/Kolkata"]),
)
def test_every_instant_of_a_day_has_the_sun_up_and_no_other_has(
    latitude: float, longitude: float, date: dt.date, zone: str
) -> None:
    site = Site(latitude=latitude, longitude=longitude, timezone=zone)
    instants = day_instants(site, date, HOUR)
    assert instants == sorted(instants)
    assert all(instant.date() == date for instant in instants)
    start, end = sun_events(site, date).day
    all_hours = [start + count * HOUR for count in range(int((end - start) / HOUR))]
    path = sun_path(site, all_hours)
    clear_of_the_horizon = np.abs(90.0 - path.true_zenith + 0.8333) > 0.01
    up = {hour for hour, lit, clear in zip(all_hours, path.is_up, clear_of_the_horizon, strict=True) if lit and clear}
    down = {hour for hour, lit in zip(all_hours, path.is_up | ~clear_of_the_horizon, strict=True) if not lit}
    found = {instant.astimezone(dt.UTC) for instant in instants}
    assert up <= found
    assert not down & found


def test_a_path_knows_whether_the_sun_is_up() -> None:
    path = SunPath(
        times_utc=np.array(["2026-01-01", "2026-01-01"], dtype="datetime64[ns]"),
        azimuth=np.array([0.0, 0.0]),
        elevation=np.array([-0.3, 0.0]),
        true_zenith=np.array([90.9, 90.6]),
    )
    assert path.is_up.tolist() == [False, True]
