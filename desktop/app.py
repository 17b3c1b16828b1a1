"""Start: ``waterbudget-desktop [FARM] [--demo] [--language xx]``.

Qt ends the whole process where there is no display or one of its libraries is missing, so on
Linux whether it can start is tried in a child process first.  The child is forked once Qt is
imported (no thread runs yet), so the trial costs the start of Qt alone, and this process imports
the window meanwhile.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import sys
from collections.abc import Sequence
from pathlib import Path

NO_WINDOW = "The window cannot be opened here: {why}."
TRIAL_SECONDS = 60


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
    try:
        trial = _start_trial()
        import desktop.main_window
        import desktop.pages.welcome  # noqa: F401 - brought in while the trial runs
    except ImportError as fault:
        why: str | None = _reason(str(fault))
    else:
        why = _outcome(trial)
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


def _start_trial() -> tuple[int, int] | None:
    """Begin to start Qt in a child; return its number and the pipe it complains into.

    None where there is nothing to try: no display is needed, or a display is always there.
    """
    from PySide6.QtWidgets import QApplication

    needs_none = os.environ.get("QT_QPA_PLATFORM", "").startswith(("offscreen", "minimal", "vnc"))
    if needs_none or not sys.platform.startswith("linux"):
        return None
    ours, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.dup2(theirs, 1)
            os.dup2(theirs, 2)
            _no_core_file()
            app = QApplication(["trial"])
            os.write(theirs, b"up" if app is not None else b"")
        finally:
            os._exit(0)
    os.close(theirs)
    return child, ours


def _no_core_file() -> None:
    import resource

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _outcome(trial: tuple[int, int] | None) -> str | None:
    """Return why Qt cannot start here, in a few words; None where it can."""
    if trial is None:
        return None
    import select

    child, pipe = trial
    said = b""
    while select.select([pipe], [], [], TRIAL_SECONDS)[0]:
        part = os.read(pipe, 65536)
        said += part
        if not part:
            break
    else:
        os.kill(child, 9)
    os.close(pipe)
    os.waitpid(child, 0)
    return None if said.endswith(b"up") else _reason(said.decode("utf-8", "replace"))


def _reason(said: str) -> str:
    """Return in a few words why Qt did not start, from what it complained."""
    packages = "README.md names the packages"
    if "No module named" in said:
        return "PySide6-Essentials is not installed"
    if "cannot open shared object file" in said:
        library = said.split(": cannot open shared object file")[0].split()[-1].rstrip(":")
        return f"the library {library} is missing ({packages})"
    if not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return "there is no display"
    if "could not connect to display" in said:
        return "the display does not answer"
    if "libxcb-cursor0 is needed" in said:
        return f"the library libxcb-cursor0 is missing ({packages})"
    return f"Qt does not start ({packages})"


def _print_demo() -> int:
    """Print the demo's week instead of showing it."""
    from tempfile import TemporaryDirectory

    from waterbudget import cli, demo

    with TemporaryDirectory() as folder:
        farm = Path(folder) / "demo.gpkg"
        demo.build(farm, now=dt.datetime.now()).close()
        return cli.main(["week", str(farm)])


def _run(options: argparse.Namespace) -> int:
    from PySide6.QtCore import QCoreApplication, QTimer
    from PySide6.QtWidgets import QApplication

    from desktop import theme, wording
    from desktop.main_window import MainWindow
    from desktop.session import Session
    from desktop.settings import Settings

    QCoreApplication.setApplicationName("waterbudget")
    QApplication.setStyle("Fusion")
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
