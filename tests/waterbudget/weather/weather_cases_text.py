"""Hard files, part 1: text codes, line ends, separators, headers, decimals, what is no table."""

from __future__ import annotations

import io
import zipfile

from weather_building import (
    COLUMNS,
    HEADER,
    ISO,
    PLACE,
    Case,
    comma,
    expected,
    record,
    table,
)

DAYS = record()
ALL = expected(DAYS)
PLAIN = table(DAYS)
ES = ("Fecha", "Temp. máx. (°C)", "Temp. mín. (°C)", "Humedad máx. (%)", "Humedad mín. (%)",
      "Viento a 2 m (m/s)", "Radiación global (MJ/m²/día)", "Lluvia (mm)")  # fmt: skip
PT = ("Data", "Temperatura máxima (°C)", "Temperatura mínima (°C)", "UR máxima (%)",
      "UR mínima (%)", "Velocidade do vento a 2 m (m/s)", "Radiação solar (MJ/m²)",
      "Precipitação (mm)")  # fmt: skip
FR = ("Date", "Température maximale (°C)", "Température minimale (°C)", "Humidité max (%)",
      "Humidité min (%)", "Vent moyen à 2 m (m/s)", "Rayonnement global (MJ/m²)",
      "Pluie (mm)")  # fmt: skip
DMY = lambda d: d.date.strftime("%d/%m/%Y")  # noqa: E731
COMMA_CELLS = [lambda d, c=c: comma(c(d)) for c in COLUMNS.values()]
COMMA_DMY = [DMY, *COMMA_CELLS[1:]]
SEMI = table(DAYS, ES, COMMA_DMY, ";")


def xlsx() -> bytes:
    """Return the outside of a workbook."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as box:
        box.writestr("[Content_Types].xml", "<Types/>")
        box.writestr("xl/workbook.xml", "<workbook/>")
    return out.getvalue()


def zipped() -> bytes:
    """Return an archive with the plain file in it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as box:
        box.writestr("station.csv", PLAIN)
    return out.getvalue()


def fixed_width(days, blank_rain: bool = False) -> str:
    """Return columns by place, header words over them, some places empty."""
    lines = [
        "Date         Max Temp   Min Temp   RH Max   RH Min   Wind 2m   Solar Rad    Rain",
        "                   C          C        %        %       m/s       MJ/m2      mm",
    ]
    for i, d in enumerate(days):
        rain = "" if blank_rain and i == 4 else f"{d.rain:.1f}"
        tmin = "" if blank_rain and i == 6 else f"{d.tmin:.1f}"
        lines.append(
            f"{d.date.isoformat()}{d.tmax:10.1f} {tmin:>10} {d.rh_max:8.0f} {d.rh_min:8.0f}"
            f" {d.wind:9.2f} {d.rs:11.1f} {rain:>7}"
        )
    return "\n".join(lines) + "\n"


def without(days, index: int, *quantities: str):
    """Return the expected days with some values of one day unknown."""
    found = expected(days)
    names = {"tmin": "tmin_c", "rain": "rain_mm", "wind": "u2_m_s"}
    for q in quantities:
        found[days[index].date][names[q]] = None
    return found


def short_line(text: str, line: int, cells: int) -> str:
    """Return a text with one line cut to some cells."""
    lines = text.splitlines()
    lines[line] = ",".join(lines[line].split(",")[:cells])
    return "\n".join(lines) + "\n"


THOUSANDS = table(
    DAYS,
    ("Date", "Tmax (C)", "Solar (kJ/m2)", "Rain (mm)"),
    [ISO, COLUMNS["tmax"], lambda d: f'"{d.rs * 1000:,.1f}"', COLUMNS["rain"]],
)
THOUSANDS_ES = table(
    DAYS,
    ("Fecha", "Tmax (C)", "Radiación (kJ/m2)", "Lluvia (mm)"),
    [ISO, COMMA_CELLS[1], lambda d: f"{d.rs * 1000:,.0f}".replace(",", "."), COMMA_CELLS[7]],
    ";",
)
THREE_DIGITS = table(
    DAYS, ("Date", "Radiation (J/cm2)"), [ISO, lambda d: f"{d.rs * 100:,.0f}"], ";"
)
LOGGER = (
    '"File kind","Logger 7","program 3"\n'
    '"TIMESTAMP","RECORD","AirTC_Max","AirTC_Min","RH_Max","RH_Min","WS_ms_Avg","SlrMJ_Tot","Rain_mm_Tot"\n'
    '"TS","RN","Deg C","Deg C","%","%","meters/second","MJ/m^2","mm"\n'
    '"","","Max","Min","Max","Min","Avg","Tot","Tot"\n'
    + "".join(
        f'"{d.date} 23:59:00",{i},{d.tmax:.1f},{d.tmin:.1f},{d.rh_max:.0f},{d.rh_min:.0f},'
        f"{d.wind:.2f},{d.rs:.1f},{d.rain:.1f}\n"
        for i, d in enumerate(DAYS)
    )
)
GROUPED = (
    ",Air temperature,,Relative humidity,,Wind at 2 m,Global radiation,Rain\n"
    "Date,Max,Min,Max,Min,Mean,Total,Total\n"
    "yyyy-mm-dd,°C,°C,%,%,m/s,MJ/m²,mm\n" + table(DAYS, None)
)
HEIGHT_2 = {**PLACE, "wind_height_m": 2.0}

CASES = [
    Case("plain_csv", PLAIN, PLACE, ALL, len(DAYS), gaps=0),
    Case("bom_utf8", "\ufeff" + PLAIN, PLACE, ALL, len(DAYS)),
    Case("latin1_spanish", SEMI.encode("latin-1"), PLACE, ALL, len(DAYS)),
    Case("utf16_with_mark", SEMI.encode("utf-16"), PLACE, ALL, len(DAYS)),
    Case("utf16_without_mark", SEMI.encode("utf-16-le"), PLACE, ALL, len(DAYS)),
    Case("utf32", SEMI.encode("utf-32"), PLACE, ALL, len(DAYS)),
    Case("crlf", PLAIN.replace("\n", "\r\n"), PLACE, ALL, len(DAYS)),
    Case("old_cr_only", PLAIN.replace("\n", "\r"), PLACE, ALL, len(DAYS)),
    Case("blank_lines_between", PLAIN.replace("\n", "\n\n"), PLACE, ALL, len(DAYS)),
    Case("no_newline_at_end", PLAIN.rstrip("\n"), PLACE, ALL, len(DAYS)),
    Case("portuguese", table(DAYS, PT, COMMA_DMY, ";"), PLACE, ALL, len(DAYS)),
    Case("french_tab", table(DAYS, FR, COMMA_DMY, "\t"), PLACE, ALL, len(DAYS)),
    Case("pipe", table(DAYS, separator="|"), PLACE, ALL, len(DAYS)),
    Case("sep_line", "sep=;\n" + SEMI, PLACE, ALL, len(DAYS)),
    Case(
        "quoted_decimal_comma",
        table(DAYS, ES, [DMY, *(lambda d, c=c: f'"{c(d)}"' for c in COMMA_CELLS[1:])]),
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case(
        "all_quoted",
        "\n".join(",".join(f'"{c}"' for c in x.split(",")) for x in PLAIN.splitlines()) + "\n",
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case("trailing_separators", PLAIN.replace("\n", ",,\n"), PLACE, ALL, len(DAYS)),
    Case(
        "trailing_separator_on_data_only",
        PLAIN.replace("\n", ",\n").replace(",\n", "\n", 1),
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case(
        "blanks",
        table(
            DAYS,
            ("Date", "Tmax_C", "Tmin_C", "RHmax_%", "RHmin_%", "WS2m_m/s", "Rs_MJ/m2", "Rain_mm"),
            separator="  ",
        ),
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case("fixed_columns", fixed_width(DAYS), PLACE, ALL, len(DAYS)),
    Case(
        "fixed_columns_with_empty_places",
        fixed_width(DAYS, True),
        PLACE,
        {
            **ALL,
            DAYS[4].date: without(DAYS, 4, "rain")[DAYS[4].date],
            DAYS[6].date: without(DAYS, 6, "tmin")[DAYS[6].date],
        },
        len(DAYS),
    ),
    Case(
        "blanks_with_a_missing_value",
        table(DAYS, None, separator=" ").replace("29.0 ", "", 1),
        {**PLACE},
        refused="weather.uneven_line",
    ),
    Case(
        "preamble_and_comments",
        "Station;Upper terrace\nLatitude;-19,9\nElevation;1100 m\n\n# made by hand\n"
        + SEMI
        + "# end of file\n",
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case(
        "preamble_in_commas",
        "Station,Upper terrace\nLatitude,-19.9\nElevation (m),1100\n\n" + PLAIN,
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case("commented_header", "# " + PLAIN, PLACE, ALL, len(DAYS)),
    Case(
        "comment_in_the_middle",
        PLAIN.replace("2025-01-15", "# battery changed\n2025-01-15"),
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case(
        "footer_with_totals",
        PLAIN + f"Total,,,,,,,{sum(d.rain for d in DAYS):.1f}\nMean,28.1,17.9,88,45,1.8,20.1,\n",
        PLACE,
        ALL,
        len(DAYS),
        notes={"lines_left_out"},
    ),
    Case("footer_prose", PLAIN + "\nEnd of report. Printed on 3 March.\n", PLACE, ALL, len(DAYS)),
    Case(
        "page_breaks_repeat_the_header",
        PLAIN.replace("2025-01-20", ",".join(HEADER) + "\n2025-01-20"),
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case(
        "second_header_with_other_columns",
        PLAIN
        + "Date,Rain (mm),Tmax (C),Tmin (C),RH max (%),RH min (%),Wind,Solar\n"
        + table(record(5, DAYS[-1].date.replace(day=28)), None),
        PLACE,
        refused="weather.second_header",
        where={"line": 26},
    ),
    Case(
        "last_line_cut",
        PLAIN.rstrip("\n").rsplit(",", 3)[0],
        PLACE,
        expected(DAYS[:-1]),
        len(DAYS) - 1,
        notes={"cut_off"},
    ),
    Case(
        "last_value_cut",
        table([*DAYS[:17], DAYS[17]]).rstrip("\n")[:-2],
        PLACE,
        {**expected(DAYS[:17]), DAYS[17].date: without(DAYS, 17, "rain")[DAYS[17].date]},
        18,
        notes={"cut_value"},
    ),
    Case(
        "line_short_in_the_middle",
        short_line(PLAIN, 9, 5),
        PLACE,
        {k: v for k, v in ALL.items() if k != DAYS[8].date},
        len(DAYS),
        notes={"short_lines"},
    ),
    Case(
        "line_too_long",
        PLAIN.replace("2025-01-15,", "2025-01-15,7,"),
        PLACE,
        refused="weather.uneven_line",
        where={"line": 7},
    ),
    Case(
        "comma_decimals_in_a_comma_file",
        table(DAYS, ES, COMMA_DMY, ","),
        PLACE,
        refused="weather.decimal_comma_clash",
        where={"line": 2},
    ),
    Case("units_row", GROUPED, PLACE, ALL, len(DAYS)),
    Case("logger_four_row_header", LOGGER, HEIGHT_2, ALL, len(DAYS)),
    Case(
        "header_cell_over_two_lines",
        PLAIN.replace("Tmax (C)", '"Tmax\n(C)"', 1),
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case(
        "units_in_cells",
        table(
            DAYS,
            ("Date", "Tmax", "Tmin", "RH max", "RH min", "Wind 2 m", "Solar", "Rain"),
            [
                ISO,
                *(
                    lambda d, c=c, u=u: f"{c(d)} {u}"
                    for c, u in zip(
                        list(COLUMNS.values())[1:],
                        ("°C", "°C", "%", "%", "m/s", "MJ/m²", "mm"),
                        strict=True,
                    )
                ),
            ],
        ),
        PLACE,
        ALL,
        len(DAYS),
    ),
    Case("thousands_separators", THOUSANDS, PLACE, expected(DAYS, "tmax", "rs", "rain"), len(DAYS)),
    Case(
        "thousands_points_decimal_commas",
        THOUSANDS_ES,
        PLACE,
        expected(DAYS, "tmax", "rs", "rain"),
        len(DAYS),
    ),
    Case(
        "three_digits_after_a_comma_only",
        THREE_DIGITS,
        PLACE,
        asks={"decimal_mark": ("point", "comma")},
    ),
    Case(
        "three_digits_answered",
        THREE_DIGITS,
        {**PLACE, "answers": {"decimal_mark": "point"}},
        expected(DAYS, "rs"),
        len(DAYS),
    ),
    Case(
        "gap_of_three_days",
        table([*DAYS[:6], *DAYS[9:]]),
        PLACE,
        expected([*DAYS[:6], *DAYS[9:]]),
        len(DAYS) - 3,
        gaps=1,
    ),
    Case("newest_first", table(reversed(DAYS)), PLACE, ALL, len(DAYS)),
    Case("gzip_or_zip_of_one_file", zipped(), PLACE, ALL, len(DAYS)),
    Case(
        "html_page",
        "<!DOCTYPE html><html><body><table><tr><td>1</td></tr></table></body></html>",
        refused="weather.web_page",
    ),
    Case("workbook_as_csv", xlsx(), refused="weather.workbook"),
    Case(
        "old_workbook_as_csv",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
        refused="weather.workbook",
    ),
    Case("pdf", b"%PDF-1.7\n1 0 obj\n", refused="weather.not_text"),
    Case("picture", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), refused="weather.not_text"),
    Case("json", '{"days": [{"date": "2025-01-01", "rain": 3}]}', refused="weather.not_text"),
    Case("binary_rubbish", bytes(range(1, 256)) * 20, refused="weather.not_text"),
    Case("empty", b"", refused="weather.empty"),
    Case("only_blank_lines", b"\r\n \r\n\r\n", refused="weather.empty"),
    Case("header_only", ",".join(HEADER) + "\n", refused="weather.header_only"),
    Case(
        "prose",
        "Dear neighbour,\nhere is the weather.\nIt was hot, and then it rained.\nBye\n",
        refused="weather.no_table",
    ),
    Case(
        "no_date_column",
        table(DAYS, HEADER[1:], list(COLUMNS.values())[1:]),
        PLACE,
        refused="weather.no_date",
    ),
    Case(
        "nothing_of_use",
        table(
            DAYS, ("Date", "Soil temp (C)", "Battery (V)"), [ISO, COLUMNS["tmax"], COLUMNS["wind"]]
        ),
        PLACE,
        refused="weather.nothing_known",
    ),
    Case(
        "unknown_columns_named",
        table(DAYS, (*HEADER, "Frobs"), [*COLUMNS.values(), lambda d: "7"]),
        PLACE,
        ALL,
        len(DAYS),
        notes={"ignored"},
    ),
    Case(
        "no_header",
        table(DAYS, None, [ISO, COLUMNS["tmax"], COLUMNS["tmin"], COLUMNS["rain"]]),
        PLACE,
        asks={
            "column_tmax": ("2", "3", "4", "none"),
            "column_tmin": ("2", "3", "4", "none"),
            "column_rh_max": ("2", "3", "4", "none"),
            "column_rh_min": ("2", "3", "4", "none"),
            "column_wind": ("2", "3", "4", "none"),
            "column_rs": ("2", "3", "4", "none"),
            "column_rain": ("2", "3", "4", "none"),
            "column_et0": ("2", "3", "4", "none"),
            "unit_wind": ("m/s", "km/h", "mph", "knots", "km/day"),
            "unit_radiation": ("MJ/m2", "W/m2", "kWh/m2", "Wh/m2", "langley", "J/cm2", "kJ/m2"),
            "unit_rain": ("mm", "inch", "tenth_mm", "cm"),
            "wind_height_m": None,
        },
    ),
    Case(
        "no_header_answered",
        table(DAYS, None, [ISO, COLUMNS["tmax"], COLUMNS["tmin"], COLUMNS["rain"]]),
        {
            **PLACE,
            "answers": {
                "column_tmax": "2",
                "column_tmin": "3",
                "column_rain": "4",
                "column_rh_max": "none",
                "column_rh_min": "none",
                "column_wind": "none",
                "column_rs": "none",
                "column_et0": "none",
                "unit_rain": "mm",
                "unit_wind": "m/s",
                "unit_radiation": "MJ/m2",
                "wind_height_m": "2",
            },
        },
        expected(DAYS, "tmax", "tmin", "rain"),
        len(DAYS),
    ),
]
