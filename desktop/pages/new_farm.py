"""The few lines a new farm needs: its name and its place."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from desktop.widgets import Field
from desktop.wording import say, tr
from waterbudget.errors import WaterBudgetError


class NewFarmForm(QWidget):
    """The few lines a new farm needs: its name and its place.

    Parameters
    ----------
    on_create : callable
        Gets ``{"name", "lat", "lon", "elevation_m"}`` and the files to bring in afterwards.
    """

    def __init__(self, on_create: Callable[[dict[str, Any], list[Path]], None]) -> None:
        super().__init__()
        self._on_create = on_create
        self._files: list[Path] = []
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 8, 0, 4)
        box.setSpacing(6)
        wide = 96
        self.name = Field(tr("Name"), width=280, label_width=wide)
        self.place = Field(
            tr("Where"), width=280, label_width=wide, placeholder="-19.9, 32.7",
            hint=tr("Latitude, longitude in degrees; south and west with a minus, or with S and W. "
                    "A walk or outlines dropped here fill it in."),
        )  # fmt: skip
        self.height_ = Field(tr("Height"), tr("m above the sea, if you know it"), width=80,
                             label_width=wide)  # fmt: skip
        for field in (self.name, self.place, self.height_):
            box.addWidget(field)
            field.edit.returnPressed.connect(self.submit)
        row = QHBoxLayout()
        row.addSpacing(wide + 8)
        self.button = QPushButton(tr("Start", "begin the farm"))
        self.button.setProperty("main", "true")
        self.button.clicked.connect(self.submit)
        row.addWidget(self.button)
        row.addStretch()
        box.addLayout(row)

    def tab_order(self) -> tuple[QWidget, ...]:
        """Return what Tab goes through, in order."""
        return self.name.edit, self.place.edit, self.height_.edit, self.button

    def set_place(self, lat: float, lon: float) -> None:
        """Fill in the place found in a file."""
        self.place.set_text(f"{lat:.5f}, {lon:.5f}")

    def set_files(self, paths: list[Path]) -> None:
        """Remember the files that are brought in once the farm is there."""
        self._files = list(paths)
        names = ", ".join(p.name for p in paths)
        self.place.set_hint(tr("{0} is brought in as soon as the farm is there.").format(names))

    def submit(self) -> None:
        """Check what was typed and begin the farm."""
        found = self._read()
        if found is not None:
            self._on_create(found, self._files)

    def _read(self) -> dict[str, Any] | None:
        name = " ".join(self.name.text().split())
        if not name:
            self.name.refuse(tr("The farm needs a name."))
            self.name.edit.setFocus()
            return None
        place = read_place(self.place.text())
        if place is None:
            self.place.refuse(
                tr("Write latitude and longitude in degrees with a comma between, "
                   "such as -19.9, 32.7; or drop a walk or outlines here.")
            )  # fmt: skip
            self.place.edit.setFocus()
            return None
        height: float | None = None
        if self.height_.text():
            try:
                height = float(self.height_.text())
            except ValueError:
                self.height_.refuse(tr("Write the height in metres, such as 1040."))
                self.height_.edit.setFocus()
                return None
        return {"name": name, "lat": place[0], "lon": place[1], "elevation_m": height}

    def refuse(self, error: WaterBudgetError) -> None:
        """Say at the line it belongs to why the farm could not be begun."""
        where = self.place if error.code.startswith("farm.") else self.name
        if error.code == "farm.no_name":
            where = self.name
        if error.fields.get("key") == "elevation_m":
            where = self.height_
        where.refuse(say(error))


def read_place(words: str) -> tuple[float, float] | None:
    """Read latitude and longitude as people write them; None where it is neither.

    Degrees with a minus, with N, S, E, W (or O, oeste) before or behind, or with minutes and
    seconds; between them a comma, a semicolon or a space.
    """
    for between in (r"\s*;\s*", r"\s*,\s+", r"\s*,\s*", r"\s+(?=[EWO])", r"(?<=[NS])\s*", r"\s+"):
        halves = re.split(between, words.strip().upper())
        if len(halves) == 2:
            lat, lon = _degrees(halves[0], "NS"), _degrees(halves[1], "EWO")
            if lat is not None and lon is not None:
                return lat, lon
    return None


def _degrees(words: str, letters: str) -> float | None:
    """Read one of the two; a decimal comma counts as a point."""
    figure = r"(\d+(?:\.\d+)?)"
    found = re.fullmatch(
        rf"([{letters}]?)\s*([+-]?)\s*{figure}\s*[°º]?"
        rf"(?:\s*{figure}\s*['’′])?(?:\s*{figure}\s*(?:[\"”″]|''))?\s*([{letters}]?)",
        words.replace(",", ".").replace("\N{MINUS SIGN}", "-"),
    )
    if found is None:
        return None
    before, minus, degrees, minutes, seconds, behind = found.groups()
    letter = before or behind
    if (before and behind) or (letter and minus):
        return None
    value = float(degrees) + float(minutes or 0) / 60 + float(seconds or 0) / 3600
    return -value if minus == "-" or letter in ("S", "W", "O") else value
