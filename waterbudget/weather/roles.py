"""From a column's header to what is in it: first what must not be mistaken, then the quantity."""

from __future__ import annotations

import re
from typing import NamedTuple

from waterbudget.weather.words import MAX, MEAN, MIN, plain, unit_in_header, unit_of, words

QUANTITY_OF = {
    "tmax": "temperature", "tmin": "temperature", "temp": "temperature", "dew": "temperature",
    "rh_max": "humidity", "rh_min": "humidity", "rh": "humidity", "ea": "vapour",
    "wind": "wind", "rs": "radiation", "sun": "sun", "rain": "rain", "et0": "et0",
}  # fmt: skip
"""The unit family of each role."""


class Role(NamedTuple):
    """What a header says: ``role`` None where nothing is known, ``other`` what it is instead."""

    role: str | None
    other: bool = False
    either: tuple[str, ...] = ()


OTHER = Role(None, other=True)


def _starts(tokens: list[str], prefixes: str) -> bool:
    heads = tuple(prefixes.split())
    return any(t.startswith(heads) for t in tokens)


def _any(tokens: list[str], whole: str) -> bool:
    return not set(whole.split()).isdisjoint(tokens)


def _is_other(t: list[str], text: str) -> bool:
    """Tell whether a column is something the water budget has no use for."""
    hot = _starts(t, "temp air") or _any(t, "t c ta")
    if _starts(t, "soil suelo solo subsuelo sueloo substrat") or (_any(t, "sol ts") and hot and "horas" not in t):
        return True
    if t[0] in ("in", "inside", "indoor", "int", "interior") and len(t) > 1:
        return True
    if hot and (_starts(t, "grass ground surf superf pasto cesped gazon leaf hoja folha feuille water agua eau canopy wet humedo umido skin panel log box internal case inside indoor interior inter black globe ")
                or _any(t, "cm int in bulb bulbo")) and not _any(t, "dry seco sec"):  # fmt: skip
        return not (_any(t, "in") and not _starts(t, "inside indoor"))
    if _starts(t, "direc azimut bearing vane") or _any(t, "dir wd wdir winddir dd dirviento wdd"):
        return True
    if _starts(t, "gust rafag racha rajada rafale"):
        return True
    if _starts(t, "batt volt vbat signal rssi logger firmw alti elev latit longi") or _any(t, "bat lat lon v dbm"):
        return True
    if _starts(t, "press presi baro") and not _starts(t, "vapo"):
        return True
    if _any(t, "qfe qnh slp bp stp msl"):
        return True
    if _starts(t, "range amplitud wetb wetness mouillage molh chill feels sensac sensat heat apparent aparent humidex thsw wbgt index indice vpd defic dpv sunrise sunset"):
        return True
    if _any(t, "vpd thw thsw wet ptemp") or _starts(t, "satur ptemp samp recept packet cool beauf bft"):
        return True
    if _starts(t, "net neta longwave infrared diffus difus reflec albedo par ppfd photos uv ultra direct clear extraterr toa terrest") and not _starts(t, "direcc"):
        return _starts(t, "rad sw lw par ppfd uv ultra albedo normal dni dhi solar irrad photos net") or _any(t, "rn")
    if _any(t, "dni dhi rnl rns"):
        return True
    if _starts(t, "prob pop chance anomal depart normal clima") or "%" in text and _starts(t, "rain precip lluv chuv plui"):
        return True
    if _starts(t, "pan tanque evapor cuba tina class") and not _starts(t, "evapot"):
        return True
    if _starts(t, "snow nieve neve neige hail graniz cloud nubos nebul nuage visib moisture density enthalp emc gdd cooling heating grow chillh"):
        return True
    if _starts(t, "rate intens") or _any(t, "std sd stdev desv flag qc quality attributes attribute code status error rn recnbr record qf uncertainty"):
        return True
    if _any(t, "rec num obs count") and not _starts(t, "rain precip tip"):
        return True
    return (_any(t, "time hora heure hour") and (_any(t, "max min hi low high") or hot)) and not _any(t, "date fecha")


def _stat(tokens: list[str]) -> str | None:
    for t in tokens:
        if t in MAX:
            return "max"
        if t in MIN:
            return "min"
    return "mean" if any(t in MEAN for t in tokens) else None


_RAIN = "rain precip prcp ppt pluie pluv chuva lluv prec tip basculad vuelco rainfall aguacaida"
_SUN = "sunshine insolac insolaz heliof ensoleil brillo sunh sundur bright sunsh"
_RADIATION = "rayonn rad solar srad ghi glob irrad pyran slr shortw swdown solrad swd piran"
_WIND = "wind viento vento anemo wspd velviento velvento wnd windspd wsp"
_HUMID = "hum umid relhum"
_TEMPERATURE = "temp air tair airt drybulb dry seco"


def role_of(header: str, unit_text: str = "") -> Role:
    """Return what a column holds by its header (and the unit written under it).

    Returns
    -------
    Role
        ``other=True`` for a known thing that is no input (gusts, soil temperature ...);
        ``either`` where the header fits two quantities.
    """
    t = words(header)
    text = plain(header)
    if not t:
        return Role(None)
    stat = _stat(t)
    unit = _family_by_unit(header, unit_text)
    if _any(t, "eto et0 etp evapotranspiracion et pet eto0 penman etref") or (_starts(t, "et") and "0" in t and t[0] == "et") or _starts(t, "evapotr refet"):
        crop = _any(t, "crop cultivo cultura real actual reelle etc etr adj")
        return OTHER if crop else Role("et0")
    if _any(t, "etc etr eta"):
        return OTHER
    if _starts(t, "dew rocio orvalho rosee dewp") or _any(t, "td tdew dpt dewpt dwpt mdew"):
        return OTHER if stat in ("max", "min") else Role("dew")
    if (_starts(t, "vapo") or _any(t, "ea vp evap_pressure")) and not _starts(t, "evapo satur defic"):
        return OTHER if _any(t, "deficit deficiency es sat") else Role("ea")
    if _is_other(t, text):
        return OTHER
    return _quantity(t, stat, unit, text)


def _quantity(t: list[str], stat: str | None, unit: str | None, text: str) -> Role:
    if _starts(t, _RAIN) or _any(t, "pp rr rainmm prectotcorr prectot r_mm") or (_any(t, "p r") and unit == "rain" and len(t) <= 4):
        return Role("rain")
    if _starts(t, "insolation") and unit is None:
        return Role(None, either=("sun", "rs"))
    if _starts(t, "insolation"):
        return Role("sun" if unit == "sun" else "rs")
    if _starts(t, _SUN) or (_any(t, "sun sol soleil") and (_starts(t, "hour hora heure dur") or unit == "sun" or _any(t, "h hrs"))):
        if "%" in text or _starts(t, "percent porcent fraction fracc"):
            return OTHER
        return Role("sun") if unit != "radiation" else Role("rs")
    if _starts(t, _HUMID) or _any(t, "rh ur hrel") or (_any(t, "hr h") and unit in ("humidity", None) and not _any(t, "rad sol wind viento")):
        if _starts(t, "abs spec espec"):
            return OTHER
        if _any(t, "h") and not (_starts(t, _HUMID) or _any(t, "rh ur hr")) and unit is None:
            return Role(None, either=("rh",)) if len(t) == 1 else Role(None)
        return Role({"max": "rh_max", "min": "rh_min"}.get(stat or "", "rh"))
    if _starts(t, _RADIATION) or _any(t, "rs sr rg qg sw_in ssr swdn") or (_any(t, "sw") and _any(t, "dwn in down")):
        return OTHER if stat in ("max", "min") else Role("rs")
    if _starts(t, _WIND) or _any(t, "ws ff vv u vent vmed velv awnd ventmoyen"):
        return OTHER if stat in ("max", "min") else Role("wind")
    if _starts(t, "speed veloc vitesse") and unit == "wind":
        return OTHER if stat in ("max", "min") else Role("wind")
    if _starts(t, _TEMPERATURE) or _any(t, "ta t tc db tavg tmin tmax tmean"):
        return Role({"max": "tmax", "min": "tmin"}.get(stat or "", "temp"))
    if stat and unit == "temperature":
        return Role({"max": "tmax", "min": "tmin"}.get(stat, "temp"))
    if stat and unit == "humidity":
        return Role({"max": "rh_max", "min": "rh_min"}.get(stat, "rh"))
    if len(t) == 1 and unit is None and t[0] in _LETTERS:
        return Role(None, either=(_LETTERS[t[0]],))
    return Role(None)


_LETTERS = {"p": "rain", "r": "rain", "h": "rh", "v": "wind", "w": "wind", "n": "sun"}
"""Single letters that may stand for a quantity: asked about."""


def _family_by_unit(header: str, unit_text: str) -> str | None:
    """Return the only unit family that a header's or unit row's unit belongs to."""
    found = set()
    for family in ("temperature", "wind", "radiation", "rain", "sun", "humidity"):
        if unit_of(unit_text, family) or unit_in_header(header, family):
            found.add(family)
    bare = {f for f in found if not re.fullmatch(r"\s*[a-zA-Z]\s*", header)}
    return next(iter(bare)) if len(bare) == 1 else ("rain" if bare == {"rain", "et0"} else None)
