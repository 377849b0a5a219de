"""How are jobs spread over worker processes, and what if one ends or hangs?

Workers are reused. One that ends, or takes longer than it may, is replaced; the step it was at is
named in a notification, the job is run again without that step, and what depends on it is *open*.
A file that ends a worker while it is read is reported as unreadable.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import psutil

from lint3d.engine import Progress
from lint3d.inspection import Artifact, Notification
from lint3d.jobs import READING, Job, JobOutcome
from lint3d.worker import Setup

#: How often one job may lose a step before the rest of it is given up. common practice, no source
MOST_LOSSES = 5
#: A worker that starts may take this long besides. common practice, no source
START_SECONDS = 60.0
# The parent's search path is handed over, and nothing is added to it: a module that lies in the
# folder of an inspected file is never imported.
_START = (
    "import pickle, sys; sys.path[:] = pickle.load(sys.stdin.buffer); "
    "from lint3d.worker import main; main()"
)


@dataclass
class _Worker:
    """A process, and a thread that reads its answers."""

    process: subprocess.Popen[bytes]
    answers: queue.SimpleQueue[tuple[_Worker, Any]]
    index: int = -1
    """Which job it is at; -1: none"""
    ready: bool = False
    """It has begun a job, so it is not starting any more"""
    step: tuple[str, str, str] = ("", READING, "")
    deadline: float = 0.0
    excess: str = ""
    """Why it was ended from here"""

    def send(self, message: Any) -> None:
        assert self.process.stdin is not None
        try:
            pickle.dump(message, self.process.stdin)
            self.process.stdin.flush()
        except BrokenPipeError:
            pass  # The reading thread tells that it ended.

    def listen(self) -> None:
        assert self.process.stdout is not None
        try:
            while True:
                self.answers.put((self, pickle.load(self.process.stdout)))
        except Exception:
            self.answers.put((self, ("ended",)))


class Pool:
    """Worker processes for one run, or for several with one setup. Use as a context manager."""

    def __init__(self, count: int, setup: Setup, seconds: float) -> None:
        self.count, self.setup, self.seconds = count, setup, seconds
        self.answers: queue.SimpleQueue[tuple[_Worker, Any]] = queue.SimpleQueue()
        self.workers: list[_Worker] = []

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *error: object) -> None:
        for worker in self.workers:
            _stop(worker)

    def run(
        self, jobs: Sequence[Job], progress: Progress, advance: Callable[[int, float], None]
    ) -> list[JobOutcome]:
        """Run every job on `count` workers; outcomes are in the order of the jobs.

        Workers of an earlier run are used again.
        """
        self.jobs = dict(enumerate(jobs))
        self.waiting = list(range(len(jobs)))
        self.losses: dict[int, list[Notification]] = {index: [] for index in self.jobs}
        self.outcomes: dict[int, JobOutcome] = {}
        fit = [one for one in self.workers if one.process.poll() is None and not one.excess]
        wanted = min(self.count, len(jobs))
        for worker in fit[:wanted]:
            self._next(worker)
        for _ in range(wanted - len(fit)):
            self._next(self._start())
        while len(self.outcomes) < len(jobs):
            self._stop_excess()
            try:
                worker, message = self.answers.get(timeout=0.2)
            except queue.Empty:
                continue
            if worker in self.workers:
                self._take(worker, message, progress, advance)
        return [self.outcomes[index] for index in range(len(jobs))]

    def _start(self) -> _Worker:
        process = subprocess.Popen(
            [sys.executable, "-P", "-c", _START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=_environment(),
        )
        worker = _Worker(process, self.answers)
        threading.Thread(target=worker.listen, daemon=True).start()
        worker.send(sys.path)
        worker.send(self.setup)
        self.workers.append(worker)
        return worker

    def _next(self, worker: _Worker) -> None:
        worker.index = -1
        if not self.waiting:
            worker.deadline = float("inf")
            return
        worker.index = self.waiting.pop(0)
        worker.step = (self.jobs[worker.index].uris[0], READING, "")
        start = 0.0 if worker.ready else START_SECONDS
        worker.deadline = time.monotonic() + self.seconds + start
        worker.send(self.jobs[worker.index])

    def _take(
        self,
        worker: _Worker,
        message: Any,
        progress: Progress,
        advance: Callable[[int, float], None],
    ) -> None:
        kind, *rest = message
        if kind == "step":
            if not worker.ready:
                worker.ready, worker.deadline = True, time.monotonic() + self.seconds
            worker.step = (rest[0], rest[1], rest[2])
            progress(*worker.step)
        elif kind == "share":
            advance(worker.index, rest[0])
        elif kind == "done":
            outcome: JobOutcome = rest[0]
            outcome.notifications.extend(self.losses[worker.index])
            self.outcomes[worker.index] = outcome
            advance(worker.index, 1.0)
            worker.index = -1
            if not worker.excess:  # else it was ended just after its answer
                self._next(worker)
        elif kind == "unfit":
            worker.excess = rest[0]
        elif kind == "failed":
            self._lose(worker, rest[0])
            self._next(worker)
        else:
            what = self._how_it_ended(worker)
            self.workers.remove(worker)
            _stop(worker)
            if worker.index >= 0:
                self._lose(worker, what)
            if self.waiting:
                self._next(self._start())

    def _how_it_ended(self, worker: _Worker) -> str:
        if worker.excess:
            return worker.excess
        code = worker.process.wait()
        if code < 0:
            try:
                return f"its process was ended by {signal.Signals(-code).name}"
            except ValueError:
                return f"its process was ended by signal {-code}"
        return f"its process ended with exit code {code}"

    def _lose(self, worker: _Worker, what: str) -> None:
        """Note what was lost and queue the job again without it."""
        uri, step, body = worker.step
        job, losses = self.jobs[worker.index], self.losses[worker.index]
        at = "while it was read" if step == READING else f"at '{step}'"
        on = f", body {body}" if body else ""
        rest = "Nothing of it" if step == READING else "The rest"
        without = "" if step == READING else " without it"
        losses.append(
            Notification(
                f"{uri} was lost {at}{on}: {what}. {rest} was inspected{without}.",
                "error",
                "worker",
                uri,
                step if "/" in step else None,
            )
        )
        if len(losses) > MOST_LOSSES + len(job.uris):
            self._give_up(worker.index)
            return
        if step == READING or len(losses) >= MOST_LOSSES:
            job = replace(job, unreadable={**job.unreadable, uri: what})
        else:
            job = replace(job, lost={**job.lost, step: what})
        self.jobs[worker.index] = job
        self.waiting.insert(0, worker.index)

    def _give_up(self, index: int) -> None:
        """Even without what was lost, the job ends its worker: tell it and go on."""
        job = self.jobs[index]
        given_up = [
            Notification(
                f"{uri} was given up: {MOST_LOSSES} attempts ended. Nothing of it was inspected. "
                "Check the settings bounds.memory_mb and bounds.seconds, then try again.",
                "error",
                "worker",
                uri,
            )
            for uri in job.uris
        ]
        artifacts = [Artifact(uri) for uri in job.uris]
        self.outcomes[index] = JobOutcome(
            notifications=[*self.losses[index], *given_up], artifacts=artifacts
        )

    def _stop_excess(self) -> None:
        """End workers that take too long, or too much memory where the system sets no bound."""
        now = time.monotonic()
        for worker in self.workers:
            if worker.excess:
                continue
            if now > worker.deadline:
                worker.excess = f"it took longer than {self.seconds:g} s (setting bounds.seconds)"
            elif _resident_mb(worker.process.pid) > self.setup.memory_mb:
                worker.excess = (
                    f"it took more than {self.setup.memory_mb} MB (setting bounds.memory_mb)"
                )
            if worker.excess:
                worker.process.kill()


def _environment() -> dict[str, str]:
    """Of a worker: its products of matrices run on one thread, unless somebody says otherwise.

    They are small. On every core their threads wait for one another in busy loops, which takes a
    tenth more processor time, and there is a worker on every core already.
    """
    return {"OPENBLAS_NUM_THREADS": "1", **os.environ}


def _resident_mb(pid: int) -> float:
    """Memory that a process holds now; 0 if it has ended."""
    try:
        return float(psutil.Process(pid).memory_info().rss) / 1e6
    except psutil.Error:
        return 0.0


def _stop(worker: _Worker) -> None:
    if worker.process.poll() is None:
        worker.process.kill()
    worker.process.wait()
    for pipe in (worker.process.stdin, worker.process.stdout):
        if pipe:
            with contextlib.suppress(OSError):
                pipe.close()
