"""What a file does to its worker, the run survives: crash, hang, memory, measuring or reading.

One run over many files, shared by the tests, because processes take half a second to start.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from house import PLUGINS
from parts import box, write_stl

import lint3d
from lint3d import Inspection, Notification
from lint3d.api import pool_of, prepare, run
from lint3d.config import Bounds, Config
from lint3d.pool import Pool
from lint3d.registry import PluginSettings
from lint3d.worker import Setup

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")

SECONDS = 6.0
CONFIG = Config(
    process=str(PLUGINS / "troublesome.toml"),
    plugins=(str(PLUGINS / "troublesome.py"),),
    disable=("size", "solid"),
    bounds=Bounds(seconds=SECONDS, memory_mb=2000),
    workers=2,
)
READ = {"abort-reading.trouble": b"abort", "hang-reading.trouble": b"hang"}
MEASURED = [
    "abort.stl", "exit.stl", "fine.stl", "greedy.stl", "hang.stl", "raise.stl", "segfault.stl",
    "unmeasured.stl", "unsendable.stl", "zz-abort-and-segfault-and-raise.stl",
]  # fmt: skip


@pytest.fixture(scope="module")
def inspection(tmp_path_factory: pytest.TempPathFactory) -> Inspection:
    folder = tmp_path_factory.mktemp("trouble")
    for name in MEASURED:
        write_stl(folder / name, box())
    for name, content in READ.items():
        (folder / name).write_bytes(content)
    return lint3d.inspect(folder, config=CONFIG)


def notes(inspection: Inspection, uri: str) -> list[Notification]:
    return [note for note in inspection.notifications if note.uri == uri]


def kinds(inspection: Inspection, uri: str) -> dict[str, str]:
    return {r.rule.removeprefix("trouble/"): r.kind for r in inspection.results if r.uri == uri}


FINE = dict.fromkeys(
    ["aborted", "hung", "greedy", "raised", "unmeasured", "segfault", "exit", "unsendable", "fine"],
    "pass",
)


@pytest.mark.further
def test_every_file_is_there_and_the_run_is_incomplete(inspection: Inspection) -> None:
    assert [a.uri for a in inspection.artifacts] == sorted([*MEASURED, *READ])
    assert not inspection.complete
    assert inspection.exit_code() == 3


def test_a_sound_file_beside_the_others_is_inspected_whole(inspection: Inspection) -> None:
    assert kinds(inspection, "fine.stl") == FINE
    assert not notes(inspection, "fine.stl")


@pytest.mark.parametrize(
    ("uri", "rule", "at", "cause"),
    [
        ("abort.stl", "aborted", "at 'aborted', body part-1", "was ended by SIGABRT"),
        ("segfault.stl", "segfault", "at 'trouble/segfault', body part-1", "ended by SIGSEGV"),
        ("hang.stl", "hung", "at 'hung', body part-1",
         f"it took longer than {SECONDS:g} s (setting bounds.seconds)"),
    ],
)  # fmt: skip
def test_a_lost_step_is_named_with_file_and_cause_and_the_rest_goes_on(
    inspection: Inspection, uri: str, rule: str, at: str, cause: str
) -> None:
    assert kinds(inspection, uri) == {**FINE, rule: "open"}
    (note,) = notes(inspection, uri)
    assert (note.level, note.id) == ("error", "worker")
    assert note.message.startswith(f"{uri} was lost {at}: ")
    assert cause in note.message
    (lost,) = [r for r in inspection.results if r.uri == uri and r.kind == "open"]
    assert cause in lost.message


def test_a_rule_that_exits_has_crashed_and_the_rest_goes_on(inspection: Inspection) -> None:
    assert kinds(inspection, "exit.stl") == {**FINE, "exit": "open"}
    (note,) = notes(inspection, "exit.stl")
    assert (note.level, note.id, note.rule) == ("error", "rule", "trouble/exit")
    assert "SystemExit" in note.message


def test_a_measure_without_end_of_memory_is_stopped(inspection: Inspection) -> None:
    assert kinds(inspection, "greedy.stl") == {**FINE, "greedy": "open"}
    (note,) = notes(inspection, "greedy.stl")
    assert "greedy" in note.message
    assert "memory" in note.message
    assert "bounds.seconds" not in note.message


def test_a_measure_that_raises_needs_no_new_process(inspection: Inspection) -> None:
    assert kinds(inspection, "raise.stl") == {**FINE, "raised": "open"}
    (note,) = notes(inspection, "raise.stl")
    assert note.id == "measure"
    assert "crashed on part-1: ZeroDivisionError: by zero (troublesome.py, line" in note.message


def test_what_cannot_be_sent_is_a_crash_of_its_rule(inspection: Inspection) -> None:
    assert kinds(inspection, "unsendable.stl") == {**FINE, "unsendable": "open"}
    (note,) = notes(inspection, "unsendable.stl")
    assert note.rule == "trouble/unsendable"


def test_not_measurable_is_open_and_no_trouble_of_the_run(inspection: Inspection) -> None:
    assert kinds(inspection, "unmeasured.stl") == {**FINE, "unmeasured": "open"}
    assert not notes(inspection, "unmeasured.stl")


def test_several_losses_of_one_file_are_each_told(inspection: Inspection) -> None:
    uri = "zz-abort-and-segfault-and-raise.stl"
    assert kinds(inspection, uri) == {
        **FINE, "aborted": "open", "segfault": "open", "raised": "open",
    }  # fmt: skip
    assert sorted(note.id for note in notes(inspection, uri)) == ["measure", "worker", "worker"]


@pytest.mark.parametrize(
    ("uri", "cause"),
    [
        ("abort-reading.trouble", "its process was ended by SIGABRT"),
        ("hang-reading.trouble", f"it took longer than {SECONDS:g} s (setting bounds.seconds)"),
    ],
)
def test_a_file_that_ends_its_worker_while_it_is_read(
    inspection: Inspection, uri: str, cause: str
) -> None:
    told = [note.message for note in notes(inspection, uri)]
    assert any(text.startswith(f"{uri} was lost while it was read: {cause}") for text in told)
    assert kinds(inspection, uri).keys() <= {"exit"}  # no rule over bodies has passed
    (artifact,) = [a for a in inspection.artifacts if a.uri == uri]
    assert artifact.format is None


@pytest.mark.further
def test_it_is_the_same_with_one_worker_and_in_any_order(
    inspection: Inspection, tmp_path: Path
) -> None:
    names = ["segfault.stl", "fine.stl", "abort.stl"]
    paths = [write_stl(tmp_path / name, box()) for name in names]
    patient = replace(CONFIG, bounds=Bounds(600, CONFIG.bounds.memory_mb))
    one = lint3d.inspect(paths, config=patient, workers=1)
    for name in names:
        assert kinds(one, name) == kinds(inspection, name)
        assert notes(one, name) == notes(inspection, name)


def test_a_bound_that_nothing_fits_into_gives_up_and_says_which(tmp_path: Path) -> None:
    path = write_stl(tmp_path / "a.stl", box())
    config = Config(disable=("size", "solid"), bounds=Bounds(memory_mb=1), workers=1)
    found = lint3d.inspect(path, config=config)
    assert found.exit_code() == 3
    assert any("bounds.memory_mb" in note.message for note in found.notifications)
    assert not [result for result in found.results if result.kind == "pass" and result.body]


def test_a_worker_has_one_thread_for_matrices_unless_told_otherwise(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seen: list[dict[str, str]] = []

    def start(*_: object, env: dict[str, str], **__: object) -> None:
        seen.append(env)
        raise OSError("not started")

    monkeypatch.setattr("lint3d.pool.subprocess.Popen", start)
    monkeypatch.setenv("OF_THE_PARENT", "kept")
    for given, expected in ((None, "1"), ("3", "3")):
        monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
        if given:
            monkeypatch.setenv("OPENBLAS_NUM_THREADS", given)
        with pytest.raises(OSError, match="not started"):
            Pool(1, Setup(PluginSettings(), 2000), SECONDS)._start()
        assert seen[-1]["OPENBLAS_NUM_THREADS"] == expected
        assert seen[-1]["OF_THE_PARENT"] == "kept"


def test_a_worker_that_ends_while_it_has_nothing_to_do_costs_nothing() -> None:
    """Its last job is done; it must not be lost once more."""
    with Pool(1, Setup(PluginSettings(), 2000), SECONDS) as pool:
        pool.jobs, pool.waiting, pool.losses, pool.outcomes = {}, [], {}, {}
        worker = pool._start()
        pool._next(worker)
        worker.process.kill()
        pool._take(worker, ("ended",), lambda *_: None, lambda _: None)
        assert (pool.workers, pool.waiting, pool.losses) == ([], [], {})


def test_runs_may_share_workers_and_one_that_ended_between_them_is_replaced(tmp_path: Path) -> None:
    path = write_stl(tmp_path / "a.stl", box())
    prepared = prepare(Config(only=("size",)))
    with pool_of(prepared, 1) as pool:
        first = run(prepared, [path], frozenset(), pool)
        (worker,) = pool.workers
        again = run(prepared, [path], frozenset(), pool)
        assert [one is worker for one in pool.workers] == [True]
        worker.process.kill()
        worker.process.wait()
        replaced = run(prepared, [path], frozenset(), pool)
    assert first.results
    assert first.results == again.results == replaced.results
    assert not [*first.notifications, *again.notifications, *replaced.notifications]
