"""Hard files, part 7: layouts that look harmless and would be read wrongly by a hasty reader."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from weather_building import (
    COLUMNS,
    HEADER,
    ISO,
    ONE,
    PLACE,
    Case,
    D,
    expected,
    fixed,
    record,
    table,
)
from weather_cases_subdaily import HEADER as HOURLY
from weather_cases_subdaily import PLAIN, render, rows

DAYS = record()
Q = ("tmax", "tmin", "rain")
H = ("Tmax (C)", "Tmin (C)", "Rain (mm)")
C = [COLUMNS["tmax"], COLUMNS["tmin"], COLUMNS["rain"]]
BASE = expected(DAYS, *Q)
TWELVE = record(12)
LONG = record(60, D(2025, 1, 3))


def clock(hours):
    """Write hours as hours and minutes."""
    return f"{int(hours)}:{int(hours % 1 * 60):02d}"


def spreadsheet_turned(d):
    """Write a day as a spreadsheet set to the other order keeps it."""
    day = d.date
    if day.day <= 12:
        day = D(day.year, day.day, day.month)
    return day.isoformat()


LOGGER = (
    '"File kind","Logger 7"\n"TIMESTAMP","RECORD","AirTC_Max","AirTC_Min","Rain_mm_Tot"\n'
    '"TS","RN","Deg C","Deg C","mm"\n"","","Max","Min","Tot"\n'
    + "".join(
        f'"{d.date + ONE} 00:00:00",{i},{d.tmax},{d.tmin},{d.rain}\n' for i, d in enumerate(DAYS)
    )
)
CONSOLE_NAMES = [
    "Date", "Time", "Temp Out", "Hi Temp", "Low Temp", "Out Hum", "In Temp", "In Hum",
    "Wind Speed", "Wind Dir", "Wind Run", "Hi Speed", "Wind Chill", "Heat Index", "Barometer",
    "Rain", "Rain Rate", "Solar Rad.", "Hi Solar Rad.", "Degree days (heating)", "Wind samples",
]  # fmt: skip
CONSOLE_UNITS = [
    "", "", "C", "C", "C", "%", "C", "%", "km/h", "", "km", "km/h", "C", "C", "hPa", "mm", "mm/h",
    "W/m2", "W/m2", "", "",
]  # fmt: skip
CONSOLE = "\n".join(
    ["\t".join(CONSOLE_NAMES), "\t".join(CONSOLE_UNITS)]
    + [
        "\t".join(
            [f"{t:%d/%m/%y}", f"{t:%I:%M}{'a' if t.hour < 12 else 'p'}", *[f"{a:.2f}"] * 3,
             f"{b:.2f}", "24.0", "55", f"{c * 3.6:.3f}", "NW", f"{c * 3.6:.2f}", "30.1", f"{a:.1f}",
             f"{a:.1f}", "1012.0", f"{e:.4f}", "9.9", f"{d:.3f}", "1100", "0.1", "330"]
        )
        for t, a, b, c, d, e in rows()
    ]
) + "\n"  # fmt: skip
RATE = render(rows(step=15), header=HOURLY.replace("Rain (mm)", "Rain (mm/h)"))
RATE_QUARTERS = {d.date: {"rain_mm": d.rain / 4, "tmax_c": d.tmax} for d in TWELVE}
A_DAY = render(rows(), header=HOURLY.replace("Rain (mm)", "Rain (mm/day)"))
DAY_PART = (
    "\n".join(
        ["Date,Time,Temp (C),Rain (mm)"]
        + [
            f"{t:%Y-%m-%d},{(t.hour * 60 + t.minute) / 1440:.6f},{a:.3f},{e:.4f}"
            for t, a, _, _, _, e in rows()
        ]
    )
    + "\n"
)
BLANK_RAIN = table(
    DAYS, ("Date", *H), [ISO, C[0], C[1], lambda d: fixed(d.rain) if d.rain else "-"]
)
SUN_CLOCK = table(DAYS, ("Date", "Tmax (C)", "Sunshine (hours)"),
                  [ISO, C[0], lambda d: clock(d.rs / 2.6)])  # fmt: skip
SUN_PERCENT = table(DAYS, ("Date", "Tmax (C)", "Sunshine (%)"), [ISO, C[0], lambda d: "71"])
TWO_TEMPS = table(DAYS, ("Date", "Temp", "Temp", "Rain (mm)"), [ISO, *C])
LETTERS = table(DAYS, ("Date", "Tmax (C)", "Tmin (C)", "P"), [ISO, *C])
MOJIBAKE = table(DAYS, ("Fecha", "Temperatura m\u00c3\u00a1xima (\u00c2\u00b0C)",
                 "Temperatura m\u00c3\u00adnima (\u00c2\u00b0C)", "Lluvia (mm)"),
                 [ISO, *C])  # fmt: skip
DOS = table(DAYS, ("Fecha", "Temperatura máxima (°C)", "Temperatura mínima (°C)", "Lluvia (mm)"),
            [ISO, *C]).encode("cp850")  # fmt: skip
ZEROS = [replace(d, tmax=0.0, tmin=0.0) if i == 6 else d for i, d in enumerate(DAYS)]
ZERO_DAYS = expected(DAYS)
ZERO_DAYS[DAYS[6].date].update(tmax_c=None, tmin_c=None)
ID_COLUMN = table(DAYS, ("ID", "Date", *H), [lambda d: str(DAYS.index(d) + 1), ISO, *C])
GAUGE = table(DAYS, ("Date", "Tmax (C)", "Gauge reading (mm)"), [ISO, C[0], C[2]])
REMARKS = table(
    DAYS, ("Date", *H, "Remarks"), [ISO, *C, lambda d: "calm morning" if d.rain else ""]
)
REMARK_COMMA = REMARKS.replace("calm morning", "calm, later wind", 1)
SUBTOTALS = (
    "\n".join(
        ["Date,Tmax (C),Tmin (C),Rain (mm)"]
        + [x for i, x in enumerate(table(DAYS, None, [ISO, *C]).splitlines()) if i < 10]
        + ["Total of the ten days,,,41.5"]
        + [x for i, x in enumerate(table(DAYS, None, [ISO, *C]).splitlines()) if i >= 10]
    )
    + "\n"
)
NO_HEADER_PARTS = table(DAYS, None, [lambda d: f"{d.date:%Y,%m,%d}", *C])
T_IN_TEMPERATURE = table(DAYS, ("Date", *H), [ISO, *C]).replace(
    f"{DAYS[3].date},{DAYS[3].tmax}", f"{DAYS[3].date},T")  # fmt: skip
T_DAYS = expected(DAYS, *Q)
T_DAYS[DAYS[3].date]["tmax_c"] = None
DEGREE_CELLS = table(DAYS, ("Date", "Tmax", "Tmin", "Rain (mm)"),
                     [ISO, lambda d: f"{d.tmax}°", lambda d: f"{d.tmin}º", C[2]])  # fmt: skip
DST_UTC = rows(record(5, D(2025, 10, 24)))
NOON = dt.timedelta(hours=12)
MINIMAL = "Date,Rain (mm)\n2025-01-01,3.4\n"
MATRIX = "Day,Jan,Feb,Mar\n" + "".join(
    f"{i},{i * 0.3:.1f},0.0,{i * 0.1:.1f}\n" for i in range(1, 29)
)
INDEX_AHEAD = "Date,Tmax (C),Rain (mm)\n" + "".join(
    f"{i},{d.date},{d.tmax},{d.rain}\n" for i, d in enumerate(DAYS, 1)
)
BASIC = render(rows(), lambda t: t.strftime("%Y%m%dT%H%M"))
NIGHT_BLANK = "\n".join(
    ["Time,Temp (C),Solar (W/m2),Rain (mm)"]
    + [
        f"{PLAIN(t)},{a:.3f},{f'{d:.3f}' if 5 < t.hour < 19 else ''},{e:.4f}"
        for t, a, _, _, d, e in rows()
    ]
)
EVENING_LOST = "\n".join(
    ["Time,Temp (C),Solar (W/m2),Rain (mm)"]
    + [
        f"{PLAIN(t)},{a:.3f},{f'{d:.3f}' if 5 < t.hour < 16 else ''},{e:.4f}"
        for t, a, _, _, d, e in rows()
    ]
)
GROUPED_UNITS = "Date,Air temperature,,Rain\n,Max (C),Min (C),(mm)\n" + table(DAYS, None, [ISO, *C])
SOIL_GROUP = GROUPED_UNITS.replace("Air temperature", "Soil temperature")
SLASHED = table(DAYS, ("Fecha", "Tmax/C", "Tmin/C", "Precip./mm"), [ISO, *C])
SPANISH_HOURS = "\n".join(
    ["Fecha,Hora,T (ºC),P (mm)"]
    + [f"{t:%d/%m/%Y},{t.hour + 1},{a:.3f},{e:.4f}" for t, a, _, _, _, e in rows()]
)
STATS_STYLE = '"date" "tmax_c" "tmin_c" "rain_mm"\n' + "".join(
    f'"{i}" "{d.date}" {d.tmax} {d.tmin} {d.rain}\n' for i, d in enumerate(DAYS, 1)
)
WEEKS = "Date,Rain (mm)\n" + "".join(
    f"{D(2025, 1, 6) + i * 7 * ONE},{i * 3.1:.1f}\n" for i in range(12)
)
SPARSE = "Date,Tmax (C),Tmin (C),Rain (mm)\n" + "".join(
    f"{text},29.{i},17.{i},{i}.0\n"
    for i, text in enumerate(["01/02/2025", "05/02/2025", "03/05/2025", "09/06/2025", "04/07/2025"])
)
THREE_DECIMALS = table(
    DAYS,
    ("Fecha", "Tmax (C)", "Viento 2 m (m/s)"),
    [ISO, lambda d: fixed(d.tmax).replace(".", ","), lambda d: f"{d.wind:.3f}".replace(".", ",")],
    ";",
)
THOUSANDS_ONLY = table(
    DAYS,
    ("Date", "Tmax (C)", "Solar (kJ/m2)"),
    [ISO, COLUMNS["tmax"], lambda d: f"{d.rs * 1000:,.0f}"],
    ";",
)
STRAY_QUOTE = table(DAYS, ("Date", "Tmax (C)", "Tmin (C)", 'Rain 8" gauge (mm)'), [ISO, *C])
CONCATENATED = table(DAYS[:12], HEADER) + "\ufeff" + table(DAYS[12:], HEADER)
NULS = table(DAYS).replace("2025-01-20", "\x00\x00\x002025-01-20")
HOT_PLACE = [replace(d, tmax=d.tmax + 14.0) for d in DAYS]

CASES = [
    Case(
        "turned_by_a_spreadsheet",
        table(LONG, ("Date", *H), [spreadsheet_turned, *C]),
        PLACE,
        refused="weather.swapped_dates",
    ),
    Case("logger_day_stamped_next_morning_asks", LOGGER, PLACE, asks={"stamp": ("start", "end")}),
    Case(
        "logger_day_stamped_next_morning",
        LOGGER,
        {**PLACE, "answers": {"stamp": "end"}},
        BASE,
        len(DAYS),
    ),
    Case(
        "console_export",
        CONSOLE,
        {**PLACE, "wind_height_m": 2.0},
        expected(TWELVE),
        12,
        tolerance=0.01,
        notes={"ignored"},
    ),
    Case("rain_rate_of_quarter_hours", RATE, PLACE, RATE_QUARTERS, 12, tolerance=0.002),
    Case(
        "hourly_rain_per_day_asks",
        A_DAY,
        PLACE,
        asks={"unit_rain": ("mm", "inch", "tenth_mm", "cm")},
    ),
    Case("clock_as_part_of_a_day", DAY_PART, PLACE, expected(TWELVE, *Q), 12, tolerance=0.002),
    Case("dash_for_no_rain_asks", BLANK_RAIN, PLACE, asks={"blank_rain": ("no_rain", "missing")}),
    Case(
        "dash_for_no_rain",
        BLANK_RAIN,
        {**PLACE, "answers": {"blank_rain": "no_rain"}},
        BASE,
        len(DAYS),
    ),
    Case(
        "dash_for_missing",
        BLANK_RAIN,
        {**PLACE, "answers": {"blank_rain": "missing"}},
        {d.date: {"rain_mm": d.rain or None} for d in DAYS},
        len(DAYS),
    ),
    Case(
        "sunshine_as_clock",
        SUN_CLOCK,
        PLACE,
        {d.date: {"sun_h": d.rs / 2.6} for d in DAYS},
        len(DAYS),
        tolerance=0.02,
    ),
    Case(
        "sunshine_per_cent_is_not_hours",
        SUN_PERCENT,
        PLACE,
        {d.date: {"sun_h": None} for d in DAYS},
        len(DAYS),
        notes={"ignored"},
    ),
    Case(
        "two_columns_called_temp",
        TWO_TEMPS,
        PLACE,
        asks={
            "column_tmax": ("Temp [2]", "Temp [3]", "none"),
            "column_tmin": ("Temp [2]", "Temp [3]", "none"),
        },
    ),
    Case(
        "two_columns_called_temp_answered",
        TWO_TEMPS,
        {**PLACE, "answers": {"column_tmax": "Temp [2]", "column_tmin": "Temp [3]"}},
        BASE,
        len(DAYS),
    ),
    Case(
        "p_could_be_rain",
        LETTERS,
        PLACE,
        asks={"column_rain": ("P", "none"), "unit_rain": ("mm", "inch", "tenth_mm", "cm")},
    ),
    Case("accents_broken", MOJIBAKE, PLACE, BASE, len(DAYS)),
    Case("accents_of_an_old_system", DOS, PLACE, BASE, len(DAYS)),
    Case(
        "a_day_of_zeros",
        table(ZEROS),
        PLACE,
        ZERO_DAYS,
        len(DAYS),
        flags={(DAYS[6].date, "no_range")},
    ),
    Case("row_numbers_are_no_stations", ID_COLUMN, PLACE, BASE, len(DAYS)),
    Case(
        "gauge_is_no_station",
        GAUGE,
        {**PLACE, "answers": {"column_rain": "Gauge reading (mm)"}},
        expected(DAYS, "tmax", "rain"),
        len(DAYS),
    ),
    Case("remarks", REMARKS, PLACE, BASE, len(DAYS)),
    Case("remarks_with_a_comma", REMARK_COMMA, PLACE, refused="weather.uneven_line"),
    Case("totals_in_between", SUBTOTALS, PLACE, BASE, len(DAYS), notes={"lines_left_out"}),
    Case(
        "no_header_three_date_columns",
        NO_HEADER_PARTS,
        {
            **PLACE,
            "answers": {
                "column_tmax": "4",
                "column_tmin": "5",
                "column_rain": "6",
                "column_rh_max": "none",
                "column_rh_min": "none",
                "column_wind": "none",
                "column_rs": "none",
                "column_et0": "none",
                "unit_rain": "mm",
            },
        },
        BASE,
        len(DAYS),
    ),
    Case(
        "t_is_no_trace_of_heat",
        T_IN_TEMPERATURE,
        PLACE,
        T_DAYS,
        len(DAYS),
        flags={(DAYS[3].date, "unreadable")},
    ),
    Case("degree_signs_in_cells", DEGREE_CELLS, PLACE, BASE, len(DAYS)),
    Case(
        "utc_over_a_clock_change",
        render(DST_UTC, lambda t: t.strftime("%Y-%m-%dT%H:%M:%SZ")),
        {**PLACE, "time_zone": "Europe/Lisbon"},
        {D(2025, 10, 26): {"rain_mm": DST_UTC[48 + 15][5] * 4}},
        tolerance=0.002,
    ),
    Case(
        "one_single_day",
        MINIMAL,
        {**PLACE, "answers": {"unit_rain": "mm"}},
        {D(2025, 1, 1): {"rain_mm": 3.4}},
        1,
    ),
    Case("months_as_columns", MATRIX, PLACE, refused="weather.no_date"),
    Case(
        "row_number_the_header_does_not_name",
        INDEX_AHEAD,
        PLACE,
        expected(DAYS, "tmax", "rain"),
        len(DAYS),
    ),
    Case("inch_sign_in_a_name", STRAY_QUOTE, PLACE, BASE, len(DAYS)),
    Case("two_files_joined", CONCATENATED, PLACE, expected(DAYS), len(DAYS)),
    Case("zero_bytes_of_a_power_cut", NULS, PLACE, expected(DAYS), len(DAYS)),
    Case(
        "a_hot_place_is_not_fahrenheit",
        table(HOT_PLACE, ("Date", "Tmax", "Tmin", "Rain (mm)"), [ISO, *C]),
        PLACE,
        expected(HOT_PLACE, *Q),
        len(DAYS),
        notes={"unit_taken"},
    ),
    Case("stamps_in_basic_form", BASIC, PLACE, expected(TWELVE), 12, tolerance=0.002),
    Case(
        "sun_blank_at_night",
        NIGHT_BLANK,
        PLACE,
        expected(TWELVE, "tmax", "rs", "rain"),
        12,
        tolerance=0.002,
        notes={"dark_blank"},
    ),
    Case(
        "sun_lost_in_the_evening_is_no_night",
        EVENING_LOST,
        PLACE,
        {d.date: {"rs_mj": None, "tmax_c": d.tmax} for d in TWELVE},
        12,
        tolerance=0.002,
        flags={(d.date, "incomplete") for d in TWELVE},
    ),
    Case("units_under_group_names", GROUPED_UNITS, PLACE, BASE, len(DAYS)),
    Case(
        "soil_under_a_group_name",
        SOIL_GROUP,
        PLACE,
        {d.date: {"tmax_c": None, "tmin_c": None, "rain_mm": d.rain} for d in DAYS},
        len(DAYS),
        notes={"ignored"},
    ),
    Case("units_after_a_stroke", SLASHED, PLACE, BASE, len(DAYS)),
    Case(
        "header_of_short_words_is_no_units_row",
        SPANISH_HOURS,
        PLACE,
        expected(TWELVE, *Q),
        12,
        tolerance=0.002,
        notes={"stamps_end"},
    ),
    Case("row_names_of_a_statistics_program", STATS_STYLE, PLACE, BASE, len(DAYS)),
    Case("totals_of_weeks", WEEKS, PLACE, refused="weather.rows_apart", where={"days": 7}),
    Case("sparse_and_unclear_dates_ask", SPARSE, PLACE, asks={"date_order": ("dmy", "mdy")}),
    Case(
        "three_decimals_beside_decimal_commas",
        THREE_DECIMALS,
        PLACE,
        expected(DAYS, "tmax", "wind"),
        len(DAYS),
    ),
    Case(
        "thousands_beside_decimal_points",
        THOUSANDS_ONLY,
        PLACE,
        expected(DAYS, "tmax", "rs"),
        len(DAYS),
    ),
]
