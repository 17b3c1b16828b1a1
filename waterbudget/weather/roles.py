"""From a column's header to what is in it: first what must not be mistaken, then the quantity."""

from __future__ import annotations

import re
from typing import NamedTuple

from waterbudget.weather.vocabulary import MAX, MEAN, MIN, words_of
from waterbudget.weather.words import plain, unit_in_header, unit_of, words

QUANTITY_OF = {
    "tmax": "temperature", "tmin": "temperature", "temp": "temperature", "dew": "temperature",
    "rh_max": "humidity", "rh_min": "humidity", "rh": "humidity", "ea": "vapour",
    "wind": "wind", "rs": "radiation", "sun": "sun", "rain": "rain", "et0": "et0",
}  # fmt: skip
"""The unit family of each role."""


class Role(NamedTuple):
    """What a header says.

    Attributes
    ----------
    role : str or None
        None where no quantity is recognised.
    other : bool
        It is a known thing that is no input (gusts, soil temperature ...).
    either : tuple of str
        Roles the header fits that only a person can choose between.
    """

    role: str | None
    other: bool = False
    either: tuple[str, ...] = ()


OTHER = Role(None, other=True)


class _Words(NamedTuple):
    """A list of whole words and one of beginnings."""

    whole: frozenset[str]
    begin: tuple[str, ...]

    def found(self, tokens: list[str]) -> bool:
        return any(t in self.whole or t.startswith(self.begin) for t in tokens)


def _words(whole: str, begin: str = "\x00") -> _Words:
    return _Words(words_of(whole), tuple(begin.split()) or ("\x00",))


_HEAT = _words("t c ta tc", "temp air")
_NOT_IN_AIR = _words(
    "in int black globe wet box case log internal canopy cm bulb bulbo",
    "grass ground surf superf pasto cesped gazon leaf hoja folha feuille water agua eau humedo "
    "umido skin panel logger inside indoor interior inter",
)
_SOIL = _words("sol ts", "soil suelo solo subsuelo substrat")
_OTHERS = _words(
    "dir wd wdir winddir dd wdd bat lat lon v dbm qfe qnh slp bp stp msl vpd dpv thw thsw wet rnl "
    "rns dni dhi rn std sd stdev desv flag qc quality attributes attribute code status error "
    "recnbr record qf uncertainty pop prob chance index lux klux lx klx",
    "direc azimut bearing vane gust rafag racha rajada rafale batt volt vbat signal rssi firmw "
    "alti elev latit longi range amplitud wetb wetness mouillage molh chill feels sensac sensat "
    "heat apparent aparent humidex wbgt indice vpd defic sunrise sunset satur ptemp samp recept "
    "packet cool beauf bft force irrig riego rega bewasser "
    "runoff drain percol probab anomal depart climatol snow nieve neve neige hail graniz cloud "
    "nubos nebul nuage visib moisture density enthalp gdd grow rate intens",
)
_PAN = _words("pan tina", "tanque evapor class")
_PRESSURE = _words("", "press presi baro")
_LIGHT_BUT_NOT_GLOBAL = _words(
    "net neta neto par ppfd uv uva uvb lw",
    "longwave infrared diffus difus reflec albedo photos ultra direct clear extraterr terrest "
    "normal",
)
_CLOCK = _words("time hora heure hour")
_COUNTS = _words("rec num obs count")

_ET0 = _words("eto et0 etp et pet eto0 penman etref", "evapotr refet")
_NOT_GRASS = _words(
    "crop cultivo cultura real actual reelle etc etr etrs adj tall", "alfalf lucern luzern"
)
"""Words that make an ET one of a crop, or of the tall reference (alfalfa), not of grass."""
_DEW = _words("td tdew dpt dewpt dwpt mdew", "dew rocio orvalho rosee")
_VAPOUR = _words("ea vp", "vapo")
_RAIN = _words(
    "pp rr rainmm prectotcorr prectot tip tips",
    "rain precip prcp ppt pluie pluv chuva lluv prec basculad vuelco aguacaida "
    "niederschl regen piogg neersl reenval",
)
_SUN = _words(
    "",
    "sunshine insolac insolaz heliof ensoleil brillo sunh sundur bright sunsh sonnensch sonnenst",
)
_SUN_WORD = _words("sun sol soleil")
_HUMID = _words("rh ur hrel", "hum umid relhum luftfeucht feucht vochtig")
_RADIATION = _words(
    "rs sr rg qg ssr ssrd swdn",
    "rayonn rad solar srad ghi glob irrad pyran piran slr shortw swdown solrad swd strahl straling",
)
_WIND = _words("ws ff vv u vent vmed velv awnd wnd wsp", "wind viento vento anemo wspd vel")
_TEMPERATURE = _words("ta t tc db tavg", "temp air tair airt drybulb dry seco lufttemp")
_LETTERS = {"p": "rain", "r": "rain", "h": "rh", "v": "wind", "w": "wind", "n": "sun"}
"""Single letters that may stand for a quantity: asked about."""


def _is_other(t: list[str], text: str) -> bool:
    """Tell whether a column is something the water budget has no use for."""
    hot = _HEAT.found(t)
    if _SOIL.found([x for x in t if x not in ("sol", "ts")]):
        return True
    if hot and "horas" not in t and ("sol" in t or "ts" in t):
        return True
    if len(t) > 1 and t[0] in ("in", "inside", "indoor", "int", "interior"):
        return True
    if hot and _NOT_IN_AIR.found([x for x in t if x != "in"]) and not {"dry", "seco"} & set(t):
        return True
    if _PRESSURE.found(t) and not _VAPOUR.found(t):
        return True
    if _LIGHT_BUT_NOT_GLOBAL.found(t) and (_RADIATION.found(t) or len(t) <= 2 or "normal" in t):
        return True
    if _PAN.found(t) and not _ET0.found(t):
        return True
    if _OTHERS.found([x for x in t if x != "v" or len(t) > 1]):
        return True
    if "%" in text and _RAIN.found(t):
        return True
    if _COUNTS.found(t) and not _RAIN.found(t):
        return True
    extreme = bool(set(t) & {"max", "min", "hi", "low", "high"})
    return _CLOCK.found(t) and (extreme or hot) and not {"date", "fecha"} & set(t)


def _stat(tokens: list[str]) -> str | None:
    for t in tokens:
        if t in MAX:
            return "max"
        if t in MIN:
            return "min"
    return "mean" if any(t in MEAN for t in tokens) else None


def role_of(header: str, unit_text: str = "") -> Role:
    """Return what a column holds by its header (and the unit written under it)."""
    t = words(header)
    if not t:
        return Role(None)
    text = plain(header)
    stat = _stat(t)
    unit = _family_by_unit(header, unit_text)
    if _ET0.found(t) or (t[0] == "et" and "0" in t):
        return OTHER if _NOT_GRASS.found(t) else Role("et0")
    if {"etc", "etr", "etrs", "eta"} & set(t):
        return OTHER
    if _DEW.found(t):
        return OTHER if stat in ("max", "min") else Role("dew")
    if _VAPOUR.found(t) and not any(x.startswith(("evapo", "satur", "defic")) for x in t):
        return OTHER if {"es", "sat"} & set(t) else Role("ea")
    if _is_other(t, text):
        return OTHER
    return _quantity(t, stat, unit, f"{text} {plain(unit_text)}")


def _with_stat(stat: str | None, high: str, low: str, plain_role: str) -> Role:
    return Role({"max": high, "min": low}.get(stat or "", plain_role))


def _quantity(t: list[str], stat: str | None, unit: str | None, text: str) -> Role:
    extreme = stat in ("max", "min")
    if _RAIN.found(t) or ({"p", "r"} & set(t) and unit == "rain" and len(t) <= 4):
        return Role("rain")
    if t[0].startswith("insolation"):
        if unit is None:
            return Role(None, either=("sun", "rs"))
        return Role("sun" if unit == "sun" else "rs")
    if _SUN.found(t) or (_SUN_WORD.found(t) and _about_hours(t, unit)):
        if "%" in text or any(x.startswith(("percent", "porcent", "fracti")) for x in t):
            return OTHER
        return Role("rs" if unit == "radiation" else "sun")
    if _HUMID.found(t) or ("hr" in t and unit in ("humidity", None)):
        if any(x.startswith(("abs", "spec", "espec")) for x in t):
            return OTHER
        return _with_stat(stat, "rh_max", "rh_min", "rh")
    if "h" in t and unit == "humidity":
        return _with_stat(stat, "rh_max", "rh_min", "rh")
    if _RADIATION.found(t) or ("sw" in t and {"dwn", "in", "down"} & set(t)):
        return OTHER if extreme else Role("rs")
    if _WIND.found(t) or (unit == "wind" and any(x.startswith(("speed", "vitesse")) for x in t)):
        return OTHER if extreme else Role("wind")
    if _TEMPERATURE.found(t) or (stat and unit == "temperature"):
        return _with_stat(stat, "tmax", "tmin", "temp")
    if stat and unit == "humidity":
        return _with_stat(stat, "rh_max", "rh_min", "rh")
    if extreme and all(x in MAX | MIN for x in t):
        return Role(None, either=("tmax" if stat == "max" else "tmin",))
    if len(t) == 1 and unit is None and t[0] in _LETTERS:
        return Role(None, either=(_LETTERS[t[0]],))
    if unit == "rain" and _in_mm(text):
        return Role(None, either=("rain",))
    return Role(None)


def _in_mm(text: str) -> bool:
    """Tell whether an unknown name has mm beside it: so rain in another tongue is not lost."""
    return re.search(r"(?<![a-z0-9])mm(?![a-z0-9]|\s*/\s*h)", text) is not None


def _about_hours(t: list[str], unit: str | None) -> bool:
    hours = any(x.startswith(("hour", "hora", "heure", "dur")) for x in t)
    return hours or unit == "sun" or bool({"h", "hrs"} & set(t))


def _family_by_unit(header: str, unit_text: str) -> str | None:
    """Return the only unit family that a header's or unit row's unit belongs to."""
    found = set()
    for family in ("temperature", "wind", "radiation", "rain", "sun", "humidity"):
        if unit_of(unit_text, family) or unit_in_header(header, family):
            found.add(family)
    if re.fullmatch(r"\s*[a-zA-Z]\s*", header) and not unit_text:
        return None
    return next(iter(found)) if len(found) == 1 else None
