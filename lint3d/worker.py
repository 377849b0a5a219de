"""How does a worker process take jobs?

It reads pickled messages from standard input and answers on its own copy of standard output; what
native code or a plugin prints goes to standard error. The first message is a `Setup`, each further
one a `Job`. It says which step it begins, so that a step that ends the process can be named.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import warnings
from dataclasses import dataclass
from importlib import import_module
from typing import Any, BinaryIO

from lint3d.registry import PluginSettings

#: Answers: ("step", uri, step, body), ("share", 0 to 1), ("done", JobOutcome), ("failed", text),
#: ("unfit", text)
Message = tuple[Any, ...]


@dataclass(frozen=True)
class Setup:
    """What a worker must know before its first job."""

    plugins: PluginSettings
    memory_mb: int


def main() -> None:
    """Serve jobs until standard input ends."""
    # Ctrl-C reaches the whole process group; the parent ends its workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # A broken part makes libraries warn, with this machine's paths; the report says what counts.
    warnings.simplefilter("ignore", RuntimeWarning)
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    source = sys.stdin.buffer
    setup: Setup = pickle.load(source)
    try:
        registry = _made_ready(setup)
    except Exception as error:
        _send(out, ("unfit", f"a worker cannot start ({type(error).__name__}: {error})"))
        return
    while True:
        try:
            job = pickle.load(source)
        except EOFError:
            return
        _serve(job, registry, out)


def _made_ready(setup: Setup) -> Any:
    """Load everything first: a bound that is too small for lint3d itself would help nobody."""
    import_module("lint3d.jobs")
    from lint3d.registry import load_registry

    registry = load_registry(setup.plugins)
    _bound_memory(setup.memory_mb)
    return registry


def _serve(job: Any, registry: Any, out: BinaryIO) -> None:
    from lint3d.jobs import run_job

    def progress(uri: str, step: str, body: str) -> None:
        _send(out, ("step", uri, step, body))

    def advance(share: float) -> None:
        _send(out, ("share", share))

    try:
        answer: Message = ("done", run_job(job, registry, progress, advance))
    except MemoryError:
        answer = ("failed", "it needs more memory than the setting bounds.memory_mb allows")
    except (Exception, SystemExit, KeyboardInterrupt) as error:
        text = " ".join(str(error).split())
        answer = ("failed", f"{type(error).__name__}: {text}")
    _send(out, answer)


def _send(out: BinaryIO, message: Message) -> None:
    pickle.dump(message, out, protocol=pickle.HIGHEST_PROTOCOL)
    out.flush()


def _bound_memory(megabytes: int) -> None:
    """Bound the address space where the system can (not on Windows)."""
    try:
        import resource
    except ImportError:
        return
    wanted = megabytes * 1024 * 1024
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard != resource.RLIM_INFINITY:
        wanted = min(wanted, hard)
    resource.setrlimit(resource.RLIMIT_AS, (wanted, hard))
    # A crash is told by the parent; no core file of a customer's model stays behind.
    resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))
