"""One job in this process: faults of files, readers and rules, and what comes back."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from house import PLUGINS
from parts import box, write_stl

from lint3d.api import prepare, settings
from lint3d.config import Config
from lint3d.jobs import Job, JobOutcome, run_job
from lint3d.loading import LoadOptions

CONFIG = Config(
    process=str(PLUGINS / "troublesome.toml"),
    plugins=(str(PLUGINS / "troublesome.py"),),
    disable=("size", "solid"),
)


@pytest.fixture(scope="module")
def prepared():  # type: ignore[no-untyped-def]
    return prepare(settings(CONFIG))


def done(prepared, *paths: Path, **more: object) -> JobOutcome:  # type: ignore[no-untyped-def]
    uris = tuple(path.name for path in paths)
    job = Job(tuple(map(str, paths)), uris, prepared.requirements.general, LoadOptions(), **more)  # type: ignore[arg-type]
    return run_job(job, prepared.registry, lambda *_: None)


def test_a_sound_file(tmp_path: Path, prepared) -> None:  # type: ignore[no-untyped-def]
    outcome = done(prepared, write_stl(tmp_path / "a.stl", box()))
    assert {result.kind for result in outcome.results} == {"pass"}
    assert not outcome.notifications
    (artifact,) = outcome.artifacts
    assert (artifact.uri, artifact.format, artifact.bodies, artifact.faces) == (
        "a.stl", "STL (binary)", ("part-1",), 12,
    )  # fmt: skip
    assert pickle.loads(pickle.dumps(outcome)) == outcome


def test_several_files_are_one_assembly(tmp_path: Path, prepared) -> None:  # type: ignore[no-untyped-def]
    paths = [write_stl(tmp_path / name, box()) for name in ("a.stl", "b.stl")]
    outcome = done(prepared, *paths)
    assert {result.uri for result in outcome.results} == {"a.stl", "b.stl"}
    assert [artifact.uri for artifact in outcome.artifacts] == ["a.stl", "b.stl"]


def test_an_absent_file_is_told_and_the_other_is_inspected(tmp_path: Path, prepared) -> None:  # type: ignore[no-untyped-def]
    outcome = done(prepared, tmp_path / "no.stl", write_stl(tmp_path / "b.stl", box()))
    (note,) = outcome.notifications
    assert (note.level, note.id, note.uri) == ("error", "file", "no.stl")
    assert note.message == "no.stl does not exist. Check the name and the folder."
    assert {r.uri for r in outcome.results if r.body} == {"b.stl"}


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"raise", "the reader 'trouble' crashed: RuntimeError: cannot read this (plugin 'troubl"),
        (b"claims", "the reader 'trouble' crashed: ValueError: what is this?"),
        (b"nothing", "the reader 'trouble' crashed: TypeError: it gave NoneType for a Reading"),
        (b"unit", "the reader 'trouble' crashed: ValueError: it gave 'parsec' for a unit"),
    ],
)
def test_a_reader_that_crashes_is_named(
    tmp_path: Path, prepared, content: bytes, message: str
) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "a.trouble"
    path.write_bytes(content)
    outcome = done(prepared, path, write_stl(tmp_path / "b.stl", box()))
    plugin = [note for note in outcome.notifications if note.id == "plugin"]
    assert len(plugin) == 1
    assert message in plugin[0].message
    assert plugin[0].plugin == "troublesome"
    assert "\n" not in plugin[0].message
    assert "b.stl" in {result.uri for result in outcome.results if result.body}


def test_what_is_lost_is_not_tried_again(tmp_path: Path, prepared) -> None:  # type: ignore[no-untyped-def]
    path = write_stl(tmp_path / "abort-segfault.stl", box())
    outcome = done(prepared, path, lost={"aborted": "it aborted", "trouble/segfault": "it crashed"})
    lost = {r.rule: r.message for r in outcome.results if r.kind == "open"}
    assert lost.keys() == {"trouble/aborted", "trouble/segfault"}
    assert "it aborted" in lost["trouble/aborted"]


def test_a_file_that_ended_a_worker_is_not_read_again(tmp_path: Path, prepared) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "a.trouble"
    path.write_bytes(b"abort")
    outcome = done(prepared, path, unreadable={"a.trouble": "its process was ended by SIGABRT"})
    assert (
        "could not be read: its process was ended by SIGABRT." in outcome.notifications[0].message
    )
    assert outcome.artifacts[0].format is None
