"""The batch on a Dask cluster: a real scheduler and two workers on this machine."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import distributed
import pytest
from tests.light_job import LIGHT_JOB
from typer.testing import CliRunner

from dampcell.functions.errors import InputError
from dampcell.workbooks import cluster
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.cluster import Cluster
from dampcell.workbooks.producing import Job, Product, Refusal, produce
from dampcell.workbooks.stamps import Versions

GOOD = Job(LIGHT_JOB, "good.xlsx")
BAD = Job(b"nothing", "bad.xlsx")


@pytest.fixture(scope="module")
def here() -> Iterator[distributed.LocalCluster]:
    # Dask has no complete type hints.
    local: Any = distributed.LocalCluster
    with local(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as running:
        yield running


def test_the_cluster_makes_the_same_bytes_as_this_process(here: distributed.LocalCluster) -> None:
    done = dict(Cluster(here.scheduler_address)([BAD, GOOD, BAD, GOOD]))
    assert done[1] == done[3] == produce(GOOD)
    for place in (0, 2):
        refusal = done[place]
        assert isinstance(refusal, Refusal)
        assert "is no workbook" in refusal.sentence


def test_a_worker_that_is_killed_loses_nothing(here: distributed.LocalCluster) -> None:
    jobs = [BAD, *[Job(LIGHT_JOB, f"{number}.xlsx") for number in range(8)]]
    results = Cluster(here.scheduler_address)(jobs)
    done = dict([next(results)])
    connect: Any = distributed.Client
    with connect(here.scheduler_address, set_as_default=False) as client:
        pids = client.run(os.getpid)
    os.kill(min(pids.values()), getattr(signal, "SIGKILL", signal.SIGTERM))
    done.update(results)
    assert set(done) == set(range(len(jobs)))
    assert [place for place, made in done.items() if not isinstance(made, Product)] == [0]


def test_the_command_works_on_the_cluster(here: distributed.LocalCluster, tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(LIGHT_JOB)
    arguments = ["report", str(tmp_path), "--scheduler", here.scheduler_address]
    told = CliRunner().invoke(build_app("report"), arguments)
    assert (told.exit_code, told.stdout) == (0, f"{tmp_path / 'reports' / 'job report.pdf'}\n")


def test_workers_of_another_version_are_refused(
    here: distributed.LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "versions", lambda: Versions("9.9", "other", "other"))
    ((_, refusal),) = Cluster(here.scheduler_address)([GOOD])
    assert isinstance(refusal, Refusal)
    assert "another version of Dampcell" in refusal.sentence
    assert not refusal.lasting


def test_a_scheduler_that_does_not_answer_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "_PATIENCE", 1)
    with pytest.raises(InputError, match=r"no scheduler answers there.*tcp://127\.0\.0\.1:9"):
        list(Cluster("tcp://127.0.0.1:9")([GOOD]))


def test_without_the_library_it_is_said_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"dampcell\[cluster\]"):
        list(Cluster("tcp://127.0.0.1:9")([GOOD]))


def test_an_error_of_the_cluster_is_one_sentence(
    here: distributed.LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A function that the workers cannot find stands for whatever goes wrong there.
    monkeypatch.setattr(cluster, "_attempt", _missing_on_workers)
    ((_, refusal),) = Cluster(here.scheduler_address)([GOOD])
    assert isinstance(refusal, Refusal)
    assert refusal.sentence.startswith("good.xlsx: the cluster gave no result (")


def _missing_on_workers(_: Job, __: Versions) -> Product:
    raise ConnectionError("lost")
