"""The words people write over columns, in English, Spanish, Portuguese and French.

Vocabulary of the trade and of weather services, common practice, no source.  Two doors:
:func:`role_of` (what is in a column) and :func:`unit_of` (in which unit).
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

MAX = frozenset("max maximum maxima maximo maxi maximale maximal mx high hi highest mxm".split())
MIN = frozenset("min minimum minima minimo mini minimale minimal mn low lo lowest".split())
MEAN = frozenset(
    "avg mean average aver ave media medio med moy moyenne moyen prom promedio mittel".split()
)
OTHER_STATS = frozenset("tot total sum smp sample std sd count n cumul instant inst wvc tmx tmn".split())

_SPLIT_STAT = re.compile(
    r"(t|temp|temperature|temperatura|ta|rh|hr|ur|hum|humidity|h|ws|wind|dew|td|tair|airt|rs|dewpoint|u)"
    r"(max|min|mean|avg|med|moy|mx|mn|maxima|minima|media|prom|maximum|minimum)"
)
_SHORT = {"tx": "t max", "tn": "t min", "tm": "t mean", "tg": "t mean", "rhx": "rh max",
          "rhn": "rh min", "tmp": "temp", "temps": "temps"}  # fmt: skip


@lru_cache(maxsize=8192)
def plain(text: str) -> str:
    """Return text in small letters without accents, raised digits or odd signs."""
    text = re.sub(r"[°ºᵒ˚]", " deg ", text).replace("µ", "u").replace("‰", "permille")
    text = unicodedata.normalize("NFKD", text)
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = re.sub(r"m[^\s]{1,3}?xim", "maxim", re.sub(r"m[^\s]{1,3}?nim", "minim", text))
    text = text.replace("−", "-").replace("–", "-").replace("⁄", "/").replace("·", ".")
    return re.sub(r"\s+", " ", text.casefold()).strip()


def words(text: str) -> list[str]:
    """Return the words and numbers of a header, compounds such as ``Tmax`` taken apart."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    found: list[str] = []
    bare = re.sub(r"\b\d+[ -]?min(?:utes?)?\b", " ", plain(text))  # "10 min" is a time
    for token in re.findall(r"[a-z]+|\d+(?:\.\d+)?", bare):
        split = _SPLIT_STAT.fullmatch(token)
        if token in _SHORT:
            found.extend(_SHORT[token].split())
        elif split:
            found.extend(split.groups())
        else:
            found.append(token)
    return found


def is_stat(cell: str) -> bool:
    """Tell whether a header cell says only Max, Min, Avg, Tot ..."""
    tokens = re.findall(r"[a-z]+", plain(cell))
    return bool(tokens) and all(t in MAX | MIN | MEAN | OTHER_STATS for t in tokens)


_UNITS: dict[str, dict[str, str]] = {
    "temperature": {
        "C": "c|celsius|centigrade|centigrados|gradosc|degc|celcius|tc",
        "F": "f|fahrenheit|degf",
        "K": "k|kelvin|degk",
        "tenth_C": "0.1c|1/10c|c/10|c*10|c10|cx10|10*c|tenthsc|tenthsofc|tenthofc|decimasc|decimasdec"
        "|decimosdec|dixiemesdec|10thsc|decic|tenthscelsius|tenthsofcelsius|.1c",
        "hundredth_C": "0.01c|1/100c|c/100|hundredthsc|hundredthsofc",
        "tenth_F": "0.1f|1/10f|f/10|tenthsf|tenthsoff",
    },
    "wind": {
        "m/s": "m/s|ms-1|m.s-1|mps|m/sec|m/seg|msec-1|meters/second|metres/second|meter/sec|mts/s"
        "|meterspersecond|metrespersecond|metros/s|metros/segundo|ms",
        "km/h": "km/h|kmh|kph|kmph|kmh-1|km.h-1|km/hr|km/hour|km/hora|kmhr-1|kilometers/hour|km/heure",
        "mph": "mph|mi/h|miles/h|miles/hr|miles/hour|mi/hr|milesperhour|mih-1",
        "knots": "kn|kt|kts|knot|knots|nudos|nudo|nos|noeuds|noeud",
        "km/day": "km/d|km/day|km/dia|km/jour|kmd-1|kmday-1|km/24h|kmday|kmd|km.d-1|km/j",
        "miles/day": "miles/day|mi/day|mi/d|milesday-1",
        "tenth_m/s": "0.1m/s|1/10m/s|m/s/10|tenthsm/s|tenthsofm/s|m/s*10|decimasdem/s|tenthsofmeterspersecond|0.1ms-1",
        "km": "km|kilometers|kilometres|kilometros",
        "miles": "miles|mi|millas",
    },
    "radiation": {
        "MJ/m2": "mj/m2|mjm-2|mj/m2/d|mj/m2/day|mj/m2d|mj/m2day|mjm-2d-1|mjm-2day-1|mj/m2/dia|mj/m2dia|mj"
        "|mjm2|mj/(m2day)|mj/m2/j|mj/m2/jour|mjm-2dia-1|mj/m2/h|mjm-2h-1|mj/m2/hr|mjm2d|mjm2day|mj/sqm|mj/m^2|mjm-2.d-1|mj/m2-day|mj/m2.d|mj/m2/24h|mjm2d-1|megajoules/m2",
        "W/m2": "w/m2|wm-2|watt/m2|watts/m2|wm2|w/sqm|w|watts|wattm-2|watts/squaremeter|w/m^2",
        "kW/m2": "kw/m2|kwm-2|kw",
        "langley": "ly|langley|langleys|ly/d|ly/day|cal/cm2|calcm-2|cal/cm2/d|cal/cm2/day|ly/dia|cal/cm2/dia|calcm-2d-1|lyd-1|calcm-2day-1|langleys/day|ly/min",
        "J/cm2": "j/cm2|jcm-2|j/cm2/d|j/cm2/day|jcm-2d-1|jcm-2day-1|j/cm2/dia|j/cm2/jour",
        "kJ/m2": "kj/m2|kjm-2|kj/m2/d|kj/m2/day|kjm-2d-1|kj|kjm-2day-1|kjm2",
        "J/m2": "j/m2|jm-2|j/m2/d|j/m2/day|jm-2d-1",
        "Wh/m2": "wh/m2|whm-2|wh/m2/d|wh/m2/day|w.h/m2|w-hr/m2|w-h/m2|whm-2d-1|wh|whm2",
        "kWh/m2": "kwh/m2|kwhm-2|kwh/m2/d|kwh/m2/day|kw-hr/m2/day|kw-hr/m2|kw-h/m2/day|kwh|kwhm-2d-1|kwh/m2/dia|kwhm-2day-1|kw.h/m2|kwhm2",
    },
    "vapour": {
        "kPa": "kpa|kilopascal|kilopascals",
        "hPa": "hpa|mbar|mb|millibar|millibars|milibar|milibares|mbars",
        "Pa": "pa|pascal|pascals",
        "mmHg": "mmhg|torr|mmdehg",
        "tenth_hPa": "0.1hpa|1/10hpa|hpa/10|0.1mbar",
    },
    "rain": {
        "mm": "mm|mm/d|mm/day|mm/dia|mm/jour|mmd-1|mmday-1|l/m2|lt/m2|lm-2|millimeters|millimetres|milimetros"
        "|litros/m2|mm/24h|mm/j|millimeter|millimetre|mmdia-1|kgm-2|kg/m2|l/sqm|mm/interval",
        "inch": "in|inch|inches|pulg|pulgadas|polegadas|pouces|in/d|in/day|\"|in.|inday-1",
        "cm": "cm|cm/d|centimeters|cm/day",
        "m": "metres|meters|mofwater",
        "tenth_mm": "0.1mm|1/10mm|mm/10|mm*10|mm10|mmx10|tenthsmm|tenthsofmm|tenthofmm|decimasdemm|decimasmm"
        "|decimosdemm|dixiemesdemm|10thsmm|.1mm|tenthsofmillimeters",
        "hundredth_inch": "0.01in|1/100in|hundredthsin|hundredthsofinch|hundredthsofinches|0.01inch|inches/100|in/100|hundredthsofaninch",
        "tips": "tips|tip|counts|count|pulses|pulse|pulsos|pulso|vuelcos|basculadas|basculements|cnt|bucket tips|impulsos|buckettips|impulsions",
        "mm/h": "mm/h|mm/hr|mm/hour|mmh-1|mmhr-1|mm/hora|mm/heure",
        "in/h": "in/h|in/hr|inh-1|inhr-1|inches/h|in/hour",
    },
    "sun": {
        "h": "h|hr|hrs|hour|hours|hora|horas|heure|heures|h/d|h/day|hours/day|h/dia|hd-1|hday-1|hhours|horas/dia",
        "min": "min|mins|minute|minutes|minuto|minutos|min/d|min/day|min/h|min/hour",
        "s": "s|sec|secs|seconds|segundos|secondes",
        "tenth_h": "0.1h|1/10h|tenthsh|tenthsofhours|h/10|tenthshours|0.1hours|0.1hour",
    },
    "humidity": {
        "%": "%|pct|percent|perc|porciento|porcentaje|porcento|pourcent|%rh|rh%|%hr|pc|per cent",
        "fraction": "fraction|frac|0-1|0..1|fraccion|fracao|fraccion(0-1)|ratio|decimal|1",
        "tenth_%": "0.1%|1/10%|tenths%|tenthsof%",
    },
    "et0": {
        "mm": "mm|mm/d|mm/day|mm/dia|mm/jour|mmd-1|mmday-1|mm/24h|mm/j|l/m2|mmdia-1|kgm-2|millimeters|milimetros|l/m2/d",
        "inch": "in|inch|inches|in/d|in/day|inday-1|pulg|pulgadas",
        "cm": "cm|cm/d|cm/day",
        "tenth_mm": "0.1mm|1/10mm|tenthsofmm|tenthsmm|mm/10",
    },
}  # fmt: skip

_LOOKUP = {
    quantity: {form: unit for unit, forms in units.items() for form in forms.split("|")}
    for quantity, units in _UNITS.items()
}
_ANY_UNIT = frozenset(form for forms in _LOOKUP.values() for form in forms) | frozenset(
    "degrees deg degree hectopascals mg/l v volts volt dbm ts rn yyyy-mm-dd dd/mm/yyyy mm/dd/yyyy "
    "hh:mm yyyymmdd dd-mm-yyyy cbar nan lst unitless none yyyy dd mm hh jj/mm/aaaa dd/mm/aaaa "
    "hhmm".split()
)


def _squeezed(text: str) -> str:
    text = plain(text).replace("degrees", "").replace("degree", "").replace("grados", "")
    text = re.sub(r"\bdeg\b|\bgraus\b|\bgrau\b|\bdegres\b|\bdegre\b|\bo(?=c\b)", "", text)
    text = text.encode("ascii", "ignore").decode()
    return re.sub(r"[\s_^()\[\]{}'’]|\.(?=[a-z(-]|$)", "", text).strip(",;:")


def unit_of(text: str, quantity: str) -> str | None:
    """Return the unit a piece of text names for a quantity; None where it names none."""
    if not text or not text.strip():
        return None
    key = _squeezed(text)
    return _LOOKUP[quantity].get(key) or _LOOKUP[quantity].get(key.replace("*", ""))


def is_unit_word(cell: str) -> bool:
    """Tell whether a header cell holds only a unit (or a date form)."""
    inner = re.fullmatch(r"\s*[\[({](.*)[\])}]\s*", cell)
    key = _squeezed(inner.group(1) if inner else cell)
    return key in _ANY_UNIT or _date_form(plain(cell)) is not None


def _date_form(text: str) -> str | None:
    found = re.search(r"\b(?:(d{1,2}|j{1,2})[-/. ]?(m{1,3})[-/. ]?([yaj]{1,4})|(m{1,2})[-/. ]?(d{1,2}|j{1,2})[-/. ]?([ya]{1,4})|([ya]{1,4})[-/. ]?(m{1,2})[-/. ]?(d{1,2}|j{1,2}))\b", text)
    if not found:
        return None
    if found.group(1):
        return "dmy"
    return "mdy" if found.group(4) else "ymd"


def date_order_said(header: str) -> str | None:
    """Return ``dmy``, ``mdy`` or ``ymd`` where a header says so (``DD/MM/YYYY``, ``jj/mm/aaaa``)."""
    return _date_form(plain(header))


@lru_cache(maxsize=4096)
def unit_in_header(header: str, quantity: str) -> str | None:
    """Return the unit a header names for a quantity: in brackets, or among its last words."""
    for inside in re.findall(r"[\[({]([^\])}]*(?:\([^)]*\))?[^\])}]*)[\])}]", header):
        for piece in (inside, *re.split(r"[,;]", inside)):
            if unit := unit_of(piece, quantity):
                return unit
    outside = re.sub(r"[\[({].*?[\])}]", " ", header)
    outside = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", outside)
    split = [t for t in re.split(r"[\s_,;:]+", outside) if t]
    stats = MAX | MIN | MEAN | OTHER_STATS
    tokens = [(i, t) for i, t in enumerate(split) if plain(t) not in stats]
    for end in range(len(tokens), 0, -1):
        for start in range(max(0, end - 4), end):
            if tokens[start][0] == 0 and end - start == 1:
                continue  # a leading "T", "HR" or "W" is a name, not a unit
            for glue in ("", "/", " "):
                if unit := unit_of(glue.join(t for _, t in tokens[start:end]), quantity):
                    return unit
    return None


_HEIGHT = re.compile(r"(?<![\d.,])(\d{1,2}(?:[.,]\d{1,2})?)\s?_?(?:m|mts|metros|metres|meters)(?![a-z0-9/.²^-]|\s*/|\s*s\b)")


def height_in(text: str) -> float | None:
    """Return the height [m] a header names (``10 m``, ``WS2M``, ``u2``); None where it names none."""
    low = plain(re.sub(r"[\[({].*?(?:/|s-1|s\b).*?[\])}]", " ", text))
    found = _HEIGHT.search(low)
    if found is None:
        found = re.search(r"(?:^|[^a-z])u_?(2|10)(?![\d.])", low)
    if found is None:
        return None
    height = float(found.group(1).replace(",", "."))
    return height if 0.5 <= height <= 100 else None
