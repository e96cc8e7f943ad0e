"""Worker processes. One that dies costs the file it worked on, never the run."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Generic, TypeVar

from kinelint.engine.context import Context, short_traceback
from kinelint.errors import KinelintError

T = TypeVar("T")
R = TypeVar("R")

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
_PRELOADED = ["kinelint.engine.asset", "kinelint.readers.bvh", "kinelint.readers.gltf"]


@dataclass(frozen=True)
class Lost:
    """A task that has no result: why, and for developers where."""

    reason: str
    details: str = ""


@dataclass(frozen=True)
class Job(Generic[T, R]):
    """A function of the context and one task, as processes pass it to each other."""

    function: Callable[[Context, T], R]

    def __call__(self, context: Context, task: T) -> R | Lost:
        """The result; a fault of ours costs one task, what users can mend passes through."""
        try:
            return self.function(context, task)
        except KinelintError:
            raise
        except Exception as error:
            said = f"kinelint failed on it: {type(error).__name__}: {error}"
            return Lost(f"{said}. Please report this with the file.", short_traceback(error))


_context: Context | None = None


def _begin(context: Context) -> None:
    global _context
    _context = context
    # The parent decides what an interrupt from the keyboard means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _ready() -> bool:
    return _context is not None


def _do(job: Job[T, R], task: T) -> R | Lost:
    assert _context is not None
    return job(_context, task)


class Crew:
    """Some workers for one run. Without any, work is done in this process.

    Args:
        context: what every worker knows.
        workers: how many processes; 0 for none.
        start_method: of `multiprocessing`; by default forkserver where there is one, else spawn.
    """

    def __init__(self, context: Context, workers: int, start_method: str | None = None) -> None:
        self.context = context
        self.workers = workers
        known = multiprocessing.get_all_start_methods()
        method = start_method or ("forkserver" if "forkserver" in known else "spawn")
        self.mp: Any = multiprocessing.get_context(method)
        if method == "forkserver":
            rules = {one.rule.__module__ for one in context.policy.rules.values()}
            self.mp.set_forkserver_preload([*_PRELOADED, *sorted(rules)])
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> Crew:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop(now=kind is not None)

    def work(
        self, function: Callable[[Context, T], R], tasks: Sequence[T]
    ) -> Iterator[tuple[int, R | Lost]]:
        """(index of the task, its result) as results come in; start with the longest tasks."""
        job = Job(function)
        if not self.workers:
            for index, task in enumerate(tasks):
                yield index, job(self.context, task)
            return
        waiting = deque(enumerate(tasks))
        while waiting:
            suspects: list[tuple[int, T]] = []
            yield from self._until_broken(job, waiting, suspects)
            for index, task in suspects:
                result = self._alone(job, task)
                yield index, result

    def _until_broken(
        self, job: Job[T, R], waiting: deque[tuple[int, T]], suspects: list[tuple[int, T]]
    ) -> Iterator[tuple[int, R | Lost]]:
        """Works until all is done or a worker died; then `suspects` holds what was in work."""
        pool = self._started(self.workers)
        running: dict[Future[R | Lost], tuple[int, T]] = {}
        while (waiting or running) and not suspects:
            # Few at a time, so that few are suspected when a worker dies.
            while waiting and len(running) <= self.workers:
                try:
                    future = pool.submit(_do, job, waiting[0][1])
                except BrokenProcessPool:
                    break
                running[future] = waiting.popleft()
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                numbered = running.pop(future)
                try:
                    yield numbered[0], future.result()
                except BrokenProcessPool:
                    suspects.append(numbered)
        if suspects:
            for future, numbered in running.items():
                if future.exception() is None:
                    yield numbered[0], future.result()
                else:
                    suspects.append(numbered)
            self._stop()
            suspects.sort(key=lambda one: one[0])

    def _alone(self, job: Job[T, R], task: T) -> R | Lost:
        """A suspect by itself, so that the innocent are told from the one that kills."""
        pool = self._started(1)
        try:
            return pool.submit(_do, job, task).result()
        except BrokenProcessPool:
            return Lost("the process that worked on it died (out of memory, or native code)")
        finally:
            self._stop()

    def _started(self, workers: int) -> ProcessPoolExecutor:
        if self._pool is None:
            with _environment(dict.fromkeys(_ONE_THREAD, "1")):
                self._pool = ProcessPoolExecutor(workers, self.mp, _begin, (self.context,))
                try:
                    with _uninterrupted():
                        first = self._pool.submit(_ready)
                    first.result()
                except BrokenProcessPool as error:
                    raise KinelintError(
                        "the worker processes do not start",
                        mend="Try --workers 0, which works in this process.",
                    ) from error
        return self._pool

    def _stop(self, now: bool = False) -> None:
        pool, self._pool = self._pool, None
        if pool is None:
            return
        if now:
            for process in list((getattr(pool, "_processes", None) or {}).values()):
                process.terminate()
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Holds an interrupt from the keyboard back: a process half started would be left behind."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    held: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: held.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if held:
        raise KeyboardInterrupt


@contextmanager
def _environment(values: dict[str, str]) -> Iterator[None]:
    """Workers share the cores by file; threads inside each would only get in their way."""
    before = {name: os.environ.get(name) for name in values}
    os.environ.update({name: before[name] or value for name, value in values.items()})
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
