"""Hard files, part 5: hours and minutes made to days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from weather_building import PLACE, Case, D, expected, hourly, record

DAYS = record(12)
ALL = expected(DAYS)
HEADER = "Time,Temp (C),RH (%),Wind 2 m (m/s),Solar (W/m2),Rain (mm)"
Stamp = Callable[[dt.datetime], str]
PLAIN: Stamp = lambda t: t.strftime("%Y-%m-%d %H:%M")  # noqa: E731
HARARE = dt.timedelta(hours=2)


def rows(days=DAYS, step=60):
    """Return (moment, temperature, RH, wind, W/m2, rain) of all readings."""
    return [
        (dt.datetime.combine(d.date, dt.time()) + dt.timedelta(minutes=m), *rest)
        for d in days
        for m, *rest in hourly(d, step)
    ]


def render(readings, stamp: Stamp = PLAIN, header=HEADER, shift=0, sep=","):
    """Render readings; ``shift`` moves the stamps by minutes (60: end of the interval)."""
    lines = [header]
    for t, *values in readings:
        cells = [f"{v:.4f}" for v in values]
        lines.append(sep.join([stamp(t + dt.timedelta(minutes=shift)), *cells]))
    return "\n".join(lines) + "\n"


def case(id_, text, given=None, days=None, count=12, **more):
    """Return a case with tolerance for the rounding of single readings."""
    more.setdefault("tolerance", 0.002)
    return Case(id_, text, {**PLACE, **(given or {})}, ALL if days is None else days, count, **more)


def twenty_four(t: dt.datetime) -> str:
    """Write midnight as 24:00 of the day that ends."""
    if t.hour == t.minute == 0:
        return (t - dt.timedelta(days=1)).strftime("%Y-%m-%d 24:00")
    return PLAIN(t)


def am_pm(t: dt.datetime) -> str:
    return t.strftime("%m/%d/%Y %I:%M %p")


def spanish_half(t: dt.datetime) -> str:
    return t.strftime("%d/%m/%Y ") + t.strftime("%I:%M ") + ("a. m." if t.hour < 12 else "p. m.")


def utc(t: dt.datetime) -> str:
    return (t - HARARE).strftime("%Y-%m-%dT%H:%M:%SZ")


def epoch(t: dt.datetime) -> str:
    return str(int((t - HARARE).replace(tzinfo=dt.UTC).timestamp()))


def without_hours(n: int, day=DAYS[4].date, first=2):
    """Leave some hours of one day out."""
    gone = range(first, first + n)
    return [r for r in rows() if not (r[0].date() == day and r[0].hour in gone)]


FOUR = DAYS[4].date
H1 = "\n".join(
    ["Year,Month,Day,Hour,Temp (C),RH (%),Wind 2 m (m/s),Solar (W/m2),Rain (mm)"]
    + [
        f"{t.year},{t.month},{t.day},{t.hour + 1}," + ",".join(f"{v:.4f}" for v in rest)
        for t, *rest in rows()
    ]
)
HHMM = "\n".join(
    ["Year,DOY,HHMM,Temp (C),RH (%),Wind 2 m (m/s),Solar (W/m2),Rain (mm)"]
    + [
        f"{t.year},{t.timetuple().tm_yday},{t.hour * 100 + t.minute},"
        + ",".join(f"{v:.4f}" for v in r)
        for t, *r in rows(step=15)
    ]
)
TWO_COLUMNS = render(rows(), lambda t: t.strftime("%d/%m/%Y;%H:%M"),
                     HEADER.replace("Time", "Fecha;Hora")
                     .replace(",", ";"), sep=";")  # fmt: skip
HALF_CLOCK = render(rows(), lambda t: t.strftime("%Y-%m-%d %I:%M"))
LATE = D(2025, 1, 14)
MIDNIGHT_RAIN = [
    (t, a, b, c, d, 6.4 if t.hour == 0 and t.date() == LATE else 0.0) for t, a, b, c, d, _ in rows()
][5:-7]
SUMS = render(
    [(t, a, b, c, d * 3600e-6, e) for t, a, b, c, d, e in rows()],
    header=HEADER.replace("Solar (W/m2)", "Solar (MJ/m2)"),
)
COUNTER, total = [], 310.2
for t, a, b, c, d, e in rows():
    total += e
    COUNTER.append((t, a, b, c, d, total))
COUNTER_HOLES = [r for r in COUNTER if not (r[0].date() == FOUR and r[0].hour in range(9, 15))]
TODAY = []
for day in DAYS:
    total = 0.0
    for t, a, b, c, d, e in rows([day]):
        total += e
        TODAY.append((t, a, b, c, d, total))
DAY_TOTAL = [(t, a, b, c, d, day.rain) for day in DAYS for t, a, b, c, d, _ in rows([day])]
SPIKES = [
    (t, 85.0 if i == 30 else a, b, c, 4000.0 if i == 36 else d, e)
    for i, (t, a, b, c, d, e) in enumerate(rows())
]
CLOCK_BACK = record(6, D(2025, 4, 3))
BACK = []
for r in rows(CLOCK_BACK, 15):
    BACK.append(r)
    if r[0] == dt.datetime(2025, 4, 6, 2, 45):
        BACK += [(dt.datetime(2025, 4, 6, 2, m), *r[1:5], 0.5) for m in (0, 15, 30, 45)]
FORWARD = [r for r in rows(CLOCK_BACK) if r[0] != dt.datetime(2025, 4, 6, 3, 0)]
HALF_DAY_END = rows()[: -24 + 9]
RAIN_TIPS = "Time,Rain (tips)\n" + "\n".join(
    f"{PLAIN(t)},{round(e / 0.2)}" for t, _, _, _, _, e in rows(DAYS)
)
SHOWERS = "Time,Rain (mm)\n" + "\n".join(
    f"2025-01-{d:02d} {h:02d}:{m:02d}:17,0.2"
    for d in (3, 9, 10)
    for h in (4, 15)
    for m in (3, 11, 40)
)
EXTREMES = "\n".join(
    ["Time,Temp Avg (C),Temp Max (C),Temp Min (C),Rain (mm)"]
    + [f"{PLAIN(t)},{a:.2f},{a + 0.6:.2f},{a - 0.5:.2f},{e:.4f}" for t, a, _, _, _, e in rows()]
)
SIX_HOURLY = [r for r in rows() if r[0].hour % 6 == 0]
SWITCH = [*rows(DAYS[:6]), *rows(DAYS[6:], 15)]
NIGHT = render([(t, a, b, c, d - 3.0 if d == 0 else d, e) for t, a, b, c, d, e in rows()])
DAY_MONTH = record(8, D(2025, 4, 2))

CASES = [
    case("hourly", render(rows()), notes={"subdaily"}),
    case("every_15_minutes", render(rows(step=15))),
    case("every_5_minutes", render(rows(step=5))),
    case("seconds_and_t", render(rows(), lambda t: t.strftime("%Y-%m-%dT%H:%M:%S"))),
    case("stamped_at_the_end", render(rows(), shift=60), notes={"stamps_end"}),
    case("stamped_at_the_end_24_00", render(rows(), twenty_four, shift=60), notes={"stamps_end"}),
    case("hours_1_to_24", H1, notes={"stamps_end"}),
    case("year_doy_hhmm", HHMM),
    case("date_and_time_columns", TWO_COLUMNS),
    case("am_pm", render(rows(), am_pm)),
    case("spanish_am_pm", render(rows(), spanish_half)),
    Case("half_clock_without_am_pm", HALF_CLOCK, PLACE, refused="weather.half_clock"),
    Case("utc_asks_the_zone", render(rows(), utc), PLACE, asks={"time_zone": None}),
    case("utc_with_the_zone", render(rows(), utc), {"time_zone": "Africa/Harare"}, notes={"zone"}),
    case("utc_zone_answered", render(rows(), utc), {"answers": {"time_zone": "+02:00"}}),
    case(
        "offset_in_the_stamp",
        render(rows(), lambda t: PLAIN(t) + "+02:00"),
        {"time_zone": "Africa/Harare"},
    ),
    Case(
        "epoch_asks_the_zone",
        render(rows(), epoch, HEADER.replace("Time", "timestamp")),
        PLACE,
        asks={"time_zone": None},
    ),
    case(
        "epoch_with_the_zone",
        render(rows(), epoch, HEADER.replace("Time", "timestamp")),
        {"time_zone": "Africa/Harare"},
    ),
    case(
        "header_says_utc",
        render(rows(), lambda t: PLAIN(t - HARARE), HEADER.replace("Time", "Time (UTC)")),
        {"time_zone": "Africa/Harare"},
    ),
    Case(
        "zone_nonsense",
        render(rows(), utc),
        {**PLACE, "answers": {"time_zone": "Nowhere/Land"}},
        refused="answers.not_a_zone",
    ),
    case("newest_first_hourly", render(rows()[::-1])),
    case(
        "day_first_by_the_sequence_of_hours",
        render(rows(DAY_MONTH), lambda t: t.strftime("%d/%m/%Y %H:%M")),
        days=expected(DAY_MONTH),
        count=8,
        notes={"order_dmy"},
    ),
    Case(
        "rain_at_midnight_matters", render(MIDNIGHT_RAIN), PLACE, asks={"stamp": ("start", "end")}
    ),
    case(
        "rain_at_midnight_start",
        render(MIDNIGHT_RAIN),
        {"answers": {"stamp": "start"}},
        {LATE: {"rain_mm": 6.4}},
        10,
    ),
    case(
        "rain_at_midnight_end",
        render(MIDNIGHT_RAIN),
        {"answers": {"stamp": "end"}},
        {LATE: {"rain_mm": 0.0}, D(2025, 1, 13): {"rain_mm": 6.4}},
        10,
    ),
    case("radiation_as_sums", SUMS, tolerance=0.02),
    case("night_offset_of_the_sun_sensor", NIGHT),
    case(
        "two_hours_missing",
        render(without_hours(2)),
        days={
            **expected([d for d in DAYS if d.date != FOUR]),
            FOUR: {"rain_mm": DAYS[4].rain, "rs_mj": DAYS[4].rs, "tmax_c": DAYS[4].tmax},
        },
    ),
    case(
        "three_hours_missing_no_sums",
        render(without_hours(3)),
        days={
            **expected([d for d in DAYS if d.date != FOUR]),
            FOUR: {"rain_mm": None, "rs_mj": None, "tmax_c": DAYS[4].tmax, "u2_m_s": DAYS[4].wind},
        },
        flags={(FOUR, "incomplete"), (FOUR, "rain_incomplete")},
    ),
    case(
        "five_hours_missing_still_means",
        render(without_hours(5)),
        days={FOUR: {"rain_mm": None, "u2_m_s": DAYS[4].wind, "tmax_c": DAYS[4].tmax}},
        flags={(FOUR, "incomplete"), (FOUR, "rain_incomplete")},
    ),
    case(
        "seven_hours_missing_nothing",
        render(without_hours(7)),
        days={
            **expected([d for d in DAYS if d.date != FOUR]),
            FOUR: dict.fromkeys(("rain_mm", "rs_mj", "tmax_c", "tmin_c", "u2_m_s", "rh_max")),
        },
        flags={(FOUR, "incomplete"), (FOUR, "rain_incomplete")},
    ),
    case(
        "ends_at_nine_in_the_morning",
        render(HALF_DAY_END),
        days=expected(DAYS[:-1]),
        count=11,
        notes={"edge_day"},
    ),
    case(
        "rain_counter_that_runs_on",
        render(COUNTER),
        days={**ALL, DAYS[0].date: {"tmax_c": DAYS[0].tmax}},
        notes={"running_total"},
    ),
    case(
        "rain_counter_with_holes",
        render(COUNTER_HOLES),
        days={FOUR: {"rain_mm": DAYS[4].rain, "rs_mj": None}, **expected(DAYS[5:])},
        notes={"running_total"},
        flags={(FOUR, "incomplete")},
    ),
    case("rain_since_midnight", render(TODAY), notes={"running_total"}),
    case("day_total_on_every_line", render(DAY_TOTAL), notes={"day_totals"}),
    case(
        "single_spikes",
        render(SPIKES),
        days=expected(DAYS[2:]),
        flags={(DAYS[1].date, "reading_impossible")},
    ),
    case(
        "clock_put_back",
        render(BACK),
        days={
            D(2025, 4, 6): {"rain_mm": CLOCK_BACK[3].rain + 2.0, "tmax_c": CLOCK_BACK[3].tmax},
            **expected(CLOCK_BACK[4:]),
        },
        count=6,
        notes={"clock_back"},
    ),
    case(
        "clock_put_forward",
        render(FORWARD),
        days={D(2025, 4, 6): {"rain_mm": CLOCK_BACK[3].rain, "tmin_c": CLOCK_BACK[3].tmin}},
        count=6,
    ),
    Case(
        "hourly_tips",
        RAIN_TIPS,
        {**PLACE, "answers": {"mm_per_tip": "0.2"}},
        {d.date: {"rain_mm": 4 * 0.2 * round(d.rain / 4 / 0.2)} for d in DAYS},
        12,
    ),
    Case("showers_only_ask", SHOWERS, PLACE, asks={"unlisted_days": ("no_rain", "unknown")}),
    Case(
        "showers_only",
        SHOWERS,
        {**PLACE, "answers": {"unlisted_days": "no_rain"}},
        {
            D(2025, 1, 3): {"rain_mm": 1.2},
            D(2025, 1, 4): {"rain_mm": 0.0},
            D(2025, 1, 10): {"rain_mm": 1.2},
        },
        8,
    ),
    case(
        "interval_highs_and_lows",
        EXTREMES,
        days={
            d.date: {
                "tmax_c": round(d.tmax, 2) + 0.6,
                "tmin_c": round(d.tmin, 2) - 0.5,
                "rain_mm": d.rain,
            }
            for d in DAYS
        },
    ),
    case(
        "six_hours_apart_no_extremes",
        render(SIX_HOURLY),
        days={d.date: {"tmax_c": None, "tmin_c": None, "u2_m_s": d.wind} for d in DAYS},
        notes={"step_too_long"},
    ),
    case("step_changes_half_way", render(SWITCH)),
]
