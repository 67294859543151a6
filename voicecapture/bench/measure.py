"""Plays cases to a speech engine in a process of its own, so that its memory is its own."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

from voicecapture.bench import worker
from voicecapture.bench.cases import Case
from voicecapture.bench.mixing import sound
from voicecapture.bench.trial import Trial
from voicecapture.errors import ModelError
from voicecapture.herd import Herd

_AHEAD = 2
"""Cases made ready while one is heard."""


def measure(
    cases: Iterable[Case], engine: str, model: str | None, herd: Herd, keep: Callable[[Trial], None]
) -> float | None:
    """Hear every case with an engine in a fresh process; returns its peak memory in megabytes, if known.

    Args:
        cases: In the order to hear them.
        engine: Its name.
        model: Folder or name of its model.
        herd: The herd of every case.
        keep: Given each trial as it comes.

    Raises:
        AudioError: If a recording cannot be read.
        ModelError: If the engine cannot be loaded, or its process dies.
        KeyboardInterrupt: On Ctrl-C, after the case at hand; what was kept is whole.
    """
    with (
        TemporaryDirectory() as folder,
        ProcessPoolExecutor(1, get_context("spawn"), initializer=worker.begin) as pool,
    ):
        try:
            pool.submit(worker.start, engine, model, herd, Path(folder)).result()
            for trial in _in_order(pool, cases):
                keep(trial)
        except BrokenProcessPool as error:
            raise ModelError(f"--engine {engine}: its process ended. See whether memory ran out.") from error
        finally:
            # Also after Ctrl-C: the worker closes its database before the folder goes.
            with suppress(BrokenProcessPool):
                memory_mb = pool.submit(worker.finish).result()
    return memory_mb


def _in_order(pool: ProcessPoolExecutor, cases: Iterable[Case]) -> Iterator[Trial]:
    pending: deque[Future[Trial]] = deque()
    for case in cases:
        pending.append(pool.submit(worker.hear, case, sound(case)))
        if len(pending) > _AHEAD:
            yield pending.popleft().result()
    while pending:
        yield pending.popleft().result()
