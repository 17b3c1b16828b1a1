"""Hard files, part 3: quantities and their units."""

from __future__ import annotations

import math

from weather_building import COLUMNS, ISO, PLACE, Case, expected, fixed, record, table

DAYS = record()
WIND_AT_10 = 4.87 / math.log(67.8 * 10 - 5.42)  # FAO-56 example 14 prints 0.75 for 10 m


def one(header, write, quantity, given=None, tol=1e-5, days=DAYS, **more):
    """Return a case of one quantity beside the high."""
    id_ = more.pop("id")
    return Case(id_, table(days, ("Date", "Tmax (C)", header), [ISO, COLUMNS["tmax"], write]),
                {**PLACE, **(given or {})}, expected(days, "tmax", quantity), len(days),
                tolerance=tol, **more)  # fmt: skip


def ask(id_, header, write, asks, days=DAYS, **given):
    """Return a case of one unclear quantity."""
    text = table(days, ("Date", "Tmax (C)", header), [ISO, COLUMNS["tmax"], write])
    return Case(id_, text, {**PLACE, **given}, asks=asks)


WIND = ("m/s", "km/h", "mph", "knots", "km/day")
SUN = ("MJ/m2", "W/m2", "kWh/m2", "Wh/m2", "langley", "J/cm2", "kJ/m2")
RAIN = ("mm", "inch", "tenth_mm", "cm")
TEMPERATURE = ("C", "F", "K", "tenth_C")
WIND_M_S = lambda d: fixed(d.wind, 3)  # noqa: E731
RAIN_MM = COLUMNS["rain"]


def temperatures(header_max, header_min, write):
    """Render highs and lows written by ``write``."""
    return table(
        DAYS, ("Date", header_max, header_min, "Rain (mm)"),
        [ISO, lambda d: write(d.tmax), lambda d: write(d.tmin), RAIN_MM],
    )  # fmt: skip


def to_f(c):
    return fixed(c * 1.8 + 32.0, 2)


def to_k(c):
    return fixed(c + 273.15, 2)


TEMPS = expected(DAYS, "tmax", "tmin", "rain")
TWO_HEIGHTS = table(
    DAYS, ("Date", "Tmax (C)", "Wind 10 m (m/s)", "Wind 2 m (m/s)"),
    [ISO, COLUMNS["tmax"], lambda d: fixed(d.wind / WIND_AT_10, 4), WIND_M_S],
)  # fmt: skip
PREAMBLE_HEIGHT = "Anemometer height: 10 m\n\n" + table(
    DAYS, ("Date", "Tmax (C)", "Wind (m/s)"),
    [ISO, COLUMNS["tmax"], lambda d: fixed(d.wind / WIND_AT_10, 6)],
)  # fmt: skip
DEW = table(DAYS, ("Date", "Tmax (C)", "Dew point (C)"), [ISO, COLUMNS["tmax"], lambda d: "14.0"])
EA = {d.date: {"ea_kpa": 1.598} for d in DAYS}  # FAO-56 table 2 prints 1.599 for 14 C
VAPOUR = table(DAYS, ("Date", "Tmax (C)", "Vapour pressure (hPa)"),
               [ISO, COLUMNS["tmax"], lambda d: fixed(15.2 + d.tmin / 100)])  # fmt: skip
MEAN_RH = table(DAYS, ("Fecha", "Tmax (C)", "HR media (%)"),
                [ISO, COLUMNS["tmax"], lambda d: fixed((d.rh_max + d.rh_min) / 2)])  # fmt: skip
TENTHS = table(
    DAYS, ("Date", "Tmax (0.1 °C)", "Tmin (0.1 °C)", "Rain (0.1 mm)"),
    [ISO, *(lambda d, q=q: str(round(getattr(d, q) * 10)) for q in ("tmax", "tmin", "rain"))],
)  # fmt: skip
TENTHS_UNSAID = TENTHS.replace(" (0.1 °C)", "").replace(" (0.1 mm)", "")
GIVEN_ET0 = table(DAYS, ("Date", "ET0 (mm)", "Rain (mm)"), [ISO, lambda d: "4.5", RAIN_MM])
C_AND_F = table(DAYS, ("Date", "Tmax (C)", "Tmax (F)", "Rain (mm)"),
                [ISO, COLUMNS["tmax"], lambda d: to_f(d.tmax), RAIN_MM])  # fmt: skip
TWO_MAX = table(DAYS, ("Date", "Tmax shade (C)", "Tmax roof (C)", "Rain (mm)"),
                [ISO, COLUMNS["tmax"], lambda d: fixed(d.tmax + 4), RAIN_MM])  # fmt: skip
INSOLATION = table(
    DAYS, ("Date", "Tmax (C)", "Insolation"), [ISO, COLUMNS["tmax"], lambda d: "8.1"]
)
SUN_HOURS = table(DAYS, ("Fecha", "Tmáx (C)", "Brillo solar (h)"),
                  [ISO, COLUMNS["tmax"], lambda d: fixed(d.rs / 2.6)])  # fmt: skip
SUN_MINUTES = table(DAYS, ("Date", "Tmax (C)", "Sunshine (min)"),
                    [ISO, COLUMNS["tmax"], lambda d: fixed(d.rs / 2.6 * 60, 3)])  # fmt: skip
HOURS = {d.date: {"sun_h": round(d.rs / 2.6, 1)} for d in DAYS}
HOURS_EXACT = {d.date: {"sun_h": d.rs / 2.6} for d in DAYS}
DRY_WEEK = [d for d in DAYS if d.rain < 7][:8]
DECOYS = table(
    DAYS,
    ("Date", "Soil temp (C)", "Grass min (C)", "Max gust (m/s)", "Wind direction",
     "Rain rate (mm/h)",
     "Net radiation (MJ/m2)", "Pressure (hPa)", "VPD (kPa)", "Rain probability (%)", "Tmax (C)",
     "Tmin (C)", "Rain (mm)"),
    [ISO, lambda d: "21.0", lambda d: "9.0", lambda d: "11.0", lambda d: "180", lambda d: "40",
     lambda d: "11.1", lambda d: "890", lambda d: "1.1", lambda d: "70", COLUMNS["tmax"],
     COLUMNS["tmin"], RAIN_MM],
)  # fmt: skip

CASES = [
    one("Wind 2 m (km/h)", lambda d: fixed(d.wind * 3.6, 4), "wind", id="wind_kmh", tol=1e-4),
    one("u2 [mph]", lambda d: fixed(d.wind / 0.44704, 4), "wind", id="wind_mph", tol=1e-4),
    one(
        "Vento 2m (nós)",
        lambda d: fixed(d.wind * 3600 / 1852, 4),
        "wind",
        id="wind_knots",
        tol=1e-4,
    ),
    one(
        "Wind run 2 m (km/day)",
        lambda d: fixed(d.wind * 86.4, 3),
        "wind",
        id="wind_km_a_day",
        tol=1e-4,
    ),
    one(
        "Recorrido del viento 2 m (km)",
        lambda d: fixed(d.wind * 86.4, 3),
        "wind",
        id="wind_run_km",
        tol=1e-4,
    ),
    one(
        "Wind run 2 m (miles)",
        lambda d: fixed(d.wind * 86400 / 1609.344, 3),
        "wind",
        id="wind_run_miles",
        tol=1e-4,
    ),
    one("Wind 10 m (m/s)", lambda d: fixed(d.wind / WIND_AT_10, 6), "wind", id="wind_at_10_m"),
    one(
        "WS (m/s)",
        lambda d: fixed(d.wind / WIND_AT_10, 6),
        "wind",
        {"wind_height_m": 10.0},
        id="wind_height_given",
    ),
    one(
        "WS (m/s)",
        lambda d: fixed(d.wind / WIND_AT_10, 6),
        "wind",
        {"answers": {"wind_height_m": "10"}},
        id="wind_height_answered",
    ),
    one(
        "WS 10 min avg (m/s)",
        WIND_M_S,
        "wind",
        {"wind_height_m": 2.0},
        id="ten_minutes_is_no_height",
    ),
    Case(
        "wind_height_in_preamble", PREAMBLE_HEIGHT, PLACE, expected(DAYS, "tmax", "wind"), len(DAYS)
    ),
    Case(
        "wind_at_two_heights",
        TWO_HEIGHTS,
        PLACE,
        expected(DAYS, "tmax", "wind"),
        len(DAYS),
        notes={"nearest_wind"},
        tolerance=1e-3,
    ),
    ask("wind_height_unknown", "Wind (m/s)", WIND_M_S, {"wind_height_m": None}),
    ask("wind_nothing_said", "Wind", WIND_M_S, {"unit_wind": WIND, "wind_height_m": None}),
    one("Rs (W/m2)", lambda d: fixed(d.rs / 0.0864, 3), "rs", id="radiation_w_m2", tol=1e-4),
    one("Solar (kWh/m²)", lambda d: fixed(d.rs / 3.6, 5), "rs", id="radiation_kwh", tol=1e-4),
    one(
        "Radiação (cal/cm²/dia)",
        lambda d: fixed(d.rs / 0.04184, 3),
        "rs",
        id="radiation_langley",
        tol=1e-4,
    ),
    one("Rayonnement (J/cm²)", lambda d: fixed(d.rs * 100, 1), "rs", id="radiation_j_cm2"),
    one("Solar (Wh/m2)", lambda d: fixed(d.rs / 0.0036, 2), "rs", id="radiation_wh", tol=1e-4),
    one(
        "Solar radiation",
        COLUMNS["rs"],
        "rs",
        id="radiation_unit_by_what_is_possible",
        notes={"unit_taken"},
    ),
    one(
        "Solar radiation",
        lambda d: fixed(d.rs / 0.0864, 3),
        "rs",
        id="radiation_w_by_what_is_possible",
        notes={"unit_taken"},
        tol=1e-4,
    ),
    ask(
        "radiation_short_file_asks",
        "Solar radiation",
        COLUMNS["rs"],
        {"unit_radiation": SUN},
        DAYS[:6],
    ),
    ask(
        "radiation_watts_called_mj",
        "Rs (MJ/m2)",
        lambda d: fixed(d.rs / 0.0864, 1),
        {"unit_radiation": SUN},
    ),
    ask("radiation_mj_called_watts", "Rs (W/m2)", COLUMNS["rs"], {"unit_radiation": SUN}),
    Case(
        "fahrenheit_said",
        temperatures("Tmax (F)", "Tmin (F)", to_f),
        PLACE,
        TEMPS,
        len(DAYS),
        tolerance=0.01,
    ),
    Case("kelvin_said", temperatures("Tmax [K]", "Tmin [K]", to_k), PLACE, TEMPS, len(DAYS)),
    Case(
        "celsius_unsaid",
        temperatures("Tmax", "Tmin", fixed),
        PLACE,
        TEMPS,
        len(DAYS),
        notes={"unit_taken"},
    ),
    Case(
        "fahrenheit_unsaid",
        temperatures("Tmax", "Tmin", to_f),
        PLACE,
        TEMPS,
        len(DAYS),
        tolerance=0.01,
        notes={"unit_taken"},
    ),
    Case(
        "fahrenheit_called_celsius",
        temperatures("Tmax (C)", "Tmin (C)", to_f),
        PLACE,
        asks={"unit_temperature": TEMPERATURE},
    ),
    Case(
        "celsius_called_fahrenheit",
        temperatures("Tmax (F)", "Tmin (F)", fixed),
        PLACE,
        asks={"unit_temperature": TEMPERATURE},
    ),
    Case(
        "unit_on_one_of_two_temperatures",
        temperatures("Tmax (°F)", "Tmin", to_f),
        PLACE,
        TEMPS,
        len(DAYS),
        tolerance=0.01,
    ),
    Case(
        "both_c_and_f_columns",
        C_AND_F,
        PLACE,
        expected(DAYS, "tmax", "rain"),
        len(DAYS),
        notes={"twin_columns"},
    ),
    Case(
        "two_columns_claim_the_high",
        TWO_MAX,
        PLACE,
        asks={"column_tmax": ("Tmax shade (C)", "Tmax roof (C)", "none")},
    ),
    Case(
        "two_columns_answered",
        TWO_MAX,
        {**PLACE, "answers": {"column_tmax": "Tmax shade (C)"}},
        expected(DAYS, "tmax", "rain"),
        len(DAYS),
    ),
    one(
        "RH max",
        lambda d: fixed(d.rh_max / 100, 2),
        "rh_max",
        id="humidity_fraction",
        notes={"unit_taken"},
    ),
    one(
        "RH max (%)",
        lambda d: fixed(d.rh_max / 100, 2),
        "rh_max",
        id="humidity_fraction_called_percent",
        notes={"unit_other"},
    ),
    Case(
        "humidity_mean",
        MEAN_RH,
        PLACE,
        {d.date: {"rh_mean": (d.rh_max + d.rh_min) / 2} for d in DAYS},
        len(DAYS),
    ),
    Case("dew_point", DEW, PLACE, EA, len(DAYS), tolerance=1e-3),
    Case(
        "vapour_pressure_hpa",
        VAPOUR,
        PLACE,
        {d.date: {"ea_kpa": round(15.2 + d.tmin / 100, 1) / 10} for d in DAYS},
        len(DAYS),
    ),
    one("Rain (in)", lambda d: fixed(d.rain / 25.4, 4), "rain", id="rain_inches", tol=2e-3),
    one(
        "Chuva (polegadas)",
        lambda d: fixed(d.rain / 25.4, 4),
        "rain",
        id="rain_polegadas",
        tol=2e-3,
    ),
    one("Lluvia (l/m2)", RAIN_MM, "rain", id="rain_litres"),
    one(
        "Rain (0.01 in)",
        lambda d: fixed(d.rain / 0.254, 2),
        "rain",
        id="rain_hundredths_of_inch",
        tol=1e-2,
    ),
    Case(
        "rain_too_much_for_inches",
        table(
            DAYS, ("Date", "Tmax (C)", "Rain"), [ISO, COLUMNS["tmax"], lambda d: fixed(d.rain * 3)]
        ),
        PLACE,
        {d.date: {"rain_mm": round(d.rain * 3, 1)} for d in DAYS},
        len(DAYS),
        notes={"unit_taken"},
    ),
    ask("rain_unit_unsaid", "Rain", RAIN_MM, {"unit_rain": RAIN}),
    Case(
        "rain_unit_answered",
        table(DAYS, ("Date", "Tmax (C)", "Rain"), [ISO, COLUMNS["tmax"], RAIN_MM]),
        {**PLACE, "answers": {"unit_rain": "mm"}},
        expected(DAYS, "tmax", "rain"),
        len(DAYS),
    ),
    Case(
        "rain_tips_ask",
        table(
            DAYS,
            ("Date", "Tmax (C)", "Rain (tips)"),
            [ISO, COLUMNS["tmax"], lambda d: str(round(d.rain / 0.1))],
        ),
        PLACE,
        asks={"mm_per_tip": None},
    ),
    Case(
        "rain_tips",
        table(
            DAYS,
            ("Date", "Tmax (C)", "Rain (tips)"),
            [ISO, COLUMNS["tmax"], lambda d: str(round(d.rain / 0.1))],
        ),
        {**PLACE, "answers": {"mm_per_tip": "0.1"}},
        expected(DAYS, "tmax", "rain"),
        len(DAYS),
    ),
    Case("tenths_said", TENTHS, PLACE, TEMPS, len(DAYS)),
    Case("tenths_unsaid", TENTHS_UNSAID, PLACE, asks={"unit_rain": RAIN}),
    Case(
        "tenths_answered",
        TENTHS_UNSAID,
        {**PLACE, "answers": {"unit_temperature": "tenth_C", "unit_rain": "tenth_mm"}},
        TEMPS,
        len(DAYS),
    ),
    Case(
        "given_et0_and_rain_only",
        GIVEN_ET0,
        PLACE,
        {d.date: {"et0_given_mm": 4.5, "rain_mm": d.rain} for d in DAYS},
        len(DAYS),
    ),
    Case("sunshine_hours", SUN_HOURS, PLACE, HOURS, len(DAYS)),
    Case("sunshine_minutes", SUN_MINUTES, PLACE, HOURS_EXACT, len(DAYS), tolerance=1e-4),
    Case(
        "insolation_is_two_things",
        INSOLATION,
        PLACE,
        asks={"column_sun": ("Insolation", "none"), "column_rs": ("Insolation", "none")},
    ),
    Case(
        "insolation_answered",
        INSOLATION,
        {**PLACE, "answers": {"column_sun": "Insolation", "unit_sun": "h"}},
        {d.date: {"sun_h": 8.1, "rs_mj": None} for d in DAYS},
        len(DAYS),
    ),
    Case(
        "look_alikes_are_left_alone",
        DECOYS,
        PLACE,
        {
            d.date: {
                "tmax_c": d.tmax,
                "tmin_c": d.tmin,
                "rain_mm": d.rain,
                "u2_m_s": None,
                "rs_mj": None,
                "ea_kpa": None,
            }
            for d in DAYS
        },
        len(DAYS),
        notes={"ignored"},
    ),
]
