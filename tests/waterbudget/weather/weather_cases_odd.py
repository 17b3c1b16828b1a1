"""Hard files, part 4: missing codes, traces, stuck sensors, values that cannot be, stations."""

from __future__ import annotations

from weather_building import COLUMNS, HEADER, ISO, PLACE, Case, D, expected, fixed, record, table

DAYS = record()
ALL = expected(DAYS)
ORDER = list(COLUMNS)
NAMES = {"tmax": "tmax_c", "tmin": "tmin_c", "rh_max": "rh_max", "rh_min": "rh_min",
         "wind": "u2_m_s", "rs": "rs_mj", "rain": "rain_mm"}  # fmt: skip


def with_cells(changes, days=DAYS, header=HEADER):
    """Return the table with single cells replaced: {(row, column name): text}."""
    lines = table(days, header).splitlines()
    for (row, column), text in changes.items():
        cells = lines[row + 1].split(",")
        cells[ORDER.index(column)] = text
        lines[row + 1] = ",".join(cells)
    return "\n".join(lines) + "\n"


def but(changes, days=DAYS):
    """Return the expected days with single values replaced: {(row, quantity): value}."""
    found = expected(days)
    for (row, quantity), value in changes.items():
        found[days[row].date][NAMES[quantity]] = value
    return found


def gone(id_, changes, what="", also=(), **more):
    """Return a case in which the changed values are unknown and (where said) marked."""
    flags = {(DAYS[row].date, what) for row, _ in changes} if what else set()
    unknown = dict.fromkeys([*changes, *also])
    return Case(id_, with_cells(changes), {**PLACE, **more}, but(unknown), len(DAYS), flags=flags)


WORDS = ["NA", "N/A", "NaN", "null", "M", "-", "--", "*", "s/d", "#N/A", "", "missing", "///"]
CODES = ["-999", "-99", "-9999", "9999", "999.9", "-99.9", "-999.9", "-999.00", "99999", "-6999"]


def many(texts, column):
    return {(i, column): t for i, t in enumerate(texts)}


def stuck(rows, **values):
    """Return a record in which some days repeat values."""
    from dataclasses import replace

    days = record()
    for i in rows:
        days[i] = replace(days[i], **values)
    return days


STUCK_T = stuck((8, 9, 10), tmax=27.3, tmin=16.8)
STUCK_TMAX = stuck((8, 9, 10, 11), tmax=27.3)
STILL = stuck((5, 6, 7, 8), wind=0.0)
CALM = stuck((5, 6), wind=0.0)
STUCK_RS = stuck((12, 13, 14), rs=17.7)
STATIONS = (
    "Station,"
    + table(DAYS, HEADER).splitlines()[0]
    + "\n"
    + "".join("Terrace," + x + "\n" for x in table(DAYS, None).splitlines())
    + "".join("Valley," + x + "\n" for x in table(record(24, D(2025, 1, 10)), None).splitlines())
)
ONE_STATION = STATIONS.replace("Valley", "Terrace").split("\nTerrace", 25)
ONE_STATION = "\n".join(
    ["Station," + ",".join(HEADER)] + ["Terrace," + x for x in table(DAYS, None).splitlines()]
)
RUNNING = []
total = 812.4
for d in DAYS:
    total += d.rain
    RUNNING.append(f"{d.date},{d.tmax},{total:.1f}")
RUN = "Date,Tmax (C),Rain since 1 July (mm)\n" + "\n".join(RUNNING) + "\n"
RUN_UNNAMED = RUN.replace("Rain since 1 July (mm)", "Rain (mm)")
RUN_HOLE = "\n".join(x for i, x in enumerate(RUN.splitlines()) if i not in (3, 4)) + "\n"
RESET = []
total = 0.0
for d in record(60, D(2024, 12, 1)):
    total = d.rain if d.date.day == 1 else total + d.rain
    RESET.append(f"{d.date},{d.tmax},{total:.1f}")
MONTH_RUN = "Date,Tmax (C),Rain month (mm)\n" + "\n".join(RESET) + "\n"
MONTH_DAYS = record(60, D(2024, 12, 1))
SHORT_RUN = "Date,Tmax (C),Rain (mm)\n" + "\n".join(
    f"2025-02-{i + 1:02d},{28 + i / 10},{v}" for i, v in enumerate([0, 0, 3.2, 3.2, 3.2, 5.6])
)
CONSTANT = "Date,Tmax (C),Tmin (C),RH max (%),RH min (%),Rain (mm),ET0 (mm)\n" + "\n".join(
    f"{d.date},29.0,19.0,90,50,0.0,4.5" for d in DAYS
)
BOTH_RAINS = table(DAYS, ("Date", "Tmax (C)", "Rain (mm)", "Rain this month (mm)"),
                   [ISO, COLUMNS["tmax"], COLUMNS["rain"], lambda d: "44"])  # fmt: skip
REMEMBERED = table(DAYS, ("Date", "Tmax (C)", "Wind"), [ISO, COLUMNS["tmax"], COLUMNS["wind"]])
LISTED_RAIN = (
    "Date,Rain (mm)\n2025-02-03,12.4\n2025-02-07,30.1\n2025-02-18,4.4\n2025-03-02,9.9\n"
    "2025-03-03,1.2\n"
)
NINES_RAIN = with_cells({(3, "rain"): "99.9", (8, "rain"): "99.9"})
TEN_TIMES = with_cells({(6, "rain"): "254.0"})
SWAPPED = {(4, "tmax"): "17.1", (4, "tmin"): "27.4"}

CASES = [
    gone("missing_words_in_wind", many(WORDS, "wind")),
    gone("missing_words_in_rain", many(WORDS, "rain")),
    gone("missing_codes_in_tmin", many(CODES, "tmin")),
    gone("missing_codes_in_rain", many(CODES, "rain")),
    gone("missing_codes_in_humidity", many(CODES, "rh_min")),
    gone("missing_codes_in_radiation", many(CODES, "rs")),
    Case(
        "ninety_nine_per_cent_is_a_value",
        with_cells({(2, "rh_max"): "99", (3, "rh_max"): "99"}),
        PLACE,
        but({(2, "rh_max"): 99.0, (3, "rh_max"): 99.0}),
        len(DAYS),
    ),
    Case(
        "nines_that_could_be_rain_ask", NINES_RAIN, PLACE, asks={"nines_rain": ("missing", "value")}
    ),
    Case(
        "nines_are_missing",
        NINES_RAIN,
        {**PLACE, "answers": {"nines_rain": "missing"}},
        but({(3, "rain"): None, (8, "rain"): None}),
        len(DAYS),
    ),
    Case(
        "nines_are_rain",
        NINES_RAIN,
        {**PLACE, "answers": {"nines_rain": "value"}},
        but({(3, "rain"): 99.9, (8, "rain"): 99.9}),
        len(DAYS),
    ),
    Case(
        "trace_rain",
        with_cells(
            {
                (0, "rain"): "T",
                (1, "rain"): "Tr",
                (4, "rain"): "trace",
                (5, "rain"): "<0.1",
                (6, "rain"): "ip",
            }
        ),
        PLACE,
        but({(i, "rain"): 0.0 for i in (0, 1, 4, 5, 6)}),
        len(DAYS),
        flags={(DAYS[i].date, "trace") for i in (0, 1, 4, 5, 6)},
    ),
    Case(
        "marks_behind_numbers",
        with_cells({(2, "tmax"): "26.9*", (3, "rain"): "4.4 e"}),
        PLACE,
        but({(2, "tmax"): 26.9, (3, "rain"): 4.4}),
        len(DAYS),
        flags={(DAYS[2].date, "marked"), (DAYS[3].date, "marked")},
    ),
    gone("unreadable_cell", {(5, "rain"): "1O.5"}, "unreadable"),
    gone("low_above_high", SWAPPED, "low_above_high"),
    gone("too_hot", {(4, "tmax"): "71.3"}, "impossible"),
    gone("too_cold", {(4, "tmin"): "-51.0"}, "impossible"),
    gone("humidity_above_105", {(4, "rh_max"): "130"}, "impossible"),
    gone("humidity_below_0", {(4, "rh_min"): "-3"}, "impossible"),
    Case(
        "humidity_a_little_above_100",
        with_cells({(4, "rh_max"): "102.5"}),
        PLACE,
        but({(4, "rh_max"): 100.0}),
        len(DAYS),
        flags={(DAYS[4].date, "rh_capped")},
    ),
    gone(
        "humidity_low_above_high", {(4, "rh_max"): "40", (4, "rh_min"): "80"}, "rh_low_above_high"
    ),
    gone("wind_below_0", {(4, "wind"): "-0.4"}, "impossible"),
    gone("wind_above_40", {(4, "wind"): "55.0"}, "impossible"),
    gone("sun_above_a_clear_sky", {(4, "rs"): "39.0"}, "above_clear_sky"),
    gone("no_sun_all_day", {(4, "rs"): "0.0"}, "too_dark"),
    gone("rain_below_0", {(4, "rain"): "-2.0"}, "negative_rain"),
    gone("rain_of_two_metres", {(4, "rain"): "2000.0"}, "rain_too_much"),
    Case(
        "rain_ten_times_anything",
        TEN_TIMES.replace("Rain (mm)", "Rain (mm)"),
        PLACE,
        but({(6, "rain"): None}),
        len(DAYS),
        flags={(DAYS[6].date, "rain_ten_times")},
    ),
    Case(
        "a_big_storm_is_kept",
        with_cells({(6, "rain"): "120.0"}),
        PLACE,
        but({(6, "rain"): 120.0}),
        len(DAYS),
    ),
    Case(
        "stuck_thermometer",
        table(STUCK_T),
        PLACE,
        but(dict.fromkeys([(i, q) for i in (8, 9, 10) for q in ("tmax", "tmin")]), STUCK_T),
        len(DAYS),
        flags={(DAYS[i].date, "stuck") for i in (8, 9, 10)},
    ),
    Case("same_high_only_is_weather", table(STUCK_TMAX), PLACE, expected(STUCK_TMAX), len(DAYS)),
    Case(
        "wind_still_for_four_days",
        table(STILL),
        PLACE,
        but(dict.fromkeys([(i, "wind") for i in (5, 6, 7, 8)]), STILL),
        len(DAYS),
        flags={(DAYS[i].date, "wind_still") for i in (5, 6, 7, 8)},
    ),
    Case("two_calm_days_are_weather", table(CALM), PLACE, expected(CALM), len(DAYS)),
    Case(
        "stuck_radiation",
        table(STUCK_RS),
        PLACE,
        but(dict.fromkeys([(i, "rs") for i in (12, 13, 14)]), STUCK_RS),
        len(DAYS),
        flags={(DAYS[i].date, "stuck") for i in (12, 13, 14)},
    ),
    Case(
        "the_same_every_day_is_told_and_used",
        CONSTANT,
        PLACE,
        {d.date: {"tmax_c": 29.0, "tmin_c": 19.0, "et0_given_mm": 4.5} for d in DAYS},
        len(DAYS),
        notes={"all_the_same"},
    ),
    Case(
        "et0_impossible",
        table(
            DAYS,
            ("Date", "ET0 (mm)", "Rain (mm)"),
            [ISO, lambda d: "45" if d is DAYS[3] else "4.5", COLUMNS["rain"]],
        ),
        PLACE,
        {DAYS[3].date: {"et0_given_mm": None, "rain_mm": DAYS[3].rain}},
        len(DAYS),
        flags={(DAYS[3].date, "impossible")},
    ),
    Case(
        "sunshine_longer_than_the_day",
        table(
            DAYS,
            ("Date", "Tmax (C)", "Sunshine (h)"),
            [ISO, COLUMNS["tmax"], lambda d: "15.5" if d is DAYS[3] else fixed(d.rs / 2.6)],
        ),
        PLACE,
        {DAYS[3].date: {"sun_h": None}, DAYS[4].date: {"sun_h": round(DAYS[4].rs / 2.6, 1)}},
        len(DAYS),
        flags={(DAYS[3].date, "longer_than_day")},
    ),
    Case("two_stations_ask", STATIONS, PLACE, asks={"which_station": ("Terrace", "Valley")}),
    Case(
        "two_stations_answered",
        STATIONS,
        {**PLACE, "answers": {"which_station": "Valley"}},
        ALL,
        len(DAYS),
    ),
    Case("one_station_named_on_every_row", ONE_STATION, PLACE, ALL, len(DAYS)),
    Case(
        "running_total_named",
        RUN,
        PLACE,
        {DAYS[0].date: {"rain_mm": None}, **expected(DAYS[1:], "tmax", "rain")},
        len(DAYS),
        notes={"running_total"},
    ),
    Case(
        "running_total_unnamed",
        RUN_UNNAMED,
        PLACE,
        {DAYS[0].date: {"rain_mm": None}, **expected(DAYS[1:], "tmax", "rain")},
        len(DAYS),
        notes={"running_total"},
    ),
    Case(
        "running_total_over_a_hole",
        RUN_HOLE,
        PLACE,
        {DAYS[4].date: {"rain_mm": sum(d.rain for d in DAYS[2:5])}, **expected(DAYS[5:], "rain")},
        len(DAYS) - 2,
        flags={(DAYS[4].date, "rain_of_several_days")},
        gaps=1,
    ),
    Case(
        "running_total_of_the_month",
        MONTH_RUN,
        PLACE,
        expected(MONTH_DAYS, "tmax", "rain"),
        60,
        notes={"running_total", "counter_reset"},
    ),
    Case(
        "running_total_or_not_ask", SHORT_RUN, PLACE, asks={"rain_kind": ("depth", "running_total")}
    ),
    Case(
        "running_total_answered_depth",
        SHORT_RUN,
        {**PLACE, "answers": {"rain_kind": "depth"}},
        {D(2025, 2, 4): {"rain_mm": 3.2}, D(2025, 2, 6): {"rain_mm": 5.6}},
        6,
    ),
    Case(
        "running_total_answered_running",
        SHORT_RUN,
        {**PLACE, "answers": {"rain_kind": "running_total"}},
        {
            D(2025, 2, 3): {"rain_mm": 3.2},
            D(2025, 2, 4): {"rain_mm": 0.0},
            D(2025, 2, 6): {"rain_mm": 2.4},
        },
        6,
    ),
    Case(
        "rain_and_rain_of_the_month",
        BOTH_RAINS,
        PLACE,
        expected(DAYS, "tmax", "rain"),
        len(DAYS),
        notes={"ignored"},
    ),
    Case(
        "only_wet_days_listed_ask",
        LISTED_RAIN,
        PLACE,
        asks={"unlisted_days": ("no_rain", "unknown")},
    ),
    Case(
        "only_wet_days_listed_dry",
        LISTED_RAIN,
        {**PLACE, "answers": {"unlisted_days": "no_rain"}},
        {D(2025, 2, 4): {"rain_mm": 0.0}, D(2025, 2, 18): {"rain_mm": 4.4}},
        29,
        gaps=0,
    ),
    Case(
        "only_wet_days_listed_unknown",
        LISTED_RAIN,
        {**PLACE, "answers": {"unlisted_days": "unknown"}},
        {D(2025, 2, 18): {"rain_mm": 4.4}},
        5,
        gaps=3,
    ),
    Case(
        "remembered_layout_is_silent",
        REMEMBERED,
        {**PLACE, "layout": {"unit_wind": "m/s", "wind_height_m": "2", "date_order": "mdy"}},
        expected(DAYS, "tmax", "wind"),
        len(DAYS),
    ),
    Case(
        "answer_unknown",
        table(DAYS),
        {**PLACE, "answers": {"unit_winds": "m/s"}},
        refused="answers.unknown",
        where={"key": "unit_winds"},
    ),
    Case(
        "answer_not_a_choice",
        REMEMBERED,
        {**PLACE, "answers": {"unit_wind": "furlongs", "wind_height_m": "2"}},
        refused="answers.not_a_choice",
        where={"key": "unit_wind", "value": "furlongs"},
    ),
    Case(
        "answer_no_number",
        REMEMBERED,
        {**PLACE, "answers": {"unit_wind": "m/s", "wind_height_m": "tall"}},
        refused="answers.not_a_number",
        where={"key": "wind_height_m"},
    ),
    Case(
        "all_rows_missing_are_a_gap",
        with_cells({(i, c): "-999" for i in (6, 7) for c in ORDER[1:]}),
        PLACE,
        expected([*DAYS[:6], *DAYS[8:]]),
        len(DAYS) - 2,
        gaps=1,
    ),
]
