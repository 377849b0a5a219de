"""Relief: sound engineering parts that we did not make carry no false lettering.

Source: PyPI `gymnasium-robotics` 1.4.2, 112 CAD files of robots and kitchens, 69 of them sound.
`.ci/run` fetches it; elsewhere the test is skipped unless LINT3D_CAD_MODELS names the unpacked
package. Each file in `MARKED` was looked at: what it carries are real markings.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table

pytestmark = pytest.mark.network

#: Files with lettering, and how many lines at least. All of them are open or badly wound.
MARKED = {
    "visual/link0.stl": 6,  # a maker's name, numbers X1 to X5 of plugs
    "visual/link5.stl": 2,  # a maker's name in two lines
    "adroit_hand/resources/meshes/forearm_electric.stl": 2,  # a nickname, twice
    "stls/hand/forearm_electric.stl": 2,  # the same
}


def _found(path: Path) -> tuple[Found, bool]:
    import trimesh

    mesh = trimesh.load(path)
    vertices, faces = np.array(mesh.vertices, float), np.array(mesh.faces, np.int64)
    if np.ptp(vertices, axis=0).max() < 2.0:  # in metres
        vertices = vertices * 1000.0
    step = 2.0**-23 * float(np.abs(vertices).max())
    found = find_reliefs(vertices, faces, edge_table(faces, len(vertices)), step)
    return found, bool(mesh.is_watertight and mesh.is_winding_consistent)


@pytest.mark.further
def test_lettering_is_found_where_it_is_and_nowhere_else() -> None:
    folder = os.environ.get("LINT3D_CAD_MODELS")
    if not folder:
        pytest.skip("PyPI gymnasium-robotics is fetched by .ci/run; see LINT3D_CAD_MODELS")
    files = sorted(Path(folder).rglob("*.stl"))
    assert len(files) == 112
    sound = 0
    lettered = {}
    known: dict[bytes, tuple[Found, bool]] = {}
    for path in files:
        # 13 of the files are copies of others.
        content = path.read_bytes()
        if content not in known:
            known[content] = _found(path)
        found, is_sound = known[content]
        sound += is_sound
        assert not found.dots, path.name
        if found.inscriptions:
            lettered[path.as_posix()] = len(found.inscriptions)
            assert not is_sound, path.name
    assert sound == 69
    assert len(lettered) == len(MARKED)
    for ending, lines in MARKED.items():
        (path_,) = [one for one in lettered if one.endswith(ending)]
        assert lettered[path_] >= lines
