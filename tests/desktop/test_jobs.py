"""The worker thread: order, newest wins, cancelling, faults."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest
from PySide6.QtWidgets import QLabel
from shiboken6 import delete

from desktop.jobs import Unexpected, Worker
from waterbudget.errors import Cancelled, Refused


@pytest.fixture
def worker(qapp: object) -> Iterator[Worker]:
    made = Worker()
    yield made
    made.stop()


def wait(qtbot: Any, worker: Worker) -> None:
    qtbot.waitUntil(lambda: worker.idle, timeout=5000)


def test_jobs_run_one_after_the_other_in_order(worker: Worker, qtbot: Any) -> None:
    order: list[int] = []
    answers: list[int] = []

    def work(n: int) -> int:
        order.append(n)
        return n * n

    for n in range(20):
        worker.submit(work, n, done=answers.append)
    wait(qtbot, worker)
    assert order == list(range(20))
    assert answers == [n * n for n in range(20)]


def test_newest_of_a_key_wins_and_others_are_not_told(worker: Worker, qtbot: Any) -> None:
    go = threading.Event()
    begun: list[int] = []
    told: list[int] = []

    def work(n: int) -> int:
        begun.append(n)
        go.wait(5)
        return n

    for n in range(5):
        worker.submit(work, n, done=told.append, key="day")
    qtbot.waitUntil(lambda: bool(begun), timeout=5000)
    go.set()
    wait(qtbot, worker)
    assert told == [4]
    assert len(begun) <= 2  # the one that had begun, and the newest


def test_answer_of_an_older_job_that_comes_late_is_ignored(worker: Worker, qtbot: Any) -> None:
    told: list[str] = []
    done = threading.Event()
    worker.submit(lambda: done.set() or "old", done=told.append, key="k")
    assert done.wait(5)  # finished, but its answer waits in the event queue
    worker.submit(lambda: "new", done=told.append, key="k")
    wait(qtbot, worker)
    assert told == ["new"]


def test_cancel_stops_at_the_next_step(worker: Worker, qtbot: Any) -> None:
    steps: list[int] = []
    failed: list[Exception] = []
    at_three, go_on = threading.Event(), threading.Event()

    def work(progress: Any) -> None:
        for i in range(10):
            progress(i, 10)
            steps.append(i)
            if i == 3:
                at_three.set()
                go_on.wait(5)

    shown: list[tuple[int, int]] = []
    job = worker.submit(work, failed=failed.append, progress=lambda a, b: shown.append((a, b)))
    assert job.can_cancel
    at_three.wait(5)
    job.cancel()
    go_on.set()
    wait(qtbot, worker)
    assert steps == [0, 1, 2, 3]
    assert shown[-1] == (3, 10)
    assert isinstance(failed[0], Cancelled)


def test_refusals_come_as_they_are_and_faults_are_logged(worker: Worker, qtbot: Any) -> None:
    failed: list[Any] = []

    def refuse() -> None:
        raise Refused("key.bad_date", key="x")

    def slip() -> None:
        raise KeyError("nothing there")

    worker.submit(refuse, failed=failed.append)
    worker.submit(slip, failed=failed.append)
    wait(qtbot, worker)
    assert failed[0].code == "key.bad_date"
    assert isinstance(failed[1], Unexpected)
    assert "nothing there" in Path(failed[1].fields["log"]).read_text()


def test_stop_finishes_what_was_asked_for(qapp: object) -> None:
    worker = Worker()
    made: list[int] = []
    for n in range(50):
        worker.submit(made.append, n)
    worker.stop()
    assert made == list(range(50))


def test_an_answer_for_a_widget_closed_meanwhile_is_let_go(qtbot: Any, worker: Worker) -> None:
    class Page(QLabel):
        told: ClassVar[list[str]] = []

        def show_answer(self, text: str) -> None:
            Page.told.append(text)
            self.setText(text)

    closed, kept = Page(), Page()
    qtbot.addWidget(kept)
    worker.submit(lambda: "one", done=closed.show_answer)
    worker.submit(lambda: "two", done=kept.show_answer)
    delete(closed)
    qtbot.waitUntil(lambda: "two" in Page.told, timeout=5000)
    assert Page.told == ["two"]
