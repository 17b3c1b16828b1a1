"""Unused objects are collected on the GUI thread, never by a working one."""

from __future__ import annotations

import gc
import threading
import weakref

from desktop.tidy import Tidy


class Ring:
    """An object only the collector can let go."""

    def __init__(self) -> None:
        self.me = self


def test_a_working_thread_collects_nothing_and_the_timer_does(qapp: object) -> None:
    Tidy.begin()
    assert not gc.isenabled()
    gone_in: list[str] = []
    ring = Ring()
    weakref.finalize(ring, lambda: gone_in.append(threading.current_thread().name))
    del ring

    def work() -> None:
        kept = [[k] for k in range(200_000)]  # far over every threshold
        assert len(kept) == 200_000

    thread = threading.Thread(target=work, name="working")
    thread.start()
    thread.join()
    assert gone_in == []
    keep = [[k] for k in range(gc.get_threshold()[0] * 2)]
    assert Tidy._only is not None
    Tidy._only.collect()
    gc.collect()
    assert gone_in == [threading.main_thread().name] and keep
