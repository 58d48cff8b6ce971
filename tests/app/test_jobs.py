"""Processes that measure photos beside this one."""

from __future__ import annotations

from operator import call

import cv2

from colscan.app.batch.jobs import run_in_order, worker_pool


def test_a_process_keeps_to_one_core() -> None:
    """Where each core has a process, OpenCV's other threads would only wait."""
    with worker_pool(2) as pool:
        assert list(run_in_order(pool, call, [cv2.getNumThreads] * 2)) == [1, 1]
