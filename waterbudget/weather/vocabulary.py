"""Words over columns and names of units, in English, Spanish, Portuguese, French and more.

Vocabulary of the trade and of weather services: common practice, no source.
"""

from __future__ import annotations


def words_of(text: str) -> frozenset[str]:
    """Return the blank-separated words of a text as a set."""
    return frozenset(text.split())


MAX = words_of(
    "max maximum maxima maximo maxi maximale maximal mx high hi highest mxm massima massimo maks "
    "maksimum hochste hoechste"
)
MIN = words_of(
    "min minimum minima minimo mini minimale minimal mn low lo lowest tiefste niedrigste minste"
)
MEAN = words_of(
    "avg mean average aver ave media medio med moy moyenne moyen prom promedio mittel "
    "mittlere gemiddeld gemiddelde"
)
OTHER_STATS = words_of("tot total sum smp sample std sd count n cumul instant inst tmx tmn")

UNIT_NAMES: dict[str, dict[str, str]] = {
    "temperature": {
        "C": "c celsius centigrade centigrados gradosc degc celcius tc",
        "F": "f fahrenheit degf",
        "K": "k kelvin degk",
        "tenth_C": (
            "0.1c 1/10c c/10 c*10 c10 cx10 10*c tenthsc tenthsofc tenthofc decimasc "
            "decimasdec decimosdec dixiemesdec 10thsc decic tenthscelsius tenthsofcelsius "
            ".1c"
        ),
        "hundredth_C": "0.01c 1/100c c/100 hundredthsc hundredthsofc",
        "tenth_F": "0.1f 1/10f f/10 tenthsf tenthsoff",
    },
    "wind": {
        "m/s": (
            "m/s ms-1 m.s-1 mps m/sec m/seg msec-1 meters/second metres/second meter/sec "
            "mts/s meterspersecond metrespersecond metros/s metros/segundo ms"
        ),
        "km/h": (
            "km/h kmh kph kmph kmh-1 km.h-1 km/hr km/hour km/hora kmhr-1 kilometers/hour km/heure"
        ),
        "mph": "mph mi/h miles/h miles/hr miles/hour mi/hr milesperhour mih-1",
        "knots": "kn kt kts knot knots nudos nudo nos noeuds noeud",
        "km/day": "km/d km/day km/dia km/jour kmd-1 kmday-1 km/24h kmday kmd km.d-1 km/j",
        "miles/day": "miles/day mi/day mi/d milesday-1",
        "tenth_m/s": (
            "0.1m/s 1/10m/s m/s/10 tenthsm/s tenthsofm/s m/s*10 decimasdem/s "
            "tenthsofmeterspersecond 0.1ms-1"
        ),
        "cm/s": "cm/s cms-1 cm.s-1 cm/sec cm/seg",
        "km": "km kilometers kilometres kilometros",
        "miles": "miles mi millas",
    },
    "radiation": {
        "MJ/m2": (
            "mj/m2 mjm-2 mj/m2/d mj/m2/day mj/m2d mj/m2day mjm-2d-1 mjm-2day-1 mj/m2/dia "
            "mj/m2dia mj mjm2 mj/(m2day) mj/m2/j mj/m2/jour mjm-2dia-1 mj/m2/h mjm-2h-1 "
            "mj/m2/hr mjm2d mjm2day mj/sqm mj/m^2 mjm-2.d-1 mj/m2-day mj/m2.d mj/m2/24h "
            "mjm2d-1 megajoules/m2"
        ),
        "W/m2": "w/m2 wm-2 watt/m2 watts/m2 wm2 w/sqm w watts wattm-2 watts/squaremeter w/m^2",
        "kW/m2": "kw/m2 kwm-2 kw",
        "langley": (
            "ly langley langleys ly/d ly/day cal/cm2 calcm-2 cal/cm2/d cal/cm2/day ly/dia "
            "cal/cm2/dia calcm-2d-1 lyd-1 calcm-2day-1 langleys/day ly/min"
        ),
        "J/cm2": "j/cm2 jcm-2 j/cm2/d j/cm2/day jcm-2d-1 jcm-2day-1 j/cm2/dia j/cm2/jour",
        "kJ/m2": "kj/m2 kjm-2 kj/m2/d kj/m2/day kjm-2d-1 kj kjm-2day-1 kjm2",
        "J/m2": "j/m2 jm-2 j/m2/d j/m2/day jm-2d-1",
        "Wh/m2": "wh/m2 whm-2 wh/m2/d wh/m2/day w.h/m2 w-hr/m2 w-h/m2 whm-2d-1 wh whm2",
        "kWh/m2": (
            "kwh/m2 kwhm-2 kwh/m2/d kwh/m2/day kw-hr/m2/day kw-hr/m2 kw-h/m2/day kwh "
            "kwhm-2d-1 kwh/m2/dia kwhm-2day-1 kw.h/m2 kwhm2"
        ),
    },
    "vapour": {
        "kPa": "kpa kilopascal kilopascals",
        "hPa": "hpa mbar mb millibar millibars milibar milibares mbars",
        "Pa": "pa pascal pascals",
        "mmHg": "mmhg torr mmdehg",
        "tenth_hPa": "0.1hpa 1/10hpa hpa/10 0.1mbar",
    },
    "rain": {
        "mm": (
            "mm mm/d mm/day mm/dia mm/jour mmd-1 mmday-1 l/m2 lt/m2 lm-2 millimeters "
            "millimetres milimetros litros/m2 mm/24h mm/j millimeter millimetre mmdia-1 "
            "kgm-2 kg/m2 l/sqm mm/interval"
        ),
        "inch": 'in inch inches pulg pulgadas polegadas pouces in/d in/day " in. inday-1',
        "cm": "cm cm/d centimeters cm/day",
        "m": "metres meters mofwater",
        "tenth_mm": (
            "0.1mm 1/10mm mm/10 mm*10 mm10 mmx10 tenthsmm tenthsofmm tenthofmm decimasdemm "
            "decimasmm decimosdemm dixiemesdemm 10thsmm .1mm tenthsofmillimeters"
        ),
        "hundredth_inch": (
            "0.01in 1/100in hundredthsin hundredthsofinch hundredthsofinches 0.01inch "
            "inches/100 in/100 hundredthsofaninch"
        ),
        "tips": (
            "tips tip counts count pulses pulse pulsos pulso vuelcos basculadas "
            "basculements cnt buckettips impulsos impulsions"
        ),
        "mm/h": "mm/h mm/hr mm/hour mmh-1 mmhr-1 mm/hora mm/heure",
        "in/h": "in/h in/hr inh-1 inhr-1 inches/h in/hour",
    },
    "sun": {
        "h": (
            "h hr hrs hour hours hora horas heure heures h/d h/day hours/day h/dia hd-1 "
            "hday-1 hhours horas/dia"
        ),
        "min": "min mins minute minutes minuto minutos min/d min/day min/h min/hour",
        "s": "s sec secs seconds segundos secondes",
        "tenth_h": "0.1h 1/10h tenthsh tenthsofhours h/10 tenthshours 0.1hours 0.1hour",
    },
    "humidity": {
        "%": "% pct percent perc porciento porcentaje porcento pourcent %rh rh% %hr pc",
        "fraction": "fraction frac 0-1 0..1 fraccion fracao fraccion(0-1) ratio decimal 1",
        "tenth_%": "0.1% 1/10% tenths% tenthsof%",
    },
    "et0": {
        "mm": (
            "mm mm/d mm/day mm/dia mm/jour mmd-1 mmday-1 mm/24h mm/j l/m2 mmdia-1 kgm-2 "
            "millimeters milimetros l/m2/d"
        ),
        "inch": "in inch inches in/d in/day inday-1 pulg pulgadas",
        "cm": "cm cm/d cm/day",
        "tenth_mm": "0.1mm 1/10mm tenthsofmm tenthsmm mm/10",
    },
}
"""For each quantity its units and the ways they are written, blanks and dots left out."""
