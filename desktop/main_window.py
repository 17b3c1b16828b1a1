"""The window: head, pages, status line, keys.  Wiring only."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QMainWindow,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from desktop import theme, wording
from desktop.head import HeadBar, page_names
from desktop.overlays import StatusLine
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import paths_of
from desktop.wording import say, tr
from waterbudget.errors import WaterBudgetError

if TYPE_CHECKING:
    from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QKeyEvent

    from desktop.overlays import HelpPlate

PAGES = {
    "welcome": ("desktop.pages.welcome", "WelcomePage"),
    "home": ("desktop.pages.home", "HomePage"),
    "blocks": ("desktop.pages.blocks", "BlocksPage"),
    "block": ("desktop.pages.block", "BlockPage"),
    "weather": ("desktop.pages.weather", "WeatherPage"),
    "ran": ("desktop.pages.ran", "RanPage"),
    "work": ("desktop.pages.work", "WorkPage"),
    "ahead": ("desktop.pages.ahead", "AheadPage"),
    "land": ("desktop.pages.land", "LandPage"),
    "farm": ("desktop.pages.farm", "FarmPage"),
}
"""Imported and built when first opened, so that the first paint waits for none of them."""

TAB_OF = {"block": "blocks"}
SMALLEST = (960, 600)
LOOK_MS = 30_000
"""How often the clock is looked at for a new day [ms]."""


class MainWindow(QMainWindow):
    """One window over one session.

    Parameters
    ----------
    session : Session
    settings : Settings
    """

    def __init__(self, session: Session, settings: Settings) -> None:
        super().__init__()
        self.session, self.settings = session, settings
        self.page = ""
        self._pages: dict[str, QWidget] = {}
        self._importer: Any = None
        self._bucket: Any = None
        self.setAcceptDrops(True)
        self.setMinimumSize(*SMALLEST)
        self._build()
        self._keys()
        session.opened.connect(self._opened)
        session.closed.connect(self._closed)
        session.told.connect(lambda words: self.status.tell(words))
        session.refused.connect(self._refused)
        session.changed.connect(lambda _: self._clear_refusal())
        session.busy.connect(self._busy)
        session.progressed.connect(lambda at, of: self.status.step(at, of))
        theme.watch().changed.connect(self.update)
        self._clock = QTimer(self, interval=LOOK_MS)
        self._clock.timeout.connect(session.look_at_clock)
        self._clock.start()
        if settings.window is None or not self.restoreGeometry(settings.window):
            self.resize(1280, 740)
        self._show("home" if session.is_open else "welcome")

    def _build(self) -> None:
        """Build head, stack and overlays in the language in use."""
        middle = QWidget()
        column = QVBoxLayout(middle)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        self.head = HeadBar(self.session, self._show)
        self.stack = QStackedWidget()
        column.addWidget(self.head)
        column.addWidget(self.stack, 1)
        self.setCentralWidget(middle)
        self.status = StatusLine(middle, self._stop_work)
        self.help: HelpPlate | None = None
        self._titled()

    def _keys(self) -> None:
        def key(keys: str, do: Callable[[], object]) -> None:
            QShortcut(QKeySequence(keys), self).activated.connect(do)

        for at, name in enumerate(page_names(), start=1):
            key(f"Alt+{at}", partial(self._show, name))
        key("Ctrl+Z", self.session.undo_last)
        key("Ctrl+Shift+Z", self.session.redo_next)
        key("Ctrl+Y", self.session.redo_next)
        key("Ctrl+O", lambda: self.navigate("import"))
        key("Ctrl+W", self.session.close)
        key("F1", self._help)

    # -- pages -------------------------------------------------------------------------

    def navigate(self, page: str, **what: Any) -> None:
        """Open a page, or carry out one of the window's own orders.

        Orders: ``import`` (``paths=``, ``kind=``), ``open`` (``path=``), ``demo`` (``again=``),
        ``bucket`` (``block=``), ``close``, ``language`` (``code=``), ``light`` (``mode=``),
        ``help``.
        """
        orders: dict[str, Callable[..., object]] = {
            "import": self._import, "open": self._open, "demo": self._demo, "help": self._help,
            "bucket": self._bucket_test, "close": self.session.close,
            "language": self._language, "light": self._light,
        }  # fmt: skip
        if page in orders:
            orders[page](**what)
            return
        if "block" in what:
            self.session.select(what.pop("block"))
        self._show(page)
        show_what = getattr(self._pages.get(page), "show_what", None)
        if what and show_what is not None:
            show_what(**what)

    def _show(self, name: str) -> None:
        if not self.session.is_open:
            name = "welcome"
        if name not in self._pages:
            module, kind = PAGES[name]
            made: QWidget = getattr(importlib.import_module(module), kind)(
                self.session, self.navigate
            )
            self._pages[name] = made
            self.stack.addWidget(made)
        self.page = name
        self._hide_help()
        self.stack.setCurrentWidget(self._pages[name])
        self.head.setVisible(name != "welcome")
        self.head.show_page(TAB_OF.get(name, name))
        self.status.keep_free(getattr(self._pages[name], "side_px", 0))
        if name != "welcome":
            self._pages[name].setFocus()

    def _drop_pages(self) -> None:
        for page in self._pages.values():
            self.stack.removeWidget(page)
            page.hide()
            page.deleteLater()
        self._pages = {}

    def _opened(self) -> None:
        if self.session.path is not None and not self._is_demo():
            self.settings.add_recent(self.session.path)
        self.status.clear()
        self.head.refresh()
        self._titled()
        self._show("home")
        gone = self._pages.pop("welcome", None)
        if gone is not None:
            self.stack.removeWidget(gone)
            gone.deleteLater()

    def _closed(self) -> None:
        self._drop_pages()
        self.head.refresh()
        self._titled()
        self._show("welcome")

    def _is_demo(self) -> bool:
        data = self.session.data
        return data is not None and data.orchard.invented

    def _titled(self) -> None:
        data = self.session.data
        if data is None:
            self.setWindowTitle(tr("Water budget"))
        elif data.orchard.invented:
            self.setWindowTitle(tr("{0} (invented) – water budget").format(data.orchard.name))
        else:
            self.setWindowTitle(tr("{0} – water budget").format(data.orchard.name))

    # -- orders ------------------------------------------------------------------------

    def _import(self, paths: list[Path] | None = None, kind: str = "") -> None:
        from desktop.dialogs.importing import Importer

        if self._importer is None:
            self._importer = Importer(self, self.session, self.settings, self.navigate)
        if paths is None:
            from PySide6.QtWidgets import QFileDialog

            chosen, _ = QFileDialog.getOpenFileNames(
                self, tr("Bring in a file"), self.settings.folder("import")
            )
            paths = [Path(p) for p in chosen]
            if paths:
                self.settings.set_folder("import", paths[0].parent)
        if paths:
            self._importer.start(paths, kind)

    def _bucket_test(self, block: int | None = None) -> None:
        from desktop.dialogs.bucket import BucketDialog

        if self.session.season is None or not self.session.season.blocks:
            return
        if self._bucket is not None:
            self._bucket.deleteLater()
        self._bucket = BucketDialog(self, self.session, self.navigate, block)
        self._bucket.open()

    def _open(self, path: Path | None = None) -> None:
        if path is None:
            from PySide6.QtWidgets import QFileDialog

            chosen, _ = QFileDialog.getOpenFileName(
                self, tr("Open a farm"), self.settings.folder("open"),
                tr("Farm files (*.gpkg);;All files (*)"),
            )  # fmt: skip
            if not chosen:
                return
            path = Path(chosen)
            self.settings.set_folder("open", path.parent)
        self.session.open(path)

    def _demo(self, again: bool = False) -> None:
        self.session.open_demo(again=again)

    def _language(self, code: str) -> None:
        self.settings.language = code
        wording.use_language(code)
        QTimer.singleShot(0, self._rebuild)  # the page that asked is still at work

    def _light(self, mode: str) -> None:
        self.settings.light = mode
        app = QApplication.instance()
        if isinstance(app, QApplication):
            theme.use(app, mode)

    def _rebuild(self) -> None:
        """Build everything again, in another language, on the page that was open."""
        page = self.page
        self._drop_pages()
        self._importer = None
        self._build()
        self._show(page)

    # -- status, help -------------------------------------------------------------------

    def _refused(self, error: WaterBudgetError) -> None:
        self.status.refuse(say(error))

    def _clear_refusal(self) -> None:
        if self.status.refusing:
            self.status.clear()

    def _busy(self, working: bool, words: str) -> None:
        running = self.session.worker.running
        self.status.busy(working, words, running is not None and running.can_cancel)

    def _stop_work(self) -> None:
        running = self.session.worker.running
        if running is not None:
            running.cancel()

    def _help(self) -> None:
        if self._hide_help():
            return
        if self.help is None:
            from desktop.overlays import HelpPlate

            self.help = HelpPlate(self.head.parentWidget() or self)
        self.help.show_for(self.page)

    def _hide_help(self) -> bool:
        """Hide the help; False where it was not shown."""
        shown = self.help is not None and self.help.isVisible()
        if self.help is not None:
            self.help.hide()
        return shown

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc, where no line or table took it, closes what lies over the page."""
        if event.key() == Qt.Key.Key_Escape and (self._hide_help() or self.status.isVisible()):
            self.status.clear()
        else:
            super().keyPressEvent(event)

    # -- files dropped, closing ---------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files anywhere on the window."""
        if paths_of(event):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Bring them in."""
        paths = paths_of(event)
        event.acceptProposedAction()
        QTimer.singleShot(0, lambda: self.navigate("import", paths=paths))

    def closeEvent(self, event: QCloseEvent) -> None:
        """Ask nothing: everything is stored already."""
        focus = QApplication.focusWidget()
        if focus is not None:
            focus.clearFocus()  # a line that is being typed in is committed
        self.settings.window = self.saveGeometry()
        self.settings.save()
        self._clock.stop()
        self.session.stop()
        event.accept()
