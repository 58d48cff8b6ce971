"""Processes that measure photos beside this one."""

from __future__ import annotations

import cv2

from colscan.app.batch.jobs import run_in_order, worker_pool


def _threads(_: int) -> int:
    return cv2.getNumThreads()


def test_a_process_keeps_to_one_core() -> None:
    """Where each core has a process, OpenCV's other threads would only wait."""
    with worker_pool(2) as pool:
        assert list(run_in_order(pool, _threads, range(2))) == [1, 1]
