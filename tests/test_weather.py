"""Skies and weather files. The files here are invented; two yearly sums come from open data that pvlib ships."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pvlib
import pytest

from raytrace.arrays import Floats
from tracking.errors import InputError
from tracking.sky.site import Site
from tracking.sky.sunpath import SunPath, sun_path
from tracking.sky.weather import (
    Sky,
    climatological_turbidity,
    direct_normal_irradiance,
    read_weather,
)

SITE = Site(latitude=36.1, longitude=-79.95, altitude=273.0, timezone="America/New_York")
OPEN_DATA = Path(pvlib.__file__).parent / "data"
Hours = list[tuple[dt.datetime, float, float]]


def year_of_hours() -> Hours:
    """Start of each hour of 2026 on the file's clock, DNI = day of the year + hour / 100 [W/m2], 20 degC."""
    start = dt.datetime(2026, 1, 1)  # noqa: DTZ001  # the standard time of the file, whatever that is
    hours = [start + dt.timedelta(hours=count) for count in range(8760)]
    return [(hour, hour.timetuple().tm_yday + hour.hour / 100.0, 20.0) for hour in hours]


def write_epw(path: Path, hours: Hours) -> Path:
    header = "LOCATION,Inventtown,NA,Nowhere,invented,000000,36.1,-79.95,-5.0,273.0"
    lines = [header, *["FILLER"] * 7]
    for start, dni, warmth in hours:
        cells = ["0"] * 35
        cells[0:6] = [str(start.year), str(start.month), str(start.day), str(start.hour + 1), "60", "?"]
        cells[6], cells[14] = f"{warmth:g}", f"{dni:.2f}"
        lines.append(",".join(cells))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_tmy3(path: Path, hours: Hours) -> Path:
    lines = ['000000,"INVENTTOWN",NA,-5.0,36.100,-79.950,273']
    lines.append("Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),DNI (W/m^2),DHI (W/m^2),Dry-bulb (C)")
    lines += [f"{start:%m/%d/%Y},{start.hour + 1:02d}:00,0,{dni:.2f},0,{warmth:g}" for start, dni, warmth in hours]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_csv(path: Path, hours: Hours) -> Path:
    lines = ["# an invented year", "time_local,dni_w_m2,air_temperature_c"]
    lines += [
        f"{(start + dt.timedelta(hours=1)).isoformat()}-05:00,{dni:.2f},{warmth:g}" for start, dni, warmth in hours
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


WRITERS = {"EPW": write_epw, "TMY3": write_tmy3, "CSV": write_csv}
by_format = pytest.mark.parametrize("writer", WRITERS.values(), ids=WRITERS.keys())


def at(*instants: dt.datetime) -> SunPath:
    return sun_path(SITE, instants)


def utc(month: int, day: int, hour: int, minute: int = 0) -> dt.datetime:
    return dt.datetime(2026, month, day, hour, minute, tzinfo=dt.UTC)


def dni_of(path: Path, sun: SunPath) -> Floats:
    return direct_normal_irradiance(Sky(source="file", file=path), SITE, sun)


@by_format
def test_an_instant_takes_the_hour_that_contains_it(writer: Callable[[Path, Hours], Path], tmp_path: Path) -> None:
    path = writer(tmp_path / "weather", year_of_hours())
    # 21 June is day 172. 17:00 UTC is 12:00 in the file's standard time, whatever the clock of the site says in summer.
    found = dni_of(path, at(utc(6, 21, 17), utc(6, 21, 17, 59), utc(6, 21, 18), utc(1, 1, 15, 30)))
    assert found == pytest.approx([172.12, 172.12, 172.13, 1.10])


@by_format
def test_night_is_0_and_never_a_gap(writer: Callable[[Path, Hours], Path], tmp_path: Path) -> None:
    path = writer(tmp_path / "weather", [hour for hour in year_of_hours() if 5 <= hour[0].hour < 21])
    assert dni_of(path, at(utc(6, 21, 5), utc(6, 21, 17))) == pytest.approx([0.0, 172.12])


@by_format
def test_gaps_are_named_never_filled(writer: Callable[[Path, Hours], Path], tmp_path: Path) -> None:
    def damaged(hour: tuple[dt.datetime, float, float]) -> tuple[dt.datetime, float, float]:
        start, _, warmth = hour
        fills = {(6, 22, 9): float("nan"), (6, 22, 10): 9999.0, (6, 22, 11): -9900.0}
        return start, fills.get((start.month, start.day, start.hour), hour[1]), warmth

    hours = [damaged(hour) for hour in year_of_hours() if (hour[0].month, hour[0].day, hour[0].hour) != (6, 22, 12)]
    path = writer(tmp_path / "weather", hours)
    weather = read_weather(path)
    assert weather.gaps == ("22 June 09:00 to 13:00",)
    assert "4 of 8784 hours" in weather.notes[-1]
    sun = at(utc(6, 22, 13, 30), utc(6, 22, 14, 30), utc(6, 22, 16, 30), utc(6, 22, 19))
    assert weather.lacks_dni(sun.times_utc).tolist() == [False, True, True, False]
    with pytest.raises(InputError) as error:
        dni_of(path, sun)
    message = str(error.value)
    assert message.startswith(f"{path}: [sky] file: has no direct normal irradiance for 2 of the hours asked for: ")
    assert "22 June 09:00 to 10:00; 22 June 11:00 to 12:00 (clock of the file, UTC" in message
    assert "Gaps are not filled" in message
    day_before = at(utc(6, 21, 17))
    assert dni_of(path, day_before) == pytest.approx([172.12])


@by_format
def test_air_temperature_is_kept_with_its_own_gaps(writer: Callable[[Path, Hours], Path], tmp_path: Path) -> None:
    hours = [(start, dni, 99.9 if start.hour == 12 else 7.5) for start, dni, _ in year_of_hours()]
    weather = read_weather(writer(tmp_path / "weather", hours))
    assert weather.air_temperature_at(at(utc(6, 21, 16)).times_utc) == pytest.approx([7.5])
    with pytest.raises(InputError, match="has no air temperature for 1 of the hours asked for: 21 June 12:00 to 13:00"):
        weather.air_temperature_at(at(utc(6, 21, 17)).times_utc)
    assert np.isfinite(weather.air_temperature).all()
    assert np.isfinite(weather.dni).all()


@by_format
def test_the_29th_of_february_takes_the_28th(writer: Callable[[Path, Hours], Path], tmp_path: Path) -> None:
    weather = read_weather(writer(tmp_path / "weather", year_of_hours()))
    leap_day = np.array(["2028-02-29T17:00", "2028-03-01T17:00"], dtype="datetime64[ns]")
    assert weather.dni_at(leap_day) == pytest.approx([59.12, 60.12])
    assert weather.notes == ("29 February takes the hours of 28 February: the file has no leap day.",)


def test_the_last_hour_of_february_in_a_leap_year_stays_there(tmp_path: Path) -> None:
    hours = [(start.replace(year=2000), dni, warmth) for start, dni, warmth in year_of_hours()]
    weather = read_weather(write_tmy3(tmp_path / "leap.csv", hours))
    assert weather.gaps == ()
    last_hour = np.array(["2027-03-01T04:30"], dtype="datetime64[ns]")
    assert weather.dni_at(last_hour) == pytest.approx([59.23])


@by_format
def test_an_hour_that_stands_twice_is_refused(writer: Callable[[Path, Hours], Path], tmp_path: Path) -> None:
    hours = year_of_hours()
    path = writer(tmp_path / "weather", [*hours[:5000], hours[4999], *hours[5000:]])
    with pytest.raises(InputError, match=r"July .* twice.* the file has 8761 lines"):
        read_weather(path)


@pytest.mark.parametrize(
    ("name", "place", "offset", "kwh", "most"),
    [("703165TY.csv", "SAND POINT", -9.0, 819.209, 943.0), ("723170TYA.CSV", "GREENSBORO", -5.0, 1476.549, 984.0)],
)
def test_yearly_sums_of_open_tmy3_data(name: str, place: str, offset: float, kwh: float, most: float) -> None:
    # Typical years of NREL's National Solar Radiation Database as shipped with pvlib; sums computed from the open
    # data, 8760 hours [kWh/m2].
    weather = read_weather(OPEN_DATA / name)
    whole_year = np.arange("2026-01-01T00:30", "2027-01-01T00:30", np.timedelta64(1, "h"), dtype="datetime64[ns]")
    dni = weather.dni_at(whole_year)
    assert len(dni) == 8760
    assert dni.sum() / 1e3 == pytest.approx(kwh, abs=1e-3)
    assert dni.max() == most
    assert weather.place.startswith(place)
    assert (weather.file_format, weather.utc_offset) == ("TMY3", offset)


def test_hours_of_open_data_lie_symmetric_about_true_noon() -> None:
    # A check on the stamps: over a year the beam's centre of gravity in true solar time is near noon. Read half an hour
    # early or late it would miss by 30 min; clouds of the afternoon shift it by some minutes.
    weather = read_weather(OPEN_DATA / "723170TYA.CSV")
    middles = np.arange("2026-01-01T00:30", "2027-01-01T00:30", np.timedelta64(1, "h"), dtype="datetime64[ns]")
    dni = weather.dni_at(middles)
    hour = (middles - middles.astype("datetime64[D]")).astype("timedelta64[m]").astype(np.float64) / 60.0
    solar = (hour - 79.95 / 15.0) % 24.0
    assert np.average(solar, weights=dni) == pytest.approx(12.0, abs=0.3)


def test_tmy2(tmp_path: Path) -> None:
    # Two rows in the fixed columns of TMY2 (Marion and Urban, User's Manual for TMY2s, NREL, 1995), invented values:
    # 1 June, hours ending 12 and 13, DNI 700 and 9999 (missing), 21.5 degC.
    head = " 00000 INVENTTOWN             NA  -5 N 36  6 W  79 57   273"

    def row(hour: int, dni: int) -> str:
        solar = f"100013000700E4{dni:04d}E40100E4" + "0000?0" * 4
        met = "05A705A70215A70150A7073A71017A7158A7067A70161A777777A70999999999013F8062F8000A788E7"
        return f" 620601{hour:02d}{solar}{met}"

    assert len(row(12, 700)) == 142
    path = tmp_path / "invented.tm2"
    path.write_text("\n".join([head, row(12, 700), row(13, 9999)]) + "\n", encoding="ascii")
    weather = read_weather(path)
    assert (weather.file_format, weather.place, weather.utc_offset) == ("TMY2", "INVENTTOWN", -5.0)
    assert (weather.latitude, weather.longitude) == pytest.approx((36.1, -79.95))
    noon = at(utc(6, 1, 16, 30)).times_utc
    assert weather.dni_at(noon) == pytest.approx([700.0])
    assert weather.air_temperature_at(noon) == pytest.approx([21.5])
    assert weather.lacks_dni(at(utc(6, 1, 17, 30)).times_utc).all()


def test_csv_in_utc_and_half_hour_zones(tmp_path: Path) -> None:
    path = tmp_path / "utc.csv"
    path.write_text("time_utc,dni_w_m2\n2026-06-21T17:00:00Z,700\n2026-06-21T18:00:00,710\n", encoding="utf-8")
    assert dni_of(path, at(utc(6, 21, 16), utc(6, 21, 17, 30))) == pytest.approx([700.0, 710.0])
    path.write_text(
        "time_local,dni_w_m2\n2026-06-21T12:00:00+05:30,700\n2026-06-21T13:00:00+05:30,710\n", encoding="utf-8"
    )
    weather = read_weather(path)
    times = np.array(["2026-06-21T06:29", "2026-06-21T06:30", "2026-06-21T07:29"], dtype="datetime64[ns]")
    assert weather.dni_at(times) == pytest.approx([700.0, 710.0, 710.0])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is no weather file of a known format"),
        ("a,b\n1,2\n", r"is no weather file of a known format\. EPW, TMY3, TMY2, or CSV with the columns"),
        ("time_utc,ghi\n2026-06-21T17:00Z,1\n", "dni_w_m2: the column is missing"),
        ("time_utc,dni_w_m2\n", "holds no hours at all"),
        ("time_utc,dni_w_m2\n2026-06-21T17:00Z,850,5\n", r"line 2: has 3 cells where .* write 850\.5, not 850,5"),
        ("time_utc,dni_w_m2\n21.06.2026 17:00,850\n", "time_utc: line 2: '21.06.2026 17:00' is no time of this kind"),
        ("time_utc,dni_w_m2\n2026-06-21T17:00+02:00,850\n", "is no time of this kind. ISO 8601 in UTC"),
        ("time_local,dni_w_m2\n2026-06-21T17:00,850\n", "time_local: line 2: .* with its offset from UTC"),
        ("time_utc,dni_w_m2\n2026-06-21T17:00Z,lots\n", "dni_w_m2: line 2: 'lots' is no number"),
        ("time_utc,dni_w_m2\n2026-06-21T17:00Z,1\n2026-06-21T17:30Z,1\n", "the times are not whole hours apart"),
        ("LOCATION,broken\n", "looks like EPW but cannot be read as such"),
        ("x\nDate (MM/DD/YYYY),Time (HH:MM)\n1,2\n", "looks like TMY3 but cannot be read as such"),
        ("\x00\x01\x02", "is no weather file of a known format"),
    ],
)
def test_a_wrong_file_gets_one_clear_message(text: str, message: str, tmp_path: Path) -> None:
    path = tmp_path / "wrong.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=message) as error:
        read_weather(path)
    assert str(path) in str(error.value)
    assert "\n" not in str(error.value)


def test_a_file_that_is_not_there_or_not_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nothing\.epw: \[sky\] file: cannot be read \(No such file or directory\)"):
        read_weather(tmp_path / "nothing.epw")
    with pytest.raises(InputError, match="cannot be read"):
        read_weather(tmp_path)
    binary = tmp_path / "binary.epw"
    binary.write_bytes(bytes(range(256)) * 10)
    with pytest.raises(InputError, match="no weather file"):
        read_weather(binary)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"source": "cloudy"}, r"Sky\.source must be 'clear' or 'constant' or 'file', got 'cloudy'\."),
        ({"source": "constant"}, r"Sky\.dni must be given"),
        ({"source": "file"}, r"Sky\.file must be given"),
        ({"turbidity": 0.5}, r"Sky\.turbidity must lie between 1 and 20, got 0\.5\."),
        ({"dni": 2000.0}, r"Sky\.dni must lie between 0 and 1420 W/m\^2, got 2000\.0 W/m\^2"),
        ({"dni": float("nan")}, r"Sky\.dni must lie between"),
    ],
)
def test_a_wrong_sky_says_what_is_allowed(values: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Sky(**values)  # type: ignore[arg-type]


def test_clear_and_constant_skies_are_dark_at_night() -> None:
    sun = at(*(utc(6, 21, hour) for hour in range(24)))
    clear = direct_normal_irradiance(Sky(), SITE, sun)
    constant = direct_normal_irradiance(Sky(source="constant", dni=850.0), SITE, sun)
    assert (clear[sun.elevation <= 0.0] == 0.0).all()
    assert (clear[sun.elevation > 0.0] > 0.0).all()
    assert set(constant.tolist()) == {0.0, 850.0}
    assert ((constant > 0.0) == sun.is_up).all()
    assert np.isfinite(clear).all()


def test_a_clear_sky_is_brighter_higher_up_and_with_less_turbidity() -> None:
    sun = at(utc(6, 21, 17))
    mountain = Site(latitude=36.1, longitude=-79.95, altitude=2500.0, timezone="America/New_York")
    turbid, clean = (direct_normal_irradiance(Sky(turbidity=value), SITE, sun)[0] for value in (5.0, 2.0))
    assert turbid < clean < direct_normal_irradiance(Sky(turbidity=2.0), mountain, sun)[0] < 1361.0


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")
def test_turbidity_between_months_is_that_of_pvlib() -> None:
    # pvlib interpolates between the same maps from day to day: a regression value. Ours takes the hour too: 0.02.
    import pandas as pd
    from pvlib.clearsky import lookup_linke_turbidity

    days = pd.date_range("2026-01-01 12:00", periods=365, freq="D", tz="UTC")
    reference = lookup_linke_turbidity(days, SITE.latitude, SITE.longitude).to_numpy()
    assert climatological_turbidity(SITE, np.arange(1.5, 366.0)) == pytest.approx(reference, abs=0.02)


@pytest.mark.parametrize(("latitude", "longitude"), [(90.0, 180.0), (-90.0, -180.0), (0.0, 180.0), (0.0, -180.0)])
def test_a_clear_sky_at_the_corners_of_the_map(latitude: float, longitude: float) -> None:
    site = Site(latitude=latitude, longitude=longitude, timezone="UTC")
    sun = sun_path(site, [utc(month, 20, 0) for month in range(1, 13)])
    assert np.isfinite(direct_normal_irradiance(Sky(), site, sun)).all()


def test_csv_with_daylight_saving_is_read_on_its_standard_time(tmp_path: Path) -> None:
    path = tmp_path / "local.csv"
    path.write_text(
        "time_local,dni_w_m2\n2026-01-21T13:00:00-05:00,600\n2026-06-21T13:00:00-04:00,700\n", encoding="utf-8"
    )
    weather = read_weather(path)
    assert weather.utc_offset == -5.0
    assert weather.dni_at(at(utc(1, 21, 17, 30), utc(6, 21, 16, 30)).times_utc) == pytest.approx([600.0, 700.0])
