"""The farm's file: a copy on a stick, check, history; and the program's language and light."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from desktop import theme, wording
from desktop.pages.farm_history import change_words
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import Link, rule, text
from desktop.wording import day_short, day_year, say, tr
from waterbudget.errors import WaterBudgetError

LINES = 9
READ = 5000
COPY_OLD_DAYS = 7

History = list[tuple[dt.datetime, str, Mapping[str, Any]]]


class FileSection(QWidget):
    """Copy, check, history, language, light."""

    def __init__(self, session: Session, navigate: Callable[..., None]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        self._settings = Settings()
        self._all: History = []
        self._whole = False
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(6)
        self.path = text("", theme.SMALL, quiet=True, wrap=True)
        box.addWidget(self.path)
        row = QHBoxLayout()
        self.copy = QPushButton(tr("Save a copy to a stick …"))
        self.copy.clicked.connect(self.choose_folder)
        row.addWidget(self.copy)
        row.addStretch()
        box.addLayout(row)
        self.copied = text("", theme.SMALL, wrap=True)
        box.addWidget(self.copied)
        self.said = text("", wrap=True)
        self.said.hide()
        box.addWidget(self.said)
        self.check = Link(tr("Check the file"), self.check_file)
        box.addWidget(self.check)
        links = QHBoxLayout()
        links.setSpacing(12)
        links.addWidget(Link(tr("Open another farm"), lambda: navigate("open")))
        links.addWidget(Link(tr("Close this one"), lambda: navigate("close")))
        links.addStretch()
        box.addLayout(links)
        self.again = Link(tr("Begin the demo anew"), lambda: navigate("demo", again=True))
        box.addWidget(self.again)
        box.addSpacing(6)
        self._history(box)
        box.addSpacing(6)
        self._look(box)

    def _history(self, box: QVBoxLayout) -> None:
        box.addWidget(text(tr("What was changed"), bold=True))
        box.addWidget(rule())
        self.lines = text("", theme.SMALL, wrap=True)
        box.addWidget(self.lines)
        self.more = Link(tr("Show more"), self._show_more, theme.SMALL)
        box.addWidget(self.more)

    def _look(self, box: QVBoxLayout) -> None:
        box.addWidget(text(tr("Language and light"), bold=True))
        box.addWidget(rule())
        for current, options, order, name in (
            (wording.language(), wording.LANGUAGES, "language", "code"),
            (theme.mode(), {"system": tr("as the desktop"), "light": tr("light"),
                            "dark": tr("dark")}, "light", "mode"),
        ):  # fmt: skip
            row = QHBoxLayout()
            row.setSpacing(14)
            for value, words in options.items():
                link = Link(words, partial(self._order, order, name, value))
                link.setCheckable(True)
                link.setChecked(value == current)
                link.setAccessibleDescription(tr("in use") if value == current else "")
                row.addWidget(link)
                if order == "light":
                    link.setObjectName(f"light-{value}")
            row.addStretch()
            box.addLayout(row)

    def _order(self, order: str, name: str, value: str) -> None:
        self._navigate(order, **{name: value})
        if order == "light":
            for link in self.findChildren(Link):
                if link.objectName().startswith("light-"):
                    link.setChecked(link.objectName() == f"light-{value}")

    # -- copy and check -----------------------------------------------------------------

    def choose_folder(self) -> None:
        """Ask for the stick or folder, then copy."""
        folder = QFileDialog.getExistingDirectory(
            self, tr("Save a copy to"), self._settings.folder("copy")
        )
        if folder:
            self._settings.set_folder("copy", Path(folder))
            self.save_copy(Path(folder))

    def save_copy(self, folder: Path) -> None:
        """Write a dated, checked copy into ``folder``."""

        def do(file: Any, now: dt.datetime) -> Path:
            from waterbudget import actions

            return actions.save_copy(file, folder, now=now)

        self._session.act(tr("Saving a copy"), do, None, {"farm"}, done=self._copied,
                          failed=self._refused)  # fmt: skip

    def _copied(self, path: Path) -> None:
        self._say(tr("Copied and checked: {0}").format(path))

    def check_file(self) -> None:
        """Look whether the file is whole and every account closes."""

        def look(file: Any) -> Any:
            from waterbudget import actions

            return actions.check(file)

        self._say(tr("Checking …"))
        self._session.query(look, self._checked, self._refused)

    def _checked(self, notes: Any) -> None:
        if notes:
            self._say("\n".join(say(n) for n in notes), wrong=True)
        else:
            self._say(tr("The file is whole and every day's account closes."))

    def _refused(self, error: WaterBudgetError) -> None:
        self._say(say(error), wrong=True)

    def _say(self, words: str, wrong: bool = False) -> None:
        self.said.setText(words)
        self.said.setProperty("role", "wrong" if wrong else "")
        self.said.style().polish(self.said)
        self.said.show()

    # -- history ------------------------------------------------------------------------

    def refresh(self) -> None:
        """Read the history again."""
        self.path.setText(str(self._session.path or ""))
        data = self._session.data
        self.again.setVisible(data is not None and data.orchard.invented)
        self._session.query(lambda file: file.history(READ), self._show_history, key="history")

    def _show_history(self, found: History) -> None:
        self._all = found
        shown = found if self._whole else found[:LINES]
        self.lines.setText(
            "\n".join(
                f"{day_short(at.date())} {at:%H:%M}  {change_words(what, fields)}"
                for at, what, fields in shown[:200]
            )
        )
        self.more.setVisible(len(found) > LINES and not self._whole)
        last = next((at for at, what, _ in found if what == "copy.saved"), None)
        if last is None:
            self.copied.setText(tr("No copy was made yet."))
        else:
            age = (self._session.now.date() - last.date()).days
            words = tr("Last copy {0}.")
            if age > COPY_OLD_DAYS:
                words = tr("Last copy {0}: time for a new one.")
            self.copied.setText(words.format(day_year(last.date())))

    def _show_more(self) -> None:
        self._whole = True
        self._show_history(self._all)
