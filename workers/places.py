"""Where work is done: processes of this machine or a Ray cluster; and whether the same is installed there."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from workers.cluster import Cluster
from workers.dispatch import Begin, Workers, WorkersError, processor_cores
from workers.processes import Processes


@contextmanager
def opened(
    begin: Begin, number: int | None, ray: str | None, environment: Mapping[str, str] | None = None
) -> Iterator[Workers]:
    """Workers on the cluster at `ray`, else processes of this machine; one for each core, or `number`.

    `environment`: variables that workers of a cluster start with; processes have those of whoever calls. Raises
    `WorkersError` where nobody can be reached.
    """
    workers = Cluster(begin, ray, number, environment) if ray else Processes(begin, number or processor_cores())
    try:
        yield workers
    finally:
        workers.close()


def code_of(paths: Iterable[Path]) -> str:
    """SHA-256 over the Python files in these folders."""
    digest = hashlib.sha256()
    for folder in paths:
        for path in sorted(folder.rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()


def versions_of(*packages: str) -> dict[str, str]:
    """Which version of each is installed here; `none` where it is not."""
    return {package: _version(package) for package in packages}


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "none"


def other_versions(wanted: Mapping[str, str], came: Mapping[str, str]) -> str:
    """What is other than wanted, by name, for a message; empty where all is the same."""
    other = [name for name in wanted if came[name] != wanted[name]]
    return ", ".join(f"{name} {came[name][:12]} instead of {wanted[name][:12]}" for name in other)


def check_worker(wanted: Mapping[str, str], came: Mapping[str, str]) -> None:
    """For a worker that begins: raise `WorkersError` where its code or libraries are others than those of the caller,
    since its results would be others too.
    """
    if told := other_versions(wanted, came):
        raise WorkersError(f"A worker has another version of what it works with ({told}). Install the same everywhere.")
