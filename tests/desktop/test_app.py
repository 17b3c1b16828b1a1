"""Starting: no display, the demo in words, what is imported before the first paint."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def run(tmp_path: Path, *words: str, code: str = "") -> subprocess.CompletedProcess[str]:
    """Start the program (or a piece of code) where there is no display."""
    env = {k: v for k, v in os.environ.items()
           if k not in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")}  # fmt: skip
    env |= {"PYTHONPATH": str(ROOT), "XDG_DATA_HOME": str(tmp_path), "PROJ_DATA": "/nonsense",
            "GDAL_DATA": "/nonsense"}  # fmt: skip
    start = ["-c", code] if code else ["-m", "desktop", *words]
    return subprocess.run([sys.executable, *start], capture_output=True, text=True, env=env,
                          cwd=tmp_path, timeout=120, check=False)  # fmt: skip


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a display is always there")
def test_no_display_is_one_sentence_and_exit_2(tmp_path: Path) -> None:
    done = run(tmp_path)
    assert done.returncode == 2
    assert done.stderr == "The window cannot be opened here: there is no display.\n"
    assert done.stdout == ""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a display is always there")
def test_demo_without_display_prints_the_week(tmp_path: Path) -> None:
    done = run(tmp_path, "--demo")
    assert done.returncode == 0, done.stderr
    first, *rest = done.stdout.splitlines()
    assert first == "The window cannot be opened here: there is no display."
    assert "(invented)" in rest[0] and len(rest) > 20
    assert done.stderr == ""


def test_nothing_heavy_is_imported_before_the_first_paint(tmp_path: Path) -> None:
    code = (
        "import sys, desktop.app, desktop.main_window, desktop.pages.welcome\n"
        "heavy = {'pandas', 'geopandas', 'pyogrio', 'rasterio', 'pyet', 'scipy', 'fpdf', 'numpy'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = run(tmp_path, code=code)
    assert done.stdout == "[]\n", done.stderr


def test_reasons_are_plain(monkeypatch: pytest.MonkeyPatch) -> None:
    from desktop.app import _reason

    monkeypatch.setenv("DISPLAY", ":0")
    missing = "ImportError: libEGL.so.1: cannot open shared object file: No such file"
    assert _reason(missing).startswith("the library libEGL.so.1 is missing")
    assert _reason("qt.qpa.xcb: could not connect to display :9") == "the display does not answer"
    assert "not installed" in _reason("No module named 'PySide6'")
    cursor = "From 6.5.0, xcb-cursor0 or libxcb-cursor0 is needed to load the Qt xcb platform"
    assert "libxcb-cursor0" in _reason(cursor)


def test_demo_copy_is_kept_and_built_anew_only_when_asked(
    tmp_path: Path, empty_session: object, settle: object
) -> None:
    from desktop.session import Session, demo_path

    session = empty_session
    assert isinstance(session, Session)
    refused: list[object] = []
    session.refused.connect(refused.append)
    session.open_demo(tmp_path)
    settle(session)  # type: ignore[operator]
    assert refused == []
    assert session.path == demo_path(tmp_path) and session.data is not None
    assert session.data.orchard.invented
    assert session.season is not None and session.today == session.season.on
    made = session.path.stat().st_ino
    session.open_demo(tmp_path)
    settle(session)  # type: ignore[operator]
    assert session.path.stat().st_ino == made
    session.open_demo(tmp_path, again=True)
    settle(session)  # type: ignore[operator]
    assert session.path.stat().st_ino != made
