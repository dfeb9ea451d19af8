"""The same jobs on the workers of a Dask cluster, through joblib's own backend for it.

Songs and outputs must lie where all workers see them under the same path.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from arranger.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterator

PATIENCE_SECONDS = 5


@contextmanager
def dask_backend(address: str) -> Iterator[None]:
    """Make joblib use the cluster at an address for the time being.

    Raises
    ------
    SettingsError
        If nothing answers there, or Dask isn't installed.
    """
    import joblib

    try:
        from distributed import Client
    except ImportError as error:
        raise SettingsError(
            "--cluster needs Dask", remedy="in your clone of arranger say: pip install '.[cluster]'"
        ) from error
    try:
        client = Client(address, timeout=PATIENCE_SECONDS)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise SettingsError(
            f"no cluster answers at {address!r}",
            remedy="start a Dask scheduler and give its address, like tcp://127.0.0.1:8786",
        ) from error
    with client, joblib.parallel_config(backend="dask", client=client):
        yield
