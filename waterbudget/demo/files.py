"""The demo farm's files: what each holds, and how the farm is built from them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from waterbudget.demo import hillside, maps, place, planting, watering, weather

HEIGHTS = "hillside.tif"

CONTENTS = {
    "outlines.geojson": "the sixteen blocks as drawn (GeoJSON, longitude and latitude)",
    "walk.gpx": "three of them as somebody walked round them (GPX, each point less than 1 m off)",
    HEIGHTS: "heights of the hillside, 10 m cells (GeoTIFF, metres, UTM zone 36 south)",
    "station.csv": "twelve years of daily weather, with the gaps a real station has",
    "forecast.csv": "the seven days from the demo date",
    "blocks.csv": "pruning dates, trees, outlets, flow and soil of every block",
    "ran.csv": "what really ran since October 2024, with misses",
}
"""File name and what it holds."""


@cache
def texts() -> dict[str, str]:
    """Return the text of every text file by its name (the height file is no text)."""
    days = weather.invent()
    return {
        "outlines.geojson": maps.outlines_geojson(),
        "walk.gpx": maps.walk_gpx(),
        "station.csv": weather.station_csv(days),
        "forecast.csv": weather.forecast_csv(days),
        "blocks.csv": planting.blocks_csv(),
        "ran.csv": watering.ran_csv(days),
        "README.md": readme(),
    }


def write_samples(folder: Path) -> None:
    """Write all files into ``folder``, over what is there under the same names."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    hillside.write_height_file(folder / HEIGHTS)


def commands(farm: str, folder: str) -> list[list[str]]:
    """Return the arguments of the commands that build the farm from the files.

    Parameters
    ----------
    farm, folder : str
        The farm file to write, and where the files lie.
    """
    station = ["--station", place.STATION_NAME]
    at = [
        "--at",
        f"{place.STATION_LAT},{place.STATION_LON}",
        "--elevation",
        f"{place.STATION_ELEVATION:g}",
    ]
    settings = [f"{key}={value}" for key, value in place.FARM_SETTINGS.items()]
    return [
        ["new", farm, "--name", place.FARM_NAME, "--at", f"{place.LAT},{place.LON}",
         "--elevation", f"{place.STATION_ELEVATION:g}"],
        ["farm", farm, *settings],
        ["outlines", farm, f"{folder}/outlines.geojson"],
        ["block", farm, "--file", f"{folder}/blocks.csv"],
        ["weather", farm, f"{folder}/station.csv", *station, *at],
        ["weather", farm, f"{folder}/forecast.csv", *station, "--forecast"],
        ["ran", farm, f"{folder}/ran.csv"],
    ]  # fmt: skip


def readme() -> str:
    """Return the page that lies beside the files."""
    rows = "\n".join(f"| `{name}` | {what} |" for name, what in CONTENTS.items())
    lines = "\n".join(
        "waterbudget " + " ".join(f'"{a}"' if " " in a else a for a in command)
        for command in [*commands("hill.gpkg", "sample_maps"), ["week", "hill.gpkg"]]
    )
    return f"""# The demo farm as files

Everything in here is invented: the hill, the names, the people, the weather. The files are written
by `python -m waterbudget.demo sample_maps`; change the generator (`waterbudget/demo/`), not them.

| file | what it holds |
| --- | --- |
{rows}

`waterbudget demo hill.gpkg` builds the same farm at once. From the files it takes:

```
{lines}
```
"""
