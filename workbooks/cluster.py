"""The same work on a Dask cluster: for a chain of workshops, or a very long backlog.

Workbooks and results travel with the job, so the cluster needs no shared disk; only
this process reads and writes files. A worker that is lost costs time, not results:
the scheduler gives its jobs to another one.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from dampcell.functions.errors import InputError, WorkbookError
from dampcell.workbooks.producing import Job, Product, Refusal, attempt
from dampcell.workbooks.stamps import Versions, versions

__all__ = ["Cluster"]

_PATIENCE = 10  # s, for the scheduler to answer
_AHEAD = 2  # jobs that wait at the cluster for each that runs there


@dataclass(frozen=True, slots=True)
class Cluster:
    """Workers of a Dask scheduler; see `dampcell.workbooks.batch.HandOut`.

    Parameters
    ----------
    scheduler : text
        Address, such as ``tcp://office:8786``.
    """

    scheduler: str

    def __call__(self, jobs: Iterable[Job]) -> Iterator[tuple[int, Product | Refusal]]:
        """Send jobs to the cluster, and give each result as soon as it is there.

        Parameters
        ----------
        jobs : iterable of Job
            Taken a few at a time, as the cluster gets on.

        Yields
        ------
        tuple of int and Product or Refusal
            Place of the job among the jobs, and what became of it.

        Raises
        ------
        InputError
            If Dask is not installed, or no scheduler answers at the address.
        """
        distributed = _library()
        try:
            client = distributed.Client(self.scheduler, timeout=_PATIENCE, set_as_default=False)
        except (OSError, ValueError) as error:
            raise InputError(
                f"no scheduler answers there ({type(error).__name__})",
                parameter="--scheduler",
                found=self.scheduler,
                allowed="the address that the scheduler prints when it starts, such as tcp://office:8786",
            ) from None
        with client:
            yield from _sent(distributed, client, jobs)


def _sent(distributed: Any, client: Any, jobs: Iterable[Job]) -> Iterator[tuple[int, Product | Refusal]]:
    done = distributed.as_completed(loop=client.loop)
    places: dict[str, tuple[int, Job]] = {}
    using = versions()
    for place, job in enumerate(jobs):
        while len(places) >= _AHEAD * max(1, sum(client.ncores().values())) + _AHEAD:
            yield _result(next(done), places)
        future = client.submit(_attempt, job, using, pure=False)
        places[future.key] = (place, job)
        done.add(future)
    while places:
        yield _result(next(done), places)


def _result(future: Any, places: dict[str, tuple[int, Job]]) -> tuple[int, Product | Refusal]:
    place, job = places.pop(future.key)
    try:
        made: Product | Refusal = future.result()
    except Exception as error:
        # Lost with every worker that took it, or the scheduler itself is gone.
        told = WorkbookError(
            f"the cluster gave no result ({type(error).__name__})",
            file=job.file,
            allowed="workers with enough memory that stay connected; run again",
        )
        return place, Refusal(str(told), lasting=False)
    return place, made


def _attempt(job: Job, wanted: Versions) -> Product | Refusal:
    """Do a job on a worker, unless that would give other numbers than here."""
    if versions() != wanted:
        told = WorkbookError(
            "a worker of the cluster has another version of Dampcell or of its libraries",
            file=job.file,
            found=versions().number,
            allowed=f"the same installation as here ({wanted.number}) on every worker",
        )
        return Refusal(str(told), lasting=False)
    return attempt(job)


def _library() -> Any:
    try:
        # An optional extra: few workshops have a cluster.
        return importlib.import_module("distributed")
    except ImportError:
        raise InputError(
            "needs the library distributed, which is not installed",
            parameter="--scheduler",
            allowed='pip install "dampcell[cluster]", or no scheduler',
        ) from None
