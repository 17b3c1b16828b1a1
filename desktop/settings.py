"""What the program remembers about itself (never about a farm), typed."""

from __future__ import annotations

import os
from pathlib import Path

from PySide6.QtCore import QByteArray, QSettings

RECENT = 6
"""So many farms are remembered."""


class Settings:
    """Language, light, window, recent farms.

    Parameters
    ----------
    path : pathlib.Path, optional
        An own file (tests); by default ``$WATERBUDGET_SETTINGS`` or the user's own place.
    """

    def __init__(self, path: Path | None = None) -> None:
        own = path or os.environ.get("WATERBUDGET_SETTINGS")
        if own:
            self._kept = QSettings(str(own), QSettings.Format.IniFormat)
        else:
            self._kept = QSettings(QSettings.Format.IniFormat, QSettings.Scope.UserScope,
                                   "waterbudget", "desktop")  # fmt: skip

    def _text(self, key: str, default: str = "") -> str:
        return str(self._kept.value(key, default))

    @property
    def language(self) -> str:
        """Code of the language chosen; empty = that of the desktop."""
        return self._text("language")

    @language.setter
    def language(self, code: str) -> None:
        self._kept.setValue("language", code)

    @property
    def sheet_language(self) -> str:
        """Code of the language the sheet for the valves was last wanted in; empty: never said."""
        return self._text("sheet_language")

    @sheet_language.setter
    def sheet_language(self, code: str) -> None:
        self._kept.setValue("sheet_language", code)

    @property
    def light(self) -> str:
        """``system``, ``light`` or ``dark``."""
        found = self._text("light", "system")
        return found if found in ("system", "light", "dark") else "system"

    @light.setter
    def light(self, mode: str) -> None:
        self._kept.setValue("light", mode)

    @property
    def window(self) -> QByteArray | None:
        """Place and size of the window as it was closed."""
        found = self._kept.value("window")
        return found if isinstance(found, QByteArray) else None

    @window.setter
    def window(self, geometry: QByteArray) -> None:
        self._kept.setValue("window", geometry)

    @property
    def recent(self) -> list[Path]:
        """Farms opened before, newest first; those that are gone are left out."""
        found = self._kept.value("recent") or []
        paths = [found] if isinstance(found, str) else found
        return [Path(p) for p in paths if Path(p).exists()]

    def add_recent(self, path: Path) -> None:
        """Remember a farm as the newest."""
        others = [p for p in self.recent if p != path]
        self._kept.setValue("recent", [str(p) for p in [path, *others][:RECENT]])

    def forget_recent(self, path: Path) -> None:
        """Take a farm off the list."""
        self._kept.setValue("recent", [str(p) for p in self.recent if p != path])

    def folder(self, of: str) -> str:
        """Return the folder last used for ``of`` (``open``, ``import``, ``copy``, ``export``)."""
        found = self._text(f"folder/{of}")
        return found if found and Path(found).is_dir() else str(Path.home())

    def set_folder(self, of: str, folder: Path) -> None:
        """Remember the folder used for ``of``."""
        self._kept.setValue(f"folder/{of}", str(folder))

    @property
    def block_columns(self) -> list[str]:
        """Columns of the block table the user put together."""
        found = self._kept.value("block_columns") or []
        return [found] if isinstance(found, str) else [str(name) for name in found]

    @block_columns.setter
    def block_columns(self, names: list[str]) -> None:
        self._kept.setValue("block_columns", names)

    @property
    def edges_only(self) -> bool:
        """Whether the land page shows only the edges of the blocks, over what lies below."""
        return self._text("edges_only") == "yes"

    @edges_only.setter
    def edges_only(self, on: bool) -> None:
        self._kept.setValue("edges_only", "yes" if on else "")

    def save(self) -> None:
        """Write it down now."""
        self._kept.sync()
