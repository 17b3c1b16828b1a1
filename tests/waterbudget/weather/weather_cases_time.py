"""Hard files, part 2: how dates are written."""

from __future__ import annotations

import datetime as dt

from weather_building import COLUMNS, ISO, ONE, PLACE, Case, D, expected, record, table

DAYS = record()
Q = ("tmax", "tmin", "rain")
H = ("Tmax (C)", "Tmin (C)", "Rain (mm)")
C = [COLUMNS["tmax"], COLUMNS["tmin"], COLUMNS["rain"]]
BASE = expected(DAYS, *Q)

ES_MONTHS = ["ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"]
PT_MONTHS = [
    "janeiro",
    "fevereiro",
    "março",
    "abril",
    "maio",
    "junho",
    "julho",
    "agosto",
    "setembro",
    "outubro",
]
FR_MONTHS = [
    "janv.",
    "févr.",
    "mars",
    "avril",
    "mai",
    "juin",
    "juil.",
    "août",
    "sept.",
    "oct.",
    "nov.",
    "déc.",
]


def dated(days, write, header="Date", separator=",", before=(), extra=()):
    """Render days with a date column written by ``write``."""
    return table(days, (header, *extra, *H), [write, *before, *C], separator)


def f(form):
    """Return a writer of a strftime form."""
    return lambda d: d.date.strftime(form)


def short(first, n=8):
    """Return a short record from a day on."""
    return record(n, first)


def case(id_, write, **more):
    """Return a case with the whole record read rightly."""
    header = more.pop("header", "Date")
    return Case(id_, dated(DAYS, write, header), PLACE, BASE, len(DAYS), **more)


APRIL = short(D(2025, 4, 2), 9)
NEW_YEAR = record(30, D(2024, 12, 20))
LEAP = short(D(2024, 2, 25), 8)
MIXED = dated(DAYS, lambda d: f("%Y-%m-%d")(d) if d.date.day < 20 else f("%d/%m/%Y")(d))
NOT_A_DAY = dated(short(D(2025, 2, 20), 14), f("%d/%m/%Y")).replace("27/02/2025", "29/02/2025")
TYPO = dated(DAYS, f("%Y-%m-%d")).replace("2025-01-15", "2025-01-1S")
PARTS = table(DAYS, ("Year", "Month", "Day", *H),
              [f("%Y"), f("%m"), f("%d"), *C])  # fmt: skip
DOY = table(NEW_YEAR, ("año", "día juliano", "Tmáx (C)", "Tmín (C)", "Lluvia (mm)"),
            [f("%Y"), lambda d: str(d.date.timetuple().tm_yday), *C], ";")  # fmt: skip
SERIAL = dated(DAYS, lambda d: str((d.date - D(1899, 12, 30)).days))
EPOCH = dated(DAYS, lambda d: str(int(dt.datetime(d.date.year, d.date.month, d.date.day,
              tzinfo=dt.UTC).timestamp())), "epoch")  # fmt: skip
LOCAL_MIDNIGHT = dated(
    DAYS,
    lambda d: (dt.datetime(d.date.year, d.date.month, d.date.day) - dt.timedelta(hours=2)).strftime(
        "%Y-%m-%dT%H:%M:%SZ"
    ),
)
MONTHS = "\n".join(
    ["Date,Tmax (C),Tmin (C),Rain (mm)"]
    + [f"01/{m:02d}/2024,29.1,17.2,{m * 11}" for m in range(1, 13)]
)
YEAR_MONTH_ROWS = "\n".join(
    ["Date,Tmax (C),Tmin (C),Rain (mm)"]
    + [f"2024-{m:02d}-01,29.1,17.{m % 10},{m * 11}" for m in range(1, 13)]
)
ISO_WITH_MIDNIGHT = dated(DAYS, f("%Y-%m-%d 00:00:00"))
SAME_TWICE = dated([*DAYS[:9], DAYS[8], *DAYS[9:]], ISO)
OTHER_TWICE = dated(DAYS, ISO) + f"{DAYS[5].date},33.3,11.1,44.0\n"
OVERLAP = dated([*DAYS[:15], *DAYS[10:]], ISO)
HALVES = (
    "Date,Tmax (C),Tmin (C),Rain (mm)\n"
    + "".join(f"{d.date},{d.tmax},{d.tmin},\n" for d in DAYS)
    + "".join(f"{d.date},,,{d.rain}\n" for d in DAYS)
)
SAMPLE_ORDER = ("dmy", "mdy")

CASES = [
    case("iso_slashes", f("%Y/%m/%d")),
    case("compact_ymd", f("%Y%m%d")),
    case("day_first_settled_by_a_row", f("%d/%m/%Y")),
    case("month_first_settled_by_a_row", f("%m/%d/%Y")),
    case("dots_day_first", f("%d.%m.%Y")),
    case("two_digit_year", f("%d-%m-%y")),
    case("without_leading_zeros", lambda d: f"{d.date.day}/{d.date.month}/{d.date.year}"),
    case("english_month_names", f("%d %b %Y")),
    case("english_month_first", f("%B %d %Y")),
    case("english_dashes", f("%d-%b-%y")),
    case("english_weekday", f("%a %d %B %Y")),
    case(
        "spanish_month_names", lambda d: f"{d.date.day}-{ES_MONTHS[d.date.month - 1]}-{d.date.year}"
    ),
    case(
        "portuguese_long",
        lambda d: f"{d.date.day} de {PT_MONTHS[d.date.month - 1]} de {d.date.year}",
    ),
    case(
        "french_month_names", lambda d: f"{d.date.day} {FR_MONTHS[d.date.month - 1]} {d.date.year}"
    ),
    case("header_says_the_order", f("%d/%m/%Y"), header="Fecha (dd/mm/aaaa)"),
    Case(
        "header_says_month_first_in_april",
        dated(APRIL, f("%m/%d/%Y"), "Date (MM/DD/YYYY)"),
        PLACE,
        expected(APRIL, *Q),
        len(APRIL),
    ),
    Case(
        "short_day_first_by_the_sequence",
        dated(APRIL, f("%d/%m/%Y")),
        PLACE,
        expected(APRIL, *Q),
        len(APRIL),
        notes={"order_dmy"},
        gaps=0,
    ),
    Case(
        "short_month_first_by_the_sequence",
        dated(APRIL, f("%m/%d/%Y")),
        PLACE,
        expected(APRIL, *Q),
        len(APRIL),
        notes={"order_mdy"},
        gaps=0,
    ),
    Case(
        "newest_first_by_the_sequence",
        dated(APRIL[::-1], f("%d/%m/%Y")),
        PLACE,
        expected(APRIL, *Q),
        len(APRIL),
        notes={"order_dmy"},
    ),
    Case(
        "two_digits_everywhere_by_the_sequence",
        dated(APRIL, f("%d/%m/%y")),
        PLACE,
        expected(APRIL, *Q),
        len(APRIL),
        notes={"order_dmy"},
    ),
    Case(
        "ambiguous_asks", dated(APRIL[:2], f("%d/%m/%Y")), PLACE, asks={"date_order": SAMPLE_ORDER}
    ),
    Case(
        "ambiguous_single_row",
        dated(APRIL[:1], f("%d/%m/%Y")),
        PLACE,
        asks={"date_order": SAMPLE_ORDER},
    ),
    Case(
        "ambiguous_two_digit_year",
        dated(short(D(2005, 4, 3), 2), f("%d/%m/%y")),
        PLACE,
        asks={"date_order": ("dmy", "mdy", "ymd")},
    ),
    Case(
        "ambiguous_answered",
        dated(APRIL[:2], f("%d/%m/%Y")),
        {**PLACE, "answers": {"date_order": "dmy"}},
        expected(APRIL[:2], *Q),
        2,
    ),
    Case(
        "ambiguous_answered_the_other_way",
        dated(APRIL[:2], f("%m/%d/%Y")),
        {**PLACE, "answers": {"date_order": "mdy"}},
        expected(APRIL[:2], *Q),
        2,
    ),
    Case(
        "answer_against_the_rows",
        dated(DAYS, f("%d/%m/%Y")),
        {**PLACE, "answers": {"date_order": "mdy"}},
        refused="weather.no_such_date",
        where={"line": 5},
    ),
    Case("firsts_of_months_could_be_days", MONTHS, PLACE, asks={"date_order": SAMPLE_ORDER}),
    Case("monthly_table", YEAR_MONTH_ROWS, PLACE, refused="weather.monthly"),
    Case(
        "day_that_does_not_exist",
        NOT_A_DAY,
        PLACE,
        refused="weather.no_such_date",
        where={"line": 9, "text": "29/02/2025"},
    ),
    Case("leap_day", dated(LEAP, ISO), PLACE, expected(LEAP, *Q), len(LEAP), gaps=0),
    Case(
        "date_typed_wrong",
        TYPO,
        PLACE,
        refused="weather.bad_date",
        where={"line": 7, "text": "2025-01-1S"},
    ),
    Case(
        "two_ways_of_writing",
        MIXED,
        PLACE,
        refused="weather.mixed_dates",
        where={"line": 2, "other_line": 12},
    ),
    Case("year_month_day_columns", PARTS, PLACE, BASE, len(DAYS)),
    Case("year_and_day_of_year", DOY, PLACE, expected(NEW_YEAR, *Q), len(NEW_YEAR), gaps=0),
    Case("year_day_in_one", dated(DAYS, f("%Y%j")), PLACE, BASE, len(DAYS)),
    Case("spreadsheet_day_numbers", SERIAL, PLACE, BASE, len(DAYS), notes={"spreadsheet_days"}),
    Case("epoch_one_a_day", EPOCH, PLACE, BASE, len(DAYS)),
    Case("midnight_written_out", ISO_WITH_MIDNIGHT, PLACE, BASE, len(DAYS)),
    Case("day_in_utc_midnight_z", dated(DAYS, f("%Y-%m-%dT00:00:00Z")), PLACE, BASE, len(DAYS)),
    Case("local_midnight_in_utc_asks", LOCAL_MIDNIGHT, PLACE, asks={"time_zone": None}),
    Case(
        "local_midnight_in_utc",
        LOCAL_MIDNIGHT,
        {**PLACE, "time_zone": "Africa/Harare"},
        BASE,
        len(DAYS),
    ),
    Case("double_day_the_same", SAME_TWICE, PLACE, BASE, len(DAYS), notes={"doubles_same"}),
    Case("overlapping_exports", OVERLAP, PLACE, BASE, len(DAYS), notes={"doubles_same"}),
    Case("double_day_that_differs", OTHER_TWICE, PLACE, asks={"duplicate_days": ("first", "last")}),
    Case(
        "double_day_first",
        OTHER_TWICE,
        {**PLACE, "answers": {"duplicate_days": "first"}},
        BASE,
        len(DAYS),
        notes={"doubles_chosen"},
    ),
    Case(
        "double_day_last",
        OTHER_TWICE,
        {**PLACE, "answers": {"duplicate_days": "last"}},
        {DAYS[5].date: {"tmax_c": 33.3, "tmin_c": 11.1, "rain_mm": 44.0}},
        len(DAYS),
    ),
    Case("a_day_in_two_halves", HALVES, PLACE, BASE, len(DAYS), notes={"doubles_same"}),
    Case(
        "row_without_date",
        dated(DAYS, ISO).replace("2025-01-15,", ","),
        PLACE,
        refused="weather.row_without_date",
        where={"line": 7},
    ),
    Case("unsorted", dated([*DAYS[12:], *DAYS[:12]], ISO), PLACE, BASE, len(DAYS), gaps=0),
    Case(
        "two_date_columns",
        table(DAYS, ("Date", "Entered on", *H), [ISO, lambda d: (d.date + ONE).isoformat(), *C]),
        PLACE,
        BASE,
        len(DAYS),
    ),
]
