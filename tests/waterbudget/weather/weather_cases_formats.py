"""Hard files, part 6: known open formats and tables turned on their side (invented numbers)."""

from __future__ import annotations

import gzip
import struct

import numpy as np
from weather_building import PLACE, Case, D, expected, hourly, record

DAYS = record(31, D(2025, 1, 1))
Q = ("tmax", "tmin", "rain")
GHCN = expected(DAYS, *Q)
STATION = "ZZ000001234"


def dly(station=STATION, days=DAYS, bad=None, trace=None):
    """Return one month of GHCN-Daily in its fixed-width form."""
    lines = []
    for element, of in (("TMAX", "tmax"), ("TMIN", "tmin"), ("PRCP", "rain")):
        parts = []
        for i, d in enumerate(days):
            value, marks = round(getattr(d, of) * 10), "  H"
            if (element, i) == bad:
                marks = " GH"
            if (element, i) == trace:
                value, marks = 0, "T H"
            parts.append(f"{value:5d}{marks}")
        parts += ["-9999   "] * (31 - len(parts))
        lines.append(f"{station}202501{element}" + "".join(parts))
    return "\n".join(lines) + "\n"


def long_csv(station=STATION, sep=","):
    """Return GHCN-Daily by year: one row a value, no header."""
    return "".join(
        sep.join([station, f"{d.date:%Y%m%d}", e, str(round(getattr(d, q) * 10)), "", "", "H", ""])
        + "\n"
        for d in DAYS
        for e, q in (("TMAX", "tmax"), ("TMIN", "tmin"), ("PRCP", "rain"))
    )


WIDE = (
    '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"\n'
    + "".join(
        f'"{STATION}","{d.date}","-19.9","32.7","1100.0","HILL, ZZ",'
        f'"{round(d.rain * 10):5d}",",,H",'
        f'"{round(d.tmax * 10):5d}",",,H","{round(d.tmin * 10):5d}",",{"G" if i == 3 else ""},H"\n'
        for i, d in enumerate(DAYS)
    )
)
WIDE_METRIC = '"STATION","NAME","DATE","PRCP","TMAX","TMIN"\n' + "".join(
    f'"{STATION}","HILL, ZZ","{d.date}","{d.rain}","{d.tmax}","{d.tmin}"\n' for d in DAYS
)


def isd(zone_hours=2, six=False):
    """Return ISD-Lite: hours in UTC, tenths, -9999 missing."""
    import datetime as dt

    lines = []
    for d in DAYS[:10]:
        total = 0.0
        for m, t, rh, wind, _, rain in hourly(d):
            moment = dt.datetime.combine(d.date, dt.time()) + dt.timedelta(
                minutes=m - zone_hours * 60
            )
            total += rain
            one, sixth = f"{round(rain * 10):d}", "-9999"
            if six:
                one = "-9999"
                if m % 360 == 300:
                    sixth, total = f"{round(total * 10):d}", 0.0
            lines.append(
                f"{moment:%Y %m %d %H}{round(t * 10):6d}{120:6d}{10132:6d}{180:6d}"
                f"{round(wind * 10):6d}{4:6d}{int(one):6d}{int(sixth):6d}"
            )
    return "\n".join(lines) + "\n"


ISD_DAYS = {
    d.date: {"tmax_c": d.tmax, "tmin_c": d.tmin, "u2_m_s": round(d.wind * 10) / 10}
    for d in DAYS[1:9]
}
POWER = (
    "-BEGIN HEADER-\nNASA/POWER daily\nDates (month/day/year): 01/01/2025 through 01/31/2025\n"
    "Location: latitude -19.9 longitude 32.7\nelevation: average 1034.5 meters\n"
    "The value for missing source data that cannot be computed or is outside of the sources "
    "availability range: -999\nparameter(s):\n"
    "T2M_MAX               MERRA-2 Temperature at 2 Meters Maximum (C)\n"
    "T2M_MIN               MERRA-2 Temperature at 2 Meters Minimum (C)\n"
    "T2M_RANGE             MERRA-2 Temperature at 2 Meters Range (C)\n"
    "RH2M                  MERRA-2 Relative Humidity at 2 Meters (%)\n"
    "WS2M                  MERRA-2 Wind Speed at 2 Meters (m/s)\n"
    "WS10M                 MERRA-2 Wind Speed at 10 Meters (m/s)\n"
    "ALLSKY_SFC_SW_DWN     CERES SYN1deg All Sky Surface Shortwave Downward Irradiance "
    "(MJ/m^2/day)\n"
    "PRECTOTCORR           MERRA-2 Precipitation Corrected (mm/day)\n-END HEADER-\n"
    "YEAR,MO,DY,T2M_MAX,T2M_MIN,T2M_RANGE,RH2M,WS2M,WS10M,ALLSKY_SFC_SW_DWN,PRECTOTCORR\n"
    + "".join(
        f"{d.date.year},{d.date.month},{d.date.day},{d.tmax},{d.tmin},{d.tmax - d.tmin:.1f},"
        f"{d.rh_max},"
        f"{d.wind},{d.wind * 1.3:.2f},{-999.0 if i > 28 else d.rs},{d.rain}\n"
        for i, d in enumerate(DAYS)
    )
)
POWER_DOY = POWER.replace("YEAR,MO,DY,", "YEAR,DOY,")
POWER_DOY = "\n".join(
    x.replace("2025,1,", "2025,", 1) if x.startswith("2025,1,") else x
    for x in POWER_DOY.split("\n")
)


def epw():
    """Return an EPW weather file of some days."""
    head = ["LOCATION,Hill,Z,ZZZ,made,999999,-19.90,32.70,2.0,1100.0", "DESIGN CONDITIONS,0",
            "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0",
            "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
            "COMMENTS 1,made", "COMMENTS 2,made",
            "DATA PERIODS,1,1,Data,Wednesday, 1/ 1, 1/10"]  # fmt: skip
    lines = []
    for d in DAYS[:10]:
        for m, t, rh, wind, light, rain in hourly(d):
            cells = [""] * 35
            cells[:6] = [
                str(d.date.year),
                str(d.date.month),
                str(d.date.day),
                str(m // 60 + 1),
                "60",
                "A7",
            ]
            cells[6], cells[7], cells[8], cells[9] = f"{t:.3f}", "99.9", f"{rh:.3f}", "89000"
            cells[13], cells[21], cells[33] = f"{light:.3f}", f"{wind:.3f}", f"{rain:.4f}"
            for i in (
                10,
                11,
                12,
                14,
                15,
                16,
                17,
                18,
                19,
                20,
                22,
                23,
                24,
                25,
                26,
                27,
                28,
                29,
                30,
                31,
                32,
                34,
            ):
                cells[i] = "9999"
            lines.append(",".join(cells))
    return "\n".join([*head, *lines]) + "\n"


def _name(text):
    raw = text.encode()
    return struct.pack(">i", len(raw)) + raw + b"\x00" * (-len(raw) % 4)


def _attrs(pairs):
    if not pairs:
        return b"\x00" * 8
    out = struct.pack(">ii", 12, len(pairs))
    for key, value in pairs.items():
        if isinstance(value, str):
            out += _name(key) + struct.pack(">i", 2) + _name(value)
        else:
            out += _name(key) + struct.pack(">iif", 5, 1, value)
    return out


def netcdf(stations=1, units="days since 2024-12-31", calendar="standard"):
    """Return a classic NetCDF file written byte by byte."""
    n = len(DAYS)
    dims = [("time", n), ("station", stations)]
    variables = [("time", [0], {"units": units, "calendar": calendar, "standard_name": "time"},
                  np.arange(1, n + 1, dtype=">f8"))]  # fmt: skip
    for name, of, attrs in (
        ("tx", "tmax", {"standard_name": "air_temperature", "units": "K",
                        "cell_methods": "time: maximum"}),
        ("tn", "tmin", {"standard_name": "air_temperature", "units": "K",
                        "cell_methods": "time: minimum"}),
        ("pr", "rain", {"standard_name": "precipitation_flux", "units": "kg m-2 s-1",
                        "_FillValue": 1e20}),
        ("rsds", "rs", {"standard_name": "surface_downwelling_shortwave_flux_in_air",
                        "units": "W m-2"}),
    ):  # fmt: skip
        v = np.array([getattr(d, of) for d in DAYS])
        v = v + 273.15 if of[0] == "t" else v / 86400 if of == "rain" else v / 0.0864
        if of == "rain":
            v[7] = 1e20
        v = np.stack([v + s for s in range(stations)], axis=1).astype(">f4")
        variables.append((name, [0, 1], attrs, v))
    head = b"CDF\x01" + struct.pack(">i", 0)
    head += struct.pack(">ii", 10, len(dims)) + b"".join(
        _name(k) + struct.pack(">i", v) for k, v in dims
    )
    head += _attrs({"Conventions": "CF-1.8"})

    def body(begin):
        out = struct.pack(">ii", 11, len(variables))
        for name, ids, attrs, values in variables:
            out += (
                _name(name)
                + struct.pack(">i", len(ids))
                + b"".join(struct.pack(">i", i) for i in ids)
            )
            kind = 6 if values.dtype == ">f8" else 5
            out += _attrs(attrs) + struct.pack(">iii", kind, values.nbytes, begin)
            begin += values.nbytes
        return out

    start = len(head) + len(body(0))
    return head + body(start) + b"".join(v.tobytes() for *_, v in variables)


CF = expected(DAYS, "tmax", "tmin", "rain", "rs")
CF[DAYS[7].date]["rain_mm"] = None
TIDY = "date,parameter,value,unit\n" + "".join(
    f"{d.date},{p},{getattr(d, q)},{u}\n"
    for d in DAYS
    for p, q, u in (("Tmax", "tmax", "C"), ("Tmin", "tmin", "C"), ("Rain", "rain", "mm"))
)
HEIGHT = {**PLACE, "wind_height_m": 2.0}
ZONE = {**HEIGHT, "time_zone": "+02:00"}
BAD = expected(DAYS, *Q)
BAD[DAYS[3].date]["tmin_c"] = None

CASES = [
    Case("ghcn_dly", dly(), PLACE, GHCN, 31, gaps=0),
    Case(
        "ghcn_dly_marks",
        dly(bad=("TMIN", 3), trace=("PRCP", 0)),
        PLACE,
        {DAYS[3].date: {"tmin_c": None, "tmax_c": DAYS[3].tmax}, DAYS[0].date: {"rain_mm": 0.0}},
        31,
        flags={(DAYS[3].date, "unreadable"), (DAYS[0].date, "trace")},
    ),
    Case(
        "ghcn_dly_two_stations",
        dly() + dly("ZZ000009999"),
        PLACE,
        asks={"which_station": (STATION, "ZZ000009999")},
    ),
    Case("ghcn_long", long_csv(), PLACE, GHCN, 31),
    Case("ghcn_long_gz", gzip.compress(long_csv().encode()), PLACE, GHCN, 31),
    Case("ghcn_wide_tenths", WIDE, PLACE, BAD, 31, flags={(DAYS[3].date, "unreadable")}),
    Case("ghcn_wide_metric", WIDE_METRIC, PLACE, GHCN, 31, notes={"unit_taken"}),
    Case("isd_lite", isd(), ZONE, ISD_DAYS, tolerance=0.06),
    Case(
        "isd_lite_trace",
        isd().replace(f"{0:6d}{-9999:6d}\n", f"{-1:6d}{-9999:6d}\n", 40),
        ZONE,
        {DAYS[1].date: {"rain_mm": DAYS[1].rain}},
        tolerance=0.2,
        flags={(DAYS[0].date, "trace"), (DAYS[1].date, "trace")},
    ),
    Case("isd_lite_asks", isd(), PLACE, asks={"time_zone": None, "wind_height_m": None}),
    Case(
        "isd_lite_rain_of_six_hours",
        isd(six=True),
        ZONE,
        {d.date: {"rain_mm": d.rain} for d in DAYS[1:9]},
        tolerance=0.2,
        notes={"six_hours"},
        only_flags=False,
    ),
    Case(
        "nasa_power",
        POWER,
        PLACE,
        {
            **{
                d.date: {
                    "tmax_c": d.tmax,
                    "tmin_c": d.tmin,
                    "rh_mean": d.rh_max,
                    "u2_m_s": d.wind,
                    "rs_mj": d.rs,
                    "rain_mm": d.rain,
                }
                for d in DAYS[:29]
            },
            DAYS[30].date: {"rs_mj": None},
        },
        31,
        notes={"nearest_wind"},
    ),
    Case(
        "nasa_power_day_of_year",
        POWER_DOY,
        PLACE,
        expected(DAYS[:29], "tmax", "tmin", "rain", "rs"),
        31,
    ),
    Case(
        "epw",
        epw(),
        HEIGHT,
        {
            d.date: {
                "tmax_c": d.tmax,
                "tmin_c": d.tmin,
                "rs_mj": d.rs,
                "rain_mm": d.rain,
                "u2_m_s": d.wind,
                "ea_kpa": None,
            }
            for d in DAYS[:10]
        },
        10,
        tolerance=0.002,
    ),
    Case("cf_netcdf", netcdf(), PLACE, CF, 31, tolerance=1e-3),
    Case(
        "cf_netcdf_two_stations",
        netcdf(2),
        PLACE,
        asks={"which_station": ("station 1", "station 2")},
    ),
    Case(
        "cf_netcdf_other_calendar", netcdf(calendar="360_day"), PLACE, refused="weather.netcdf_time"
    ),
    Case("cf_netcdf_broken", netcdf()[:300], PLACE, refused="weather.netcdf_broken"),
    Case("netcdf_4", b"\x89HDF\r\n\x1a\n" + bytes(500), PLACE, refused="weather.netcdf4"),
    Case("one_row_a_value", TIDY, PLACE, GHCN, 31),
]
