"""What tests of the farm page do and look at."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt

from desktop.pages.farm import FarmPage
from waterbudget.orchard import Orchard


def orchard(page: FarmPage) -> Orchard:
    assert page._session.data is not None
    return page._session.data.orchard


def type_in(qtbot: Any, edit: Any, words: str) -> None:
    edit.setFocus()
    edit.selectAll()
    if words:
        qtbot.keyClicks(edit, words)
    else:
        qtbot.keyClick(edit, Qt.Key.Key_Delete)
    qtbot.keyClick(edit, Qt.Key.Key_Return)
