"""A small farm, a session on it, and Qt warnings that fail the test they happen in."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import pytest
from PySide6.QtCore import QStandardPaths, QtMsgType, qInstallMessageHandler
from small_farm import NOW, small_farm

from desktop import theme, wording
from desktop.session import Session

_ALLOWED = ("This plugin does not support",)  # the offscreen one, which tests run on


@pytest.fixture(autouse=True)
def _qt_warnings() -> Iterator[None]:
    """Fail a test in which Qt complains."""
    heard: list[str] = []

    def hear(kind: QtMsgType, _: object, message: str) -> None:
        loud = kind in (QtMsgType.QtWarningMsg, QtMsgType.QtCriticalMsg, QtMsgType.QtFatalMsg)
        if loud and not message.startswith(_ALLOWED):
            heard.append(message)

    before = qInstallMessageHandler(hear)
    yield
    qInstallMessageHandler(before)
    assert not heard, f"Qt complained: {heard}"


@pytest.fixture(autouse=True)
def _own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep settings, logs and the demo's copy inside the test's own folder."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("WATERBUDGET_SETTINGS", str(tmp_path / "settings.ini"))
    QStandardPaths.setTestModeEnabled(False)


@pytest.fixture(autouse=True)
def _look(qapp: object) -> Iterator[None]:
    """Begin every test in English and light."""
    wording.use_language("en")
    if theme.mode() != "light":
        theme.use(qapp, "light")  # type: ignore[arg-type]
    yield
    wording.use_language("en")


@pytest.fixture
def farm_path(tmp_path: Path) -> Path:
    """A closed farm file of four blocks with 420 days of weather."""
    return small_farm(tmp_path / "test-hill.gpkg")


@pytest.fixture
def settle(qtbot: object) -> Callable[[Session], None]:
    """Wait until a session has nothing more to do."""

    def wait(session: Session) -> None:
        qtbot.waitUntil(lambda: session.idle, timeout=15000)  # type: ignore[attr-defined]

    return wait


@pytest.fixture
def empty_session(qapp: object) -> Iterator[Session]:
    """A session with no farm open; its clock stands at NOW."""
    session = Session(clock=lambda: NOW)
    yield session
    session.stop()


@pytest.fixture
def session(
    empty_session: Session, farm_path: Path, settle: Callable[[Session], None]
) -> Session:  # fmt: skip
    """A session with the small farm open and its season run."""
    empty_session.open(farm_path)
    settle(empty_session)
    assert empty_session.season is not None
    return empty_session
