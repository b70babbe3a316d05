"""The fits of many places on a Dask cluster that runs already; its library is an extra, imported when asked for."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from tracking.energy.fit.places import Answer, Progress, Question, answer_at, failed, in_order
from tracking.errors import InputError
from tracking.sky.site import Site

CONNECT_TIMEOUT = 10
"""Time that a scheduler has to answer [s]."""

WORKER_TIMEOUT = 30
"""Time that its first worker has to come [s]."""

INSTALL = 'pip install -e ".[cluster]" in the checkout'
"""How the extra focalrow[cluster] is installed; this package is in no registry."""


def answers_from_cluster(
    question: Question, sites: Sequence[Site], address: str, *, progress: Progress | None = None
) -> tuple[tuple[Answer, ...], bool]:
    """The fits of all places, in their order, and whether Ctrl-C ended the work.

    Each place is one task of one thread. The workers need this package in the same version.

    Parameters
    ----------
    question
        What is asked at each place.
    sites
        The places.
    address
        Of the scheduler, such as "tcp://192.0.2.7:8786".
    progress
        Called with the share done after each place. Ctrl-C keeps the places that are done.

    Raises
    ------
    InputError
        If the extra is not installed, the address does not answer, or the cluster has no workers.
    """
    client = _client(address)
    answers: dict[str, Answer] = {}
    waiting: dict[Any, Site] = {}
    alone = replace(question, effort=replace(question.effort, threads=1))
    try:
        from distributed import as_completed

        # pure=False: never an answer kept from an earlier run of other code.
        waiting = {client.submit(answer_at, alone, site, pure=False): site for site in sites}
        for future in as_completed(waiting):
            site = waiting[future]
            error = future.exception()
            answers[site.name] = failed(site, error) if error is not None else future.result()
            if progress is not None:
                progress(len(answers) / len(sites))
    except KeyboardInterrupt:
        client.cancel(list(waiting))
        return in_order(sites, answers), True
    finally:
        client.close()
    return in_order(sites, answers), False


def _client(address: str) -> Any:  # noqa: ANN401 - a client of a library without types
    """A client of the scheduler, with at least one worker."""
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            key="--scheduler",
            problem="a Dask cluster needs the library distributed, which is not installed",
            allowed=f"Install the extra focalrow[cluster]: {INSTALL}. Without --scheduler the places run on this "
            "machine.",
        ) from None
    try:
        client = Client(address, timeout=CONNECT_TIMEOUT)
    except (OSError, ValueError, TypeError) as error:  # OSError holds the library's timeouts too
        raise InputError(
            key="--scheduler",
            problem=f'no Dask scheduler answers at "{address}" ({type(error).__name__})',
            allowed='Allowed: the address that the scheduler prints when it starts, such as "tcp://192.0.2.7:8786".',
        ) from None
    try:
        client.wait_for_workers(1, timeout=WORKER_TIMEOUT)
    except TimeoutError:
        client.close()
        raise InputError(
            key="--scheduler",
            problem=f'the Dask scheduler at "{address}" has no workers',
            allowed="Start some, with this package installed.",
        ) from None
    return client
