"""The coming month through the record's past years, and plans side by side."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtWidgets import QVBoxLayout, QWidget

from desktop.session import Session


class AheadPage(QWidget):
    """The coming month through the record's past years, and plans side by side.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        QVBoxLayout(self)
