"""Bodies on a stage, and which of their faces belong to a place."""

import inspections
import numpy as np
import shapes_basic as shapes

from lint3d.inspection import Result
from lint3d.report.picture_stage import Stage, Stages


def test_faces_are_found_by_their_corners() -> None:
    rng = np.random.default_rng(3)
    ball = shapes.icosphere(7.0, 3)
    stage = Stage.of([shapes.box((2, 3, 4)), ball])
    rows = np.sort(rng.choice(len(stage.faces), 200, replace=False))
    mask = stage.rows_of(stage.vertices[stage.faces[rng.permutation(rows)]])
    assert (np.flatnonzero(mask) == rows).all()
    assert not stage.rows_of(None).any()
    assert not stage.rows_of(stage.corners[:3] + 1e-9).any()


def test_bodies_keep_their_number_and_box() -> None:
    stage = Stage.of([shapes.box((2, 2, 2)), shapes.box((2, 2, 2), centre=(10, 0, 0))])
    assert np.bincount(stage.body).tolist() == [12, 12]
    assert stage.box.tolist() == [[-1, -1, -1], [11, 1, 1]]
    assert np.allclose(np.linalg.norm(stage.normals, axis=1), 1)


def test_a_result_brings_its_body_and_the_other_one() -> None:
    inspection = inspections.varied()
    meshes = {"a.stl#one": 12, "a.stl#two": 12, "b.stl#three": 12}
    inspection.kept = {key: {"mesh": shapes.box()} for key in meshes}
    stages = Stages(inspection)
    alone = Result("walls/thin-wall", "fail", "Thin.", "a.stl", body="one")
    pair = Result(
        "assembly/clearance", "fail", "Near.", "a.stl", body="one", other="three", other_uri="b.stl"
    )
    file = Result("size/units-doubt", "fail", "Small.", "a.stl")
    lost = Result("file/unreadable", "fail", "Lost.", "c.stl")
    counts = [stages.of_result(one) for one in (alone, pair, file, lost)]
    assert [len(one.faces) if one else None for one in counts] == [12, 24, 24, None]
