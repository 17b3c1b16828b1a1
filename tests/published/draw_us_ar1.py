"""Draw ``us_ar1_daily.svg``: measured grass beside what the daily account makes of its weather.

Run it after anything that changes numbers: ``python tests/published/draw_us_ar1.py``.  It takes the
same run as ``tests/waterbudget/test_measured_grass.py``, which says what was chosen and why.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "waterbudget")]

import measured_grass as field  # noqa: E402

LEFT, RIGHT, WIDTH, HEIGHT = 62, 876, 900, 660
INK, QUIET, GRID = "#22282c", "#5b666d", "#dfe4e6"
MODEL, MEASURED = "#1f6f9f", "#b5541c"
PANELS = {"et": (78, 300), "store": (352, 462), "soil": (514, 604)}


def text(x: float, y: float, words: str, size: int = 13, fill: str = INK, **more: str) -> str:
    """Return one piece of writing."""
    extra = "".join(f' {k.replace("_", "-")}="{v}"' for k, v in more.items())
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{fill}"{extra}>{words}</text>'


def line(xs: np.ndarray, ys: np.ndarray, colour: str, **more: str) -> str:
    """Return a line through points."""
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(xs, ys, strict=True))
    extra = "".join(f' {k.replace("_", "-")}="{v}"' for k, v in more.items())
    return f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="1.8"{extra}/>'


class Panel:
    """One frame: days from left to right, a value from bottom to top."""

    def __init__(self, name: str, dates: np.ndarray, low: float, high: float) -> None:
        self.top, self.bottom = PANELS[name]
        self.first, self.days = dates[0], len(dates)
        self.low, self.high = low, high

    def x(self, day: np.ndarray) -> np.ndarray:
        return LEFT + (RIGHT - LEFT) * np.asarray(day, dtype=float) / self.days

    def y(self, value: np.ndarray | float) -> np.ndarray:
        share = (np.asarray(value, dtype=float) - self.low) / (self.high - self.low)
        return self.bottom - (self.bottom - self.top) * share

    def frame(self, step: float, title: str) -> list[str]:
        """Return title, level lines and years."""
        out = [text(LEFT, self.top - 12, title, 13, INK, font_weight="600")]
        for value in np.arange(self.low, self.high + step / 2, step):
            y = float(self.y(value))
            out.append(f'<path d="M{LEFT} {y:.1f}H{RIGHT}" stroke="{GRID}"/>')
            out.append(text(LEFT - 8, y + 4, f"{value:g}", 12, QUIET, text_anchor="end"))
        for year in (2010, 2011, 2012):
            x = float(self.x((np.datetime64(f"{year}-01-01") - self.first).astype(int)))
            out.append(f'<path d="M{x:.1f} {self.top}V{self.bottom + 5}" stroke="{GRID}"/>')
            out.append(text(x + 4, self.bottom + 17, str(year), 12, QUIET))
        return out


def months_panel(g: field.Grass) -> list[str]:
    """Return the monthly sums: modelled a line, measured dots, filled months rings."""
    panel = Panel("et", g.dates, 0.0, 150.0)
    month = g.dates.astype("datetime64[M]")
    names = np.unique(month)
    middle = np.array([np.flatnonzero(month == m).mean() + 0.5 for m in names])
    share = np.array([g.measured_share[month == m].mean() for m in names])
    xs, model, seen = panel.x(middle), panel.y(g.monthly(g.modelled)), g.monthly(g.measured)
    out = panel.frame(50.0, "Evaporation and transpiration, mm a month")
    out.append(line(xs, model, MODEL))
    out.append(line(xs, panel.y(seen), MEASURED, stroke_dasharray="2 4"))
    for x, y, part in zip(xs, panel.y(seen), share, strict=True):
        inside = MEASURED if part >= 0.75 else "#ffffff"
        out.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{inside}" stroke="{MEASURED}" '
            'stroke-width="1.6"/>'
        )
    out += _key(panel.top - 16, g)
    return out


def _key(y: float, g: field.Grass) -> list[str]:
    x = 430.0
    ring = f'stroke="{MEASURED}" stroke-width="1.6"'
    return [
        f'<path d="M{x} {y}h22" stroke="{MODEL}" stroke-width="1.8"/>',
        text(x + 28, y + 4, "modelled", 12),
        f'<circle cx="{x + 104}" cy="{y}" r="4" fill="{MEASURED}" {ring}/>',
        text(x + 114, y + 4, "measured (closed)", 12),
        f'<circle cx="{x + 250}" cy="{y}" r="4" fill="#ffffff" {ring}/>',
        text(x + 260, y + 4, "filled by the data set", 12),
        text(RIGHT, y + 28, f"r {g.monthly_r:.2f}", 12, QUIET, text_anchor="end"),
    ]


def water_panels(g: field.Grass) -> list[str]:
    """Return modelled storage above the sensor's soil water, each on its own scale."""
    days = np.arange(len(g.dates)) + 0.5
    store = Panel("store", g.dates, 0.0, 150.0)
    soil = Panel("soil", g.dates, 10.0, 35.0)
    return [
        *store.frame(50.0, "Water left for the roots, modelled, mm"),
        line(store.x(days), store.y(g.storage), MODEL),
        *soil.frame(10.0, "Soil water near the surface, measured, % by volume"),
        line(soil.x(days), soil.y(g.soil_water_pct), MEASURED),
        text(RIGHT, store.top - 12, f"r {g.storage_r:.2f} with the soil water below", 12, QUIET,
             text_anchor="end"),
    ]  # fmt: skip


def draw(g: field.Grass) -> str:
    """Return the whole chart."""
    sums = (
        f"{g.modelled.sum():,.0f} mm modelled, {g.measured.sum():,.0f} mm measured, "
        f"{g.rain.sum():,.0f} mm of rain"
    )
    body = [
        text(LEFT, 24, "Three years of measured grass (not guava): 2010 to 2012", 16,
             font_weight="600"),
        text(LEFT, 43, sums, 13, QUIET),
        *months_panel(g),
        *water_panels(g),
        text(LEFT, HEIGHT - 14, "Data: FLUXNET2015, site US-AR1 (switchgrass), CC BY 4.0; "
             "columns chosen and converted", 11, QUIET),
    ]  # fmt: skip
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="{WIDTH}" height="{HEIGHT}" font-family="IBM Plex Sans, DejaVu Sans, sans-serif">'
    )
    ground = f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>'
    return "\n".join([head, ground, *body, "</svg>"]) + "\n"


def main() -> None:
    """Write the chart beside its data."""
    path = field.FILE.with_suffix(".svg")
    path.write_text(draw(field.grass()), encoding="utf-8")
    print(path)


if __name__ == "__main__":
    main()
