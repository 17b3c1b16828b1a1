"""Start: ``waterbudget-desktop [FARM] [--demo] [--language xx]``.

Qt ends the whole process where there is no display or one of its libraries is missing, so whether
it can start is tried in a child process first (skipped where a display is plainly there would
save 0.2 s, but a wrong guess would cost the user the one sentence that helps).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

NO_WINDOW = "The window cannot be opened here: {why}."
_PROBE = (
    "import sys; from PySide6.QtWidgets import QApplication; "
    "app = QApplication([sys.argv[0]]); print('up')"
)
PROBE_SECONDS = 60


def main(argv: Sequence[str] | None = None) -> int:
    """Open the window; return the exit code.

    Returns
    -------
    int
        0 when the window was closed (or, with ``--demo`` and no display, when the demo's week was
        printed); 2 where no window can be opened.
    """
    for name in ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA"):  # another program's data tables
        os.environ.pop(name, None)
    options = _parse(sys.argv[1:] if argv is None else argv)
    why = why_no_window()
    if why is not None:
        print(NO_WINDOW.format(why=why), file=sys.stderr if not options.demo else sys.stdout)
        return _print_demo() if options.demo else 2
    return _run(options)


def _parse(argv: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="waterbudget-desktop",
        description="Even irrigation, block by block: the window.",
    )
    parser.add_argument("farm", nargs="?", type=Path, metavar="FARM", help="a farm file to open")
    parser.add_argument("--demo", action="store_true", help="open the invented demo farm")
    parser.add_argument("--language", choices=("en", "es"), help="language of the window")
    return parser.parse_args(argv)


def why_no_window() -> str | None:
    """Return why Qt cannot start here, in a few words; None where it can."""
    if os.environ.get("QT_QPA_PLATFORM", "").startswith(("offscreen", "minimal", "vnc")):
        return None
    try:
        tried = subprocess.run(
            [sys.executable, "-c", _PROBE], capture_output=True, text=True, timeout=PROBE_SECONDS,
            check=False,
        )  # fmt: skip
    except (OSError, subprocess.TimeoutExpired):
        return "Qt does not start"
    if tried.returncode == 0 and "up" in tried.stdout:
        return None
    return _reason(tried.stderr)


def _reason(said: str) -> str:
    for line in said.splitlines():
        if "cannot open shared object file" in line:
            library = line.split("cannot open shared object file")[0].rstrip(": ")
            return f"the library {library.split()[-1]} is missing (README.md names the packages)"
    if "No module named" in said:
        return "PySide6-Essentials is not installed"
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        return "there is no display"
    if "could not connect to display" in said:
        return "the display does not answer"
    return "Qt does not start (README.md names the packages it needs)"


def _print_demo() -> int:
    """Print the demo's week instead of showing it."""
    from tempfile import TemporaryDirectory

    from waterbudget import cli

    with TemporaryDirectory() as folder:
        farm = str(Path(folder) / "demo.gpkg")
        made = cli.main(["demo", farm])
        return made or cli.main(["week", farm])


def _run(options: argparse.Namespace) -> int:
    from PySide6.QtCore import QCoreApplication, QTimer
    from PySide6.QtWidgets import QApplication

    from desktop import theme, wording
    from desktop.main_window import MainWindow
    from desktop.session import Session
    from desktop.settings import Settings

    QCoreApplication.setOrganizationName("waterbudget")
    QCoreApplication.setApplicationName("waterbudget")
    app = QApplication(sys.argv[:1])
    app.setApplicationDisplayName("")
    settings = Settings()
    wording.use_language(options.language or settings.language or wording.system_language())
    theme.use(app, settings.light)
    session = Session()
    _catch_faults(session)
    window = MainWindow(session, settings)
    window.show()
    QTimer.singleShot(0, lambda: _begin(session, options))
    return app.exec()


def _begin(session: object, options: argparse.Namespace) -> None:
    """Open what was asked for, once the window is there; bring the heavy parts in meanwhile."""
    from desktop.session import Session

    assert isinstance(session, Session)
    if options.demo:
        session.open_demo()
    elif options.farm is not None:
        session.open(options.farm)
    else:
        session.worker.submit(_warm_up)


def _warm_up() -> None:
    from waterbudget import actions, season  # noqa: F401 - the import is the work


def _catch_faults(session: object) -> None:
    """Say one sentence for a fault of ours in the window's own code, and keep running."""
    from types import TracebackType

    from desktop.jobs import Unexpected, log_fault
    from desktop.session import Session

    assert isinstance(session, Session)

    def hook(kind: type[BaseException], fault: BaseException, _: TracebackType | None) -> None:
        if issubclass(kind, KeyboardInterrupt):
            sys.exit(1)
        session.refused.emit(Unexpected(log_fault(fault)))

    sys.excepthook = hook
