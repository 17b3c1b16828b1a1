"""A random record in a random layout reads back to the same days, or asks; it never differs."""

from __future__ import annotations

import contextlib
import datetime as dt
import random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.weather import WeatherFile, read_weather

MONTHS = {
    "en": ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"],
    "es": ["ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"],
    "pt": ["jan", "fev", "mar", "abr", "mai", "jun", "jul", "ago", "set", "out", "nov", "dez"],
    "fr": [
        "janv.",
        "févr.",
        "mars",
        "avr.",
        "mai",
        "juin",
        "juil.",
        "août",
        "sept.",
        "oct.",
        "nov.",
        "déc.",
    ],
}
DATES = {
    "iso": lambda d, _: d.isoformat(),
    "dmy/": lambda d, _: f"{d:%d/%m/%Y}",
    "mdy/": lambda d, _: f"{d:%m/%d/%Y}",
    "d.m.y": lambda d, _: f"{d.day}.{d.month}.{d.year}",
    "dmy2": lambda d, _: f"{d:%d-%m-%y}",
    "compact": lambda d, _: f"{d:%Y%m%d}",
    "named": lambda d, lang: f"{d.day}-{MONTHS[lang][d.month - 1]}-{d.year}",
    "serial": lambda d, _: str((d - dt.date(1899, 12, 30)).days),
    "midnight": lambda d, _: f"{d} 00:00:00",
}
NAMES = {
    "tmax_c": {"en": "Max temp", "es": "Temperatura máxima", "pt": "Temp. máx", "fr": "Temp. max"},
    "tmin_c": {"en": "Min temp", "es": "Temperatura mínima", "pt": "Temp. mín", "fr": "Temp. min"},
    "rh_max": {"en": "RH max", "es": "HR máxima", "pt": "UR máx", "fr": "Humidité max"},
    "rh_min": {"en": "RH min", "es": "HR mínima", "pt": "UR mín", "fr": "Humidité min"},
    "u2_m_s": {"en": "Wind 2 m", "es": "Viento 2 m", "pt": "Vento 2 m", "fr": "Vent 2 m"},
    "rs_mj": {"en": "Solar rad", "es": "Radiación", "pt": "Radiação", "fr": "Rayonnement"},
    "rain_mm": {"en": "Rain", "es": "Lluvia", "pt": "Chuva", "fr": "Pluie"},
}
# unit: (to file, decimals, largest error when read back in the unit used inside)
UNITS: dict[str, dict[str, tuple[Any, int, float]]] = {
    "temp": {"°C": (lambda v: v, 1, 1e-6), "F": (lambda v: v * 1.8 + 32, 2, 0.003),
             "K": (lambda v: v + 273.15, 2, 1e-6), "0.1 C": (lambda v: v * 10, 0, 1e-6)},
    "rh": {"%": (lambda v: v, 0, 1e-6), "fraction": (lambda v: v / 100, 2, 1e-6)},
    "wind": {"m/s": (lambda v: v, 2, 1e-6), "km/h": (lambda v: v * 3.6, 3, 2e-4),
             "mph": (lambda v: v / 0.44704, 3, 3e-4), "km/day": (lambda v: v * 86.4, 2, 1e-4)},
    "sun": {"MJ/m2": (lambda v: v, 1, 1e-6), "W/m²": (lambda v: v / 0.0864, 3, 1e-4),
            "J/cm2": (lambda v: v * 100, 0, 1e-6)},
    "rain": {"mm": (lambda v: v, 1, 1e-6), "in": (lambda v: v / 25.4, 4, 2e-3)},
}  # fmt: skip
KIND = {"tmax_c": "temp", "tmin_c": "temp", "rh_max": "rh", "rh_min": "rh", "u2_m_s": "wind",
        "rs_mj": "sun", "rain_mm": "rain"}  # fmt: skip
MISSING = ("", "NA", "-999", "-9999", "*", "s/d", "NaN", "---")


def true_days(rng: random.Random) -> dict[dt.date, dict[str, float]]:
    """Return an invented record; the sun stays between an overcast and a clear day at 20 S."""
    first = dt.date(rng.randint(1990, 2030), rng.randint(1, 12), rng.randint(1, 28))
    days = {}
    for i in range(rng.randint(4, 45)):
        if rng.random() < 0.05 and i > 3:
            continue
        tmax = round(rng.uniform(16, 38), 1)
        high = rng.randint(60, 100)
        days[first + dt.timedelta(days=i)] = {
            "tmax_c": tmax,
            "tmin_c": round(tmax - rng.uniform(2, 14), 1),
            "rh_max": float(high),
            "rh_min": float(rng.randint(15, high - 5)),
            "u2_m_s": round(rng.uniform(0.3, 7.0), 2),
            "rs_mj": round(rng.uniform(6.0, 17.0), 1),
            "rain_mm": round(max(0.0, rng.gauss(-2, 9)), 1),
        }
    return days


def render(
    rng: random.Random, days: dict[dt.date, dict[str, float]]
) -> tuple[bytes, dict[str, Any]]:
    """Return the record as a file in a random layout, and what is known of it."""
    lang = rng.choice(list(MONTHS))
    mark = rng.choice([".", ","])
    separator = rng.choice([",", ";", "\t", "|", ", "] if mark == "." else [";", "\t", "|", '","'])
    quantities = [q for q in NAMES if q in ("tmax_c", "rain_mm") or rng.random() < 0.8]
    rng.shuffle(quantities)
    units = {k: rng.choice(list(v)) for k, v in UNITS.items()}
    said = {k: rng.random() < 0.85 for k in UNITS}
    where = rng.choice(["header", "row"])
    write = DATES[rng.choice(list(DATES))]
    gone = rng.choice(MISSING)
    dated = {"en": "Date", "es": "Fecha", "pt": "Data", "fr": "Date"}[lang]

    def cell(q: str, v: float | None) -> str:
        if v is None:
            return gone
        to_file, decimals, _ = UNITS[KIND[q]][units[KIND[q]]]
        return f"{to_file(v):.{decimals}f}".replace(".", mark)

    def header(q: str) -> str:
        unit = units[KIND[q]] if said[KIND[q]] and where == "header" else ""
        return f"{NAMES[q][lang]} ({unit})" if unit else NAMES[q][lang]

    at = rng.choice([0, 0, 0, len(quantities)])
    rows = [[header(q) for q in quantities]]
    rows[0].insert(at, dated)
    if where == "row":
        rows.append([units[KIND[q]] if said[KIND[q]] else "" for q in quantities])
        rows[1].insert(at, "")
    order = sorted(days, reverse=rng.random() < 0.2)
    for d in order:
        cells = [cell(q, days[d].get(q)) for q in quantities]
        cells.insert(at, write(d, lang))
        rows.append(cells)
    quote = '"' if separator == '","' else ""
    text = "\n".join(quote + separator.join(r) + quote for r in rows) + "\n"
    if rng.random() < 0.3:
        text = "Station: upper terrace\n\n" + text
    end = rng.choice(["\n", "\r\n"])
    code = rng.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"])
    known = {"quantities": quantities, "units": units}
    return text.replace("\n", end).encode(code), known


def lose_some(rng: random.Random, days: dict[dt.date, dict[str, float]]) -> None:
    """Take single values out."""
    for values in days.values():
        for q in list(values):
            if rng.random() < 0.03:
                del values[q]


def check(found: WeatherFile, days: dict[dt.date, dict[str, float]], known: dict[str, Any]) -> None:
    marked = {(f.date, f.quantity) for f in found.flags}
    got = {d.date: d.values for d in found.days}
    wanted = {
        d: {q: v for q, v in values.items() if q in known["quantities"]}
        for d, values in days.items()
    }
    assert set(got) == {d for d, v in wanted.items() if v}
    for date, values in wanted.items():
        for q in known["quantities"]:
            if q not in values:
                assert q not in got.get(date, {}), (date, q)
            elif q not in got[date]:
                assert (date, q) in marked, f"{date} {q} is lost"
            else:
                off = UNITS[KIND[q]][known["units"][KIND[q]]][2]
                assert got[date][q] == pytest.approx(values[q], abs=off), (date, q)


@settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**9))
def test_reads_back_or_asks(seed: int) -> None:
    rng = random.Random(seed)
    days = true_days(rng)
    lose_some(rng, days)
    data, known = render(rng, days)
    try:
        found = read_weather(data, name="random", lat=-20.0, elevation_m=900.0)
    except AnswersNeeded as asked:
        assert asked.questions
        return
    check(found, days, known)


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**9), st.integers(1, 6))
def test_a_damaged_file_never_ends_in_a_fault(seed: int, damages: int) -> None:
    """Bytes lost, doubled or changed: read, asked or refused, but no other error."""
    rng = random.Random(seed)
    data = bytearray(render(rng, true_days(rng))[0])
    for _ in range(damages):
        a = rng.randrange(len(data))
        b = min(len(data), a + rng.choice([1, 2, 5, 40, 400]))
        what = rng.randrange(4)
        if what == 0:
            del data[a:b]
        elif what == 1:
            data[a:a] = data[a:b]
        elif what == 2:
            data[a:b] = bytes(rng.randrange(256) for _ in range(b - a))
        else:
            data[a:a] = rng.choice([b'"', b",", b";", b"\n", b"\t", b"\x00", b"-", b"9999", b" "])
        if not data:
            break
    with contextlib.suppress(AnswersNeeded, Refused):
        read_weather(bytes(data), name="damaged", lat=-20.0, wind_height_m=2.0)


CLOCKS = {
    "iso": lambda t: f"{t:%Y-%m-%d %H:%M}",
    "t": lambda t: f"{t:%Y-%m-%dT%H:%M:%S}",
    "dmy": lambda t: f"{t:%d/%m/%Y %H:%M}",
    "am_pm": lambda t: f"{t:%m/%d/%Y %I:%M:%S %p}",
    "basic": lambda t: f"{t:%Y%m%d%H%M}",
    "serial": lambda t: f"{(t - dt.datetime(1899, 12, 30)).total_seconds() / 86400:.7f}",
    "z": lambda t: f"{t - dt.timedelta(hours=2):%Y-%m-%dT%H:%M:%SZ}",
}


def readings_of(rng: random.Random, step: int) -> dict[dt.datetime, dict[str, float]]:
    """Return invented readings of whole days, a few of them lost."""
    first = dt.datetime(rng.randint(2000, 2030), rng.randint(1, 12), rng.randint(1, 28))
    n = rng.randint(3, 8) * 1440 // step
    warm, wet = rng.uniform(18, 30), rng.random() * 0.2
    found = {}
    for i in range(n):
        edge = i < 2 or i > n - 3
        if not edge and rng.random() < 0.02:
            continue
        found[first + dt.timedelta(minutes=step * i)] = {
            "temp": round(warm + rng.uniform(-8, 8), 2),
            "rh": float(rng.randint(20, 100)),
            "wind": round(rng.uniform(0.1, 6), 2),
            "rain": round(rng.uniform(0.1, 4), 1) if rng.random() < wet else 0.0,
        }
    return found


def days_of(readings: dict[dt.datetime, dict[str, float]], step: int) -> dict[dt.date, Any]:
    """Return by plain loops what the days must be: None where too few readings are left."""
    by_day: dict[dt.date, list[dict[str, float]]] = {}
    for moment, values in readings.items():
        by_day.setdefault(moment.date(), []).append(values)
    made = {}
    for date, rows in by_day.items():
        share = len(rows) / (1440 / step)
        some, most = share >= 0.75, share >= 0.9
        made[date] = {
            "tmax_c": max(r["temp"] for r in rows) if some else None,
            "tmin_c": min(r["temp"] for r in rows) if some else None,
            "rh_max": max(r["rh"] for r in rows) if some else None,
            "rh_min": min(r["rh"] for r in rows) if some else None,
            "rain_mm": sum(r["rain"] for r in rows) if most else None,
            "edge": share < 0.95,
        }
    return made


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**9))
def test_hours_and_minutes_become_the_right_days_or_are_asked_about(seed: int) -> None:
    rng = random.Random(seed)
    step = rng.choice([10, 15, 20, 30, 60])
    readings = readings_of(rng, step)
    write = CLOCKS[rng.choice(list(CLOCKS))]
    at_end = rng.random() < 0.4
    shift = dt.timedelta(minutes=step if at_end else 0)
    moments = sorted(readings, reverse=rng.random() < 0.2)
    mark = rng.choice([".", ","])
    lines = ["Time;Temp (C);RH (%);Wind 2 m (m/s);Rain (mm)"]
    for m in moments:
        cells = [f"{v:.2f}".replace(".", mark) for v in readings[m].values()]
        lines.append(";".join([write(m + shift), *cells]))
    try:
        found = read_weather(
            "\n".join(lines).encode(), name="random", lat=-20.0, time_zone="Africa/Harare"
        )
    except AnswersNeeded as asked:
        assert {q.key for q in asked.questions} <= {"date_order", "stamp", "rain_kind"}
        return
    wanted = days_of(readings, step)
    got = {d.date: d.values for d in found.days}
    ends = (min(wanted), max(wanted))
    marked = {(f.date, f.quantity) for f in found.flags}
    for date, values in wanted.items():
        if date in ends and values.pop("edge"):
            assert date not in got
            continue
        values.pop("edge", None)
        for q, v in values.items():
            if v is None or (q not in got[date] and (date, q) in marked):
                assert q not in got[date], (date, q)
            else:
                assert got[date][q] == pytest.approx(v, abs=1e-4), (date, q)
