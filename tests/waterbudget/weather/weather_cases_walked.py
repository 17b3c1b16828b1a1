"""Hard files, part 8: other tongues, look-alike clocks, counters set back, clocks that jumped."""

from __future__ import annotations

import io
import zipfile

from weather_building import (
    COLUMNS,
    ISO,
    ONE,
    PLACE,
    Case,
    D,
    expected,
    record,
    table,
)
from weather_cases_subdaily import rows

DAYS = record()
Q = ("tmax", "tmin", "rain")
H = ("Tmax (C)", "Tmin (C)", "Rain (mm)")
C = [COLUMNS[q] for q in Q]
BASE = expected(DAYS, *Q)
TWELVE = record(12)
ASKED_RAIN = ("mm", "inch", "tenth_mm", "cm")
PLAIN = table(DAYS, ("Date", *H), [ISO, *C])


def headed(*names, cells=None, sep=","):
    return table(DAYS, names, [ISO, *(cells or C)], sep)


def beside(name, cell, header=H):
    """Return the plain table with one more column."""
    return table(DAYS, ("Date", *header, name), [ISO, *C, cell])


def good(id_, text, days=None, count=len(DAYS), **more):
    return Case(id_, text, more.pop("given", PLACE), BASE if days is None else days, count, **more)


def box(*files):
    """Return a zip archive of (name, text)."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files:
            archive.writestr(name, text)
    return out.getvalue()


def counter():
    """Return hourly readings of a rain counter that was set back in the middle of a day."""
    total, lines = 0.0, ["Time,Temp (C),Rain total (mm)"]
    for i, (t, heat, _, _, _, fell) in enumerate(rows()):
        total = fell if i == 150 else total + fell
        lines.append(f"{t:%Y-%m-%d %H:%M},{heat:.3f},{total:.4f}")
    return "\n".join(lines) + "\n"


def season_counter():
    """Return daily readings of a counter set back once, in the middle of a month."""
    total, lines = 0.0, ["Date,Tmax (C),Tmin (C),Rain (mm)"]
    for d in LONG:
        total = d.rain if d.date == D(2025, 2, 12) else total + d.rain
        lines.append(f"{d.date},{d.tmax},{d.tmin},{total:.1f}")
    return "\n".join(lines) + "\n"


def weekly_sums():
    """Return daily rows whose rain is named a week's and does not look like one."""
    return headed("Date", "Tmax (C)", "Tmin (C)", "Weekly rain (mm)")


def clock_lost():
    """Return hours of which a dozen carry the date of a logger that lost its clock."""
    lines = ["Time,Temp (C),Rain (mm)"]
    for i, (t, heat, _, _, _, fell) in enumerate(rows()):
        moment = t.replace(year=2000, month=1, day=1) if 100 <= i < 112 else t
        lines.append(f"{moment:%Y-%m-%d %H:%M},{heat:.3f},{fell:.4f}")
    return "\n".join(lines) + "\n"


def tips(*, runs_on, anew=False):
    """Return a list of tips with their moments; the counter may begin anew every day."""
    total, lines = 0.0, ["Date Time,Rain (mm)"]
    for d in DAYS:
        total = 0.0 if anew else total
        for k in range(round(d.rain / 0.2)):
            total += 0.2
            at = f"{d.date} {13 + k // 60:02d}:{k % 60:02d}:07"
            lines.append(f"{at},{total if runs_on else 0.2:.1f}")
    return "\n".join(lines) + "\n"


def tips_among_readings(*, runs_on):
    """Return temperature every ten minutes, and between it tips of the gauge, one a line."""
    total, lines = 0.0, []
    for d in TWELVE:
        for k in range(round(d.rain / 0.2)):
            total += 0.2
            at = f"{d.date} {13 + k // 60:02d}:{k % 60:02d}:07"
            lines.append(f"{at},,{total if runs_on else 0.2:.1f}")
    lines += [f"{t:%Y-%m-%d %H:%M:%S},{heat:.3f}," for t, heat, *_ in rows(step=10)]
    return "\n".join(["Date Time,Temp (C),Rain (mm)", *sorted(lines)]) + "\n"


OBS_TIME = (
    "\n".join(
        ["Date,Obs time,Temp (C),Rain (mm)"]
        + [f"{t:%Y-%m-%d},{t:%H%M},{heat:.3f},{fell:.4f}" for t, heat, *_, fell in rows()]
    )
    + "\n"
)
AMONG = {d.date: {"tmax_c": d.tmax, "rain_mm": round(d.rain / 0.2) * 0.2} for d in TWELVE}
DRY_BLANKS = {**PLACE, "answers": {"blank_rain": "no_rain"}}
TIPPED = {d.date: {"rain_mm": round(d.rain / 0.2) * 0.2} for d in DAYS if d.rain}
TIPS = {**PLACE, "answers": {"unlisted_days": "no_rain"}}
SPAN = (max(TIPPED) - min(TIPPED)).days + 1
LONG = record(60)
MONTHS_DE = {1: "Januar", 2: "Februar"}
TYPO = DAYS[4].date
YEAR_TYPO = PLAIN.replace(str(TYPO), str(TYPO.replace(year=1925)))
OUTSIDE_WORDS = [lambda d: f'="{d.date}"', *[lambda d, c=c: f'="{c(d)}"' for c in C]]
HIGH_ONLY = ("Date", "Temp (C)", "Tmin (C)", "Rain (mm)")
CELLS_C_F = [
    lambda d: f"{d.tmax} C" if d.date.day % 2 else f"{d.tmax * 1.8 + 32:.2f} F",
    COLUMNS["tmin"],
    COLUMNS["rain"],
]
CELLS_MM_IN = [
    C[0], C[1], lambda d: f"{d.rain} mm" if d.date.day % 2 else f"{d.rain / 25.4:.4f} in",
]  # fmt: skip
LETTER_O = [C[0], C[1], lambda d: f"{d.rain}".replace("0", "O")]
PARTS = table(
    DAYS,
    ("Date", "Tmax (C)", "Tmin (C)", "Rain 08h (mm)", "Rain 20h (mm)"),
    [ISO, C[0], C[1], lambda d: f"{d.rain * 0.25:.3f}", lambda d: f"{d.rain * 0.75:.3f}"],
)
PARTS_RAIN = ("Rain 08h (mm)", "Rain 20h (mm)", "sum", "none")
NEXT_RAIN = table(
    DAYS,
    ("Date", "Tmax (C)", "", "Date", "Rain (mm)"),
    [ISO, C[0], lambda d: "", lambda d: str(d.date + ONE), C[2]],
)

CASES = [
    good("german", table(DAYS, ("Datum", "Tmax (°C)", "Tmin (°C)", "Niederschlag (mm)"),
                         [lambda d: f"{d.date:%d.%m.%Y}",
                          *[lambda d, c=c: c(d).replace(".", ",") for c in C]], ";")),
    good("italian", headed("Data", "Temperatura massima (°C)", "Temperatura minima (°C)",
                           "Pioggia (mm)")),
    good("afrikaans", headed("Datum", "Maks temp (C)", "Min temp (C)", "Reënval (mm)")),
    good("german_months", table(DAYS, ("Datum", *H), [
        lambda d: f"{d.date.day}. {MONTHS_DE[d.date.month]} {d.date.year}", *C])),
    Case(
        "rain_in_a_tongue_not_read",
        headed("Date", "Tmax (C)", "Tmin (C)", "Sadetta (mm)"),
        PLACE,
        asks={"column_rain": ("Sadetta (mm)", "none")},
    ),
    good(
        "rain_in_a_tongue_not_read_answered",
        headed("Date", "Tmax (C)", "Tmin (C)", "Sadetta (mm)"),
        given={**PLACE, "answers": {"column_rain": "Sadetta (mm)"}},
    ),
    good(
        "other_script_answered",
        headed("日期", "最高气温(℃)", "最低气温(℃)", "降水量(mm)"),
        given={
            **PLACE,
            "answers": {
                "column_tmax": "最高气温(℃)", "column_tmin": "最低气温(℃)",
                "column_rain": "降水量(mm)",
                "column_rh_max": "none", "column_rh_min": "none", "column_wind": "none",
                "column_rs": "none", "column_et0": "none",
            },
        },
    ),
    Case(
        "plain_temperature_beside_a_low_asks",
        headed(*HIGH_ONLY),
        PLACE,
        asks={"column_tmax": ("Temp (C)", "none")},
    ),
    good(
        "plain_temperature_beside_a_low_answered",
        headed(*HIGH_ONLY),
        given={**PLACE, "answers": {"column_tmax": "Temp (C)"}},
    ),
    good("gusts_are_no_hours", beside("Wind gust (km/h)", lambda d: str(16 + d.date.day % 9)),
         notes={"ignored"}),
    good("hours_of_wet_leaves_are_no_clock",
         beside("Leaf wetness hours", lambda d: "24" if d.rain else "0"), notes={"ignored"}),
    good("hour_of_the_observation", OBS_TIME, expected(TWELVE, *Q), 12, tolerance=0.002),
    good("hours_of_the_pump_are_no_clock", beside("Pump hours", lambda d: str(d.date.day % 9)),
         notes={"ignored"}),
    good("counter_set_back_within_a_day", counter(), expected(TWELVE, "tmax", "rain"), 12,
         tolerance=0.002, notes={"running_total", "counter_reset"}),
    good("counter_set_back_within_a_month", season_counter(), expected(LONG, *Q), 60,
         tolerance=0.051, notes={"running_total", "counter_reset"}),
    Case("rain_named_weekly_asks", weekly_sums(), PLACE,
         asks={"rain_kind": ("depth", "running_total")}),
    Case(
        "rain_named_weekly_answered",
        weekly_sums(),
        {**PLACE, "answers": {"rain_kind": "depth"}},
        BASE,
        len(DAYS),
    ),
    good("dry_days_in_words", table(DAYS, ("Date", *H), [
        ISO, C[0], C[1], lambda d: f"{d.rain}" if d.rain else "Dry"])),
    good("nil_is_no_rain", table(DAYS, ("Date", *H), [
        ISO, C[0], C[1], lambda d: f"{d.rain}" if d.rain else "Nil"])),
    Case(
        "letter_for_nought",
        table(DAYS, ("Date", *H), [ISO, *LETTER_O]),
        PLACE,
        {d.date: {"rain_mm": d.rain if "0" not in f"{d.rain}" else None} for d in DAYS},
        len(DAYS),
        flags={(d.date, "unreadable") for d in DAYS if "0" in f"{d.rain}"},
    ),
    Case("two_units_in_one_column", table(DAYS, ("Date", "Tmax", "Tmin (C)", "Rain (mm)"),
                                          [ISO, *CELLS_C_F]), PLACE,
         refused="weather.mixed_units", where={"unit": "C", "other": "F"}),
    Case("rain_in_two_units", table(DAYS, ("Date", "Tmax (C)", "Tmin (C)", "Rain"),
                                    [ISO, *CELLS_MM_IN]), PLACE,
         refused="weather.mixed_units", where={"column": "Rain"}),
    good("tall_reference_is_not_grass", beside("Alfalfa reference ET (mm)", lambda d: "6.1"),
         {d.date: {"et0_given_mm": None, "rain_mm": d.rain} for d in DAYS}, notes={"ignored"}),
    good("parts_of_the_wind_are_no_speed",
         table(DAYS, ("Date", *H, "u10 (m/s)", "v10 (m/s)"),
               [ISO, *C, lambda d: "1.2", lambda d: "2.1"]),
         {d.date: {"u2_m_s": None, "rain_mm": d.rain} for d in DAYS}, notes={"ignored"}),
    good("wind_in_centimetres",
         beside("Wind 2 m (cm/s)", lambda d: f"{d.wind * 100:.0f}"), expected(DAYS, "wind")),
    good("radiation_of_a_reanalysis", beside("ssrd (J m-2)", lambda d: f"{d.rs * 1e6:.0f}"),
         expected(DAYS, "rs")),
    Case("one_year_mistyped", YEAR_TYPO, PLACE, refused="weather.date_far_off",
         where={"line": 6, "text": "1925-01-14"}),
    Case("logger_lost_its_clock", clock_lost(), PLACE, refused="weather.date_far_off",
         where={"line": 102, "text": "2000-01-01"}),
    good("values_kept_as_text", table(DAYS, ("Date", *H), OUTSIDE_WORDS)),
    good("names_over_two_lines_each",
         '"Date","Tmax\n(C)","Tmin\n(C)","Rain\n(mm)"\n' + table(DAYS, None, [ISO, *C])),
    good("archive_with_a_note", box(("readme.txt", "Readings"), ("data.csv", PLAIN))),
    good("archive_of_another_system",
         box(("data.csv", PLAIN), ("__MACOSX/._data.csv", "\x05\x16"))),
    Case("archive_of_two_tables", box(("a.csv", PLAIN), ("b.csv", PLAIN)), PLACE,
         refused="weather.several_files", where={"count": 2}),
    Case("archive_of_nothing", box(), PLACE, refused="weather.not_text"),
    Case("word_processor_page", "{\\rtf1\\ansi " + PLAIN + "}", PLACE, refused="weather.not_text",
         where={"kind": "word processor's page"}),
    good("tips_one_by_one", tips(runs_on=False), TIPPED, SPAN, given=TIPS),
    good("tips_that_run_on", tips(runs_on=True), TIPPED, SPAN, given=TIPS,
         notes={"running_total", "unlisted_dry"}),
    good("tips_that_begin_anew_every_day", tips(runs_on=True, anew=True), TIPPED, SPAN,
         given=TIPS, notes={"running_total", "counter_reset"}),
    good("tips_among_readings", tips_among_readings(runs_on=False), AMONG, 12,
         given=DRY_BLANKS, tolerance=0.002),
    Case("counter_among_readings_asks", tips_among_readings(runs_on=True), PLACE,
         asks={"blank_rain": ("no_rain", "missing")}),
    good("counter_among_readings", tips_among_readings(runs_on=True), AMONG, 12,
         given=DRY_BLANKS, tolerance=0.002, notes={"running_total"}),
    Case("rain_of_parts_of_the_day_asks", PARTS, PLACE, asks={"column_rain": PARTS_RAIN}),
    good("rain_of_parts_of_the_day_added_up", PARTS,
         given={**PLACE, "answers": {"column_rain": "sum"}}, tolerance=0.001),
    good("rain_of_one_part_of_the_day", PARTS,
         {d.date: {"rain_mm": round(d.rain * 0.25, 3)} for d in DAYS},
         given={**PLACE, "answers": {"column_rain": "Rain 08h (mm)"}}, tolerance=0.001),
    Case("max_and_min_of_what_asks", headed("Date", "Max", "Min", "Rain (mm)"), PLACE,
         asks={"column_tmax": ("Max", "none"), "column_tmin": ("Min", "none")}),
    good("max_and_min_answered", headed("Date", "Max", "Min", "Rain (mm)"),
         given={**PLACE, "answers": {"column_tmax": "Max", "column_tmin": "Min"}},
         notes={"unit_taken"}),
    Case("depths_under_an_unknown_name", headed("Date", "Tmax (C)", "Tmin (C)", "Mvura"), PLACE,
         asks={"column_rain": ("Mvura", "none"), "unit_rain": ASKED_RAIN}),
    good("light_in_lux_is_no_radiation", beside("Solar (lux)", lambda d: "45000"),
         {d.date: {"rs_mj": None, "rain_mm": d.rain} for d in DAYS}, notes={"ignored"}),
    Case("two_tables_side_by_side", NEXT_RAIN, PLACE,
         asks={"column_date": ("Date [1]", "Date [4]")}),
]  # fmt: skip
