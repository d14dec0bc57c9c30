"""A campaign on a Dask cluster: a real scheduler, two workers of their own, one of them killed."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from coordinator.campaign.campaigning import Campaign, Tally
from coordinator.campaign.line import Settings
from coordinator.campaign.pool import workers
from coordinator.campaign.store import Folder, Head
from tests.support.campaigns import maker
from tests.support.house import ROOT

distributed = pytest.importorskip("distributed")
ANSWER_S = 60.0


def process(*words: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", *words],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@contextmanager
def cluster(folder: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and two workers as processes of their own; yield its address."""
    place = folder / "scheduler.json"
    common = ("--no-dashboard", "--scheduler-file", str(place))
    scheduler = process(
        "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", *common
    )
    alone = ("--no-nanny", "--nthreads", "1", "--local-directory", str(folder))
    hired = [process("distributed.cli.dask_worker", *common, *alone) for _ in range(2)]
    try:
        with distributed.Client(scheduler_file=str(place), timeout=f"{ANSWER_S:.0f}s") as client:
            client.wait_for_workers(2, timeout=ANSWER_S)
            yield client.scheduler.address, hired
    finally:
        for one in (*hired, scheduler):
            one.terminate()
        for one in (*hired, scheduler):
            try:
                one.wait(timeout=20)
            except subprocess.TimeoutExpired:  # It says farewell too long; its work is done.
                one.kill()
                one.wait()


@pytest.mark.filterwarnings("ignore")  # Of the cluster's own libraries.
def test_a_campaign_on_a_cluster_loses_no_case_with_a_worker(tmp_path: Path) -> None:
    """Machines are taken away in the middle of the night."""
    head = Head(maker().sequence, maker().loaded().plan.digest, "", 1)
    folder = Folder(tmp_path / "campaign")
    with cluster(tmp_path) as (address, hired), workers(1, address) as pool:
        campaign = Campaign(maker(), Settings(cases=120), folder, pool)

        def told(tally: Tally) -> None:
            if hired[0].poll() is None and tally.done:
                hired[0].send_signal(signal.SIGKILL)

        tally = campaign.run(folder.begin(head), told)
        began_s = time.monotonic()
        while hired[0].poll() is None and time.monotonic() - began_s < ANSWER_S:
            hired[0].wait(timeout=ANSWER_S)

    assert hired[0].returncode == -signal.SIGKILL
    assert pool.width == 2
    assert sorted(row.number for row in folder.rows()) == list(range(120))
    assert tally.is_good
