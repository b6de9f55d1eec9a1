"""Runs a batch on a Dask cluster that is there already, through joblib's backend for it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import joblib

from pipeline.errors import ImpossibleError, InputError

ADDRESS = re.compile(r"(?:(?:tcp|tls|wss?)://)?(?:\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9_.-]+):(\d{1,5})")
WRITTEN = "Write it as tcp://HOST:8786, as the scheduler prints it."
HIGHEST_PORT = 65_535
PATIENCE_S = 30
"""How long to wait for the scheduler, and for its first worker."""


@contextmanager
def on_cluster(address: str) -> Iterator[int]:
    """Within the block joblib's work runs on the cluster of the scheduler at ``address``; yield its workers.

    Workers need this version of hitchgrid, the pictures at the same paths and a folder that all can write to.
    What a lost worker was at is planned by another. Raises InputError if the cluster cannot be reached,
    ImpossibleError if it has no workers, or workers with another version.
    """
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            "--scheduler needs the package distributed.", "Install it: pip install 'hitchgrid[cluster]'"
        ) from None
    found = ADDRESS.fullmatch(address)
    if found is None or int(found[1]) > HIGHEST_PORT:  # a client that cannot read it would wait a minute
        raise InputError(f"--scheduler: {address[:80]!r} is no address.", WRITTEN)
    try:
        client: Any = Client(address, timeout=PATIENCE_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            f"--scheduler: there is no cluster at {address[:80]!r} ({type(error).__name__}).", WRITTEN
        ) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=PATIENCE_S)
        except TimeoutError:
            raise ImpossibleError(
                f"the cluster at {address[:80]} has no workers.", "Start one: dask worker ADDRESS"
            ) from None
        _same_program(client)
        workers = len(client.scheduler_info()["workers"])
        with joblib.parallel_config(backend="dask", client=client, wait_for_workers_timeout=PATIENCE_S):
            yield workers


def _same_program(client: Any) -> None:
    """Refuse workers that run another version of this program, or none."""
    from importlib.metadata import version

    found = client.run(_version)
    others = {worker: known for worker, known in found.items() if known != version("hitchgrid")}
    if others:
        worker, known = next(iter(sorted(others.items())))
        raise ImpossibleError(
            f"the worker {worker} has {f'hitchgrid {known}' if known else 'no hitchgrid'}, and this is "
            f"{version('hitchgrid')}.",
            "Install the same version for all of them.",
        )


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("hitchgrid")
    except PackageNotFoundError:
        return ""
