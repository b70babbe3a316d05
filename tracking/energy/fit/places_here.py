"""The fits of many places in processes of this machine."""

import multiprocessing
import signal
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

from raytrace.compiling import default_threads
from raytrace.trace import trace
from tracking.energy.fit.places import Answer, Progress, Question, answer_at, failed, in_order
from tracking.sky.site import Site


def answers_here(
    question: Question, sites: Sequence[Site], *, threads: int | None = None, progress: Progress | None = None
) -> tuple[tuple[Answer, ...], bool]:
    """The fits of all places, in their order, and whether Ctrl-C ended the work.

    Parameters
    ----------
    question
        What is asked at each place.
    sites
        The places.
    threads
        Processors to use; all where none is given. They are shared out between the processes.
    progress
        Called with the share done after each place. Ctrl-C keeps the places that are done.
    """
    whole = threads or default_threads()
    processes = min(whole, len(sites))
    shared = replace(question, effort=replace(question.effort, threads=max(1, whole // processes)))
    # The tracer is compiled here, once, into the folder that all processes read; else each would compile it.
    trace(question.scene_file.scene, rays=1, threads=1)
    answers: dict[str, Answer] = {}
    # A fresh interpreter for each process: a copy of this one would hold the locks of its threads.
    context = multiprocessing.get_context("spawn")
    before = set(multiprocessing.active_children())
    # Ctrl-C reaches every process of a terminal: this one ends the others.
    pool = ProcessPoolExecutor(
        max_workers=processes, mp_context=context, initializer=signal.signal, initargs=(signal.SIGINT, signal.SIG_IGN)
    )
    try:
        waiting = {pool.submit(answer_at, shared, site): site for site in sites}
        lost: list[Site] = []
        for future in as_completed(waiting):
            site = waiting[future]
            try:
                answers[site.name] = future.result()
            except BrokenProcessPool:  # a process was killed: all that was waiting is lost with it
                lost.append(site)
                continue
            except Exception as error:  # noqa: BLE001  such as an answer that cannot be sent back
                answers[site.name] = failed(site, error)
            if progress is not None:
                progress(len(answers) / len(sites))
        for site in lost:
            answers[site.name] = _alone(shared, site)
            if progress is not None:
                progress(len(answers) / len(sites))
    except KeyboardInterrupt:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in set(multiprocessing.active_children()) - before:
            process.terminate()
        return in_order(sites, answers), True
    pool.shutdown()
    return in_order(sites, answers), False


def _alone(question: Question, site: Site) -> Answer:
    """One place in a process of its own, after another one took the first try along."""
    with ProcessPoolExecutor(max_workers=1, mp_context=multiprocessing.get_context("spawn")) as pool:
        try:
            return pool.submit(answer_at, question, site).result()
        except BrokenProcessPool:
            return Answer(site=site, fit=None, error="its process was killed: is there too little memory?")
