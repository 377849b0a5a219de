"""What an earlier report said, and every way in which a file is no such report."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import inspections
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from two_reports import inspection, wall

import lint3d.snapshot
from lint3d.baseline import any_worse, changes, compare_with
from lint3d.errors import ConfigurationError
from lint3d.inspection import Conceded, Inspection
from lint3d.report.sarif import SarifWriter
from lint3d.snapshot import read_report, snapshot_of


def written(folder: Path, found: Inspection, name: str = "old.sarif") -> Path:
    path = folder / name
    path.write_bytes(SarifWriter().write(found))
    return path


def refused(path: Path) -> str:
    """The one line that is said of a file that is no report."""
    with pytest.raises(ConfigurationError) as caught:
        read_report(path)
    assert caught.value.exit_code == 2
    text = str(caught.value)
    assert path.name in text
    return text


@pytest.mark.parametrize("case", [inspections.varied, inspections.sound])
def test_what_was_written_is_what_is_read(tmp_path: Path, case: Any) -> None:
    found = case()
    snapshot = read_report(written(tmp_path, found))
    ordered = sorted(found.results, key=lambda result: result.sort_key())
    for read, made in zip(snapshot.results, ordered, strict=True):
        for key in ("rule", "kind", "uri", "body", "other", "faces", "extent", "position"):
            assert getattr(read, key) == getattr(made, key), key
        assert (read.requirement is None) == (made.requirement is None)
        if read.requirement and made.requirement and made.requirement.kind != "inform":
            assert read.requirement.limit == made.requirement.limit
    assert snapshot.sheet == found.sheet.digest
    assert snapshot.complete == found.complete
    assert not any(c.is_changed for c in changes(snapshot, snapshot_of(found)))


def test_likeness_and_places_are_read(tmp_path: Path) -> None:
    found = inspection(wall())
    snapshot = read_report(written(tmp_path, found))
    assert snapshot.results[0].centre == wall().centre
    shape = snapshot.shapes["a.stl", "part-1"]
    made = found.artifacts[0].shapes[0]
    assert shape is not None
    assert made is not None
    assert shape.second == pytest.approx(made.second, rel=1e-6, abs=1e-6)
    assert sorted(map(tuple, shape.corners)) == sorted(map(tuple, made.corners))


def test_a_concession_is_read_with_its_result(tmp_path: Path) -> None:
    given_ = Conceded("a spare", "the bench", date(2027, 1, 31), 0.35)
    found = inspection(replace(wall(), conceded=given_), wall((10, 5, 5)))
    found.concessions = "concessions.toml"
    snapshot = read_report(written(tmp_path, found))
    assert {result.position: result.conceded for result in snapshot.results} == {
        (30.0, 20.0, 5.0): given_, (10.0, 5.0, 5.0): None,
    }  # fmt: skip
    accepted = replace(snapshot, results=[r for r in snapshot.results if r.conceded])
    empty = replace(snapshot, results=[])
    assert any_worse(changes(empty, snapshot))
    assert not any_worse(changes(empty, accepted))


def test_what_was_absent_already_is_not_compared_again(tmp_path: Path) -> None:
    old = read_report(written(tmp_path, inspection(wall((10, 5, 5)))))
    now = inspection(wall((50, 30, 5)))
    compare_with(now, old)
    later = read_report(written(tmp_path, now, "now.sarif"))
    assert [result.position for result in later.results] == [(50, 30, 5)]


def test_a_report_without_likeness_is_read(tmp_path: Path) -> None:
    """As earlier versions wrote it."""
    found = inspection(wall())
    found.artifacts[0] = replace(found.artifacts[0], shapes=())
    snapshot = read_report(written(tmp_path, found))
    assert snapshot.shapes == {("a.stl", "part-1"): None}
    assert len(changes(snapshot, snapshot_of(inspection(wall())))) == 1


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "line 1 is not JSON"),
        (b"solid cube\n", "is not JSON"),
        (b"\x00\xff\xfe", "not UTF-8"),
        (b"[1, 2]", "no 'runs'"),
        (b"{}", "no 'runs'"),
        (b'{"runs": {}}', "no 'runs'"),
        (b'{"runs": []}', "no run in it was made by lint3d"),
        (b'{"runs": [3]}', "runs[0] must be an object"),
        (b'{"runs": [{"tool": {"driver": {"name": "another"}}}]}', "made by lint3d"),
        (b'{"version": "1.0.0", "runs": []}', "SARIF 1.0.0"),
        (b"[" * 200_000, "absurd"),
        (b'{"runs": ' + b"9" * 6000 + b"}", "absurd"),
    ],
)
def test_what_is_no_report_is_refused_plainly(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "old.sarif"
    path.write_bytes(content)
    assert said in refused(path)


def test_what_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "cannot be read" in refused(tmp_path / "missing.sarif")
    assert "cannot be read" in refused(tmp_path)
    path = written(tmp_path, inspection(wall()))
    monkeypatch.setattr(lint3d.snapshot, "LARGEST", 1000)
    assert "is larger than" in refused(path)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kind": "fine"}, "results[0].kind must be one of"),
        ({"ruleId": None}, "no ruleId"),
        ({"ruleId": 3}, "ruleId must be a text"),
        ({"properties": []}, "results[0].properties must be an object"),
        ({"properties": {"measured": "thin"}}, "properties.measured must be a number"),
        ({"properties": {"measured": True}}, "must be a number"),
        ({"properties": {"measured": 10**400}}, "must be a number"),
        ({"properties": {"measured": 1e999}}, "must be a finite number"),
        ({"properties": {"position": [1, 2]}}, "must be a list of 3"),
        ({"properties": {"position": [1, 2, None]}}, "must be a point"),
        ({"properties": {"position": [1, 2, 1e300]}}, "must be a point"),
        ({"properties": {"interval": 3}}, "must be a list of 2"),
        ({"properties": {"requirement": "exactly"}}, "requirement must be one of"),
        ({"properties": {"requirement": "within", "limit": [1, None]}}, "no two limits"),
        ({"locations": "here"}, "locations must be a list"),
    ],
)
def test_a_broken_result_is_named(tmp_path: Path, change: dict[str, Any], said: str) -> None:
    log = json.loads(SarifWriter().write(inspection(wall())))
    log["runs"][0]["results"][0].update(change)
    path = tmp_path / "old.sarif"
    path.write_text(json.dumps(log))
    assert said in refused(path)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("corners", "1 2 3; 4 5", "numbers"),
        ("corners", "1 2 x", "no number"),
        ("corners", "0 0 0; " * 4000, "must be numbers in a text"),
        ("corners", [1, 2, 3], "must be numbers in a text"),
        ("second", "1 2 3", "has 3 numbers"),
        ("third", "nan " * 10, "out of range"),
        ("area", -1, "above 0"),
        ("area", "wide", "must be a number"),
        ("box", None, "must be numbers in a text"),
    ],
)
def test_a_broken_likeness_is_named(tmp_path: Path, key: str, value: Any, said: str) -> None:
    log = json.loads(SarifWriter().write(inspection(wall())))
    (body,) = log["runs"][0]["logicalLocations"]
    body["properties"]["likeness"][key] = value
    path = tmp_path / "old.sarif"
    path.write_text(json.dumps(log))
    text = refused(path)
    assert "logicalLocations[0].properties.likeness" in text
    assert said in text


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_value_anywhere_is_read_or_refused(data: st.DataObject) -> None:
    """Never another error than the one that is told plainly."""
    log = json.loads(SarifWriter().write(inspection(wall(), wall((10, 5, 5), 0.9))))
    at: Any = log
    while True:
        keys = list(at) if isinstance(at, dict) else range(len(at))
        if not keys:
            break
        key = data.draw(st.sampled_from(list(keys)))
        if not isinstance(at[key], dict | list) or data.draw(st.integers(0, 4)) == 0:
            at[key] = data.draw(JSON)
            break
        at = at[key]
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.sarif"
        path.write_text(json.dumps(log), "utf-8")
        try:
            found = read_report(path)
        except ConfigurationError:
            return
    changes(found, found)
    compare_with(inspection(wall()), found)
