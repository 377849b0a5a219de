"""What stands in front of the camera: which bodies, and which of their faces are marked?

A stage holds the faces of the bodies that a picture shows, ready for rays. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rays import RayScene
from lint3d.inspection import Inspection, Result

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Any nine numbers without a common measure: faces with equal corners get equal sums.
_WEIGHTS = np.sqrt(np.array([2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0]))


@dataclass(eq=False)
class Stage:
    """Faces of one or more bodies.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    body : (m,) int64, number of the body that each face is of
    """

    vertices: Floats
    faces: Ints
    body: Ints

    @classmethod
    def of(cls, meshes: Sequence[tuple[Floats, Ints]]) -> Stage:
        """The stage with these bodies, numbered from 0."""
        before = np.cumsum([0, *(len(vertices) for vertices, _ in meshes)])
        return cls(
            np.concatenate([np.zeros((0, 3)), *(vertices for vertices, _ in meshes)]),
            np.concatenate(
                [np.zeros((0, 3), np.int64)]
                + [faces + start for (_, faces), start in zip(meshes, before, strict=False)]
            ),
            np.repeat(np.arange(len(meshes)), [len(faces) for _, faces in meshes]),
        )

    @cached_property
    def rays(self) -> RayScene:
        return RayScene(self.vertices, self.faces)

    @cached_property
    def corners(self) -> Floats:
        """(m, 3, 3) mm"""
        return self.vertices[self.faces]

    @cached_property
    def normals(self) -> Floats:
        """(m, 3) unit length; zero for faces without area"""
        corners = self.corners
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        return normal / np.where(length > 0, length, 1.0)

    @cached_property
    def box(self) -> Floats:
        """(2, 3) mm, lowest and highest corner"""
        if not len(self.vertices):
            return np.zeros((2, 3))
        return np.array([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @property
    def middle(self) -> Floats:
        return self.box.mean(axis=0)

    @property
    def size(self) -> float:
        """mm, diagonal of the box"""
        return max(float(np.linalg.norm(self.box[1] - self.box[0])), 1e-6)

    @cached_property
    def _sums(self) -> Floats:
        return _sums(self.corners)

    def rows_of(self, triangles: Floats | None) -> Bools:
        """(m,) which faces have the corners of one of the triangles, (k, 3, 3) mm."""
        if triangles is None or not len(triangles):
            return np.zeros(len(self.faces), bool)
        return np.isin(self._sums, _sums(np.asarray(triangles, np.float64)))


def _sums(corners: Floats) -> Floats:
    # Added up number by number: the same corners must give the same bits in any array.
    total = np.zeros(len(corners))
    for column, weight in enumerate(_WEIGHTS):
        total += corners[:, column // 3, column % 3] * weight
    return total


class Stages:
    """The stages of an inspection, made once each."""

    def __init__(self, inspection: Inspection) -> None:
        self.meshes: dict[str, tuple[Floats, Ints]] = {
            key: kept["mesh"] for key, kept in inspection.kept.items() if "mesh" in kept
        }
        self.part_of = parts_of_bodies(inspection)
        self._latest: tuple[tuple[str, ...], Stage] | None = None

    def of_result(self, result: Result) -> Stage | None:
        """The body of a result, and the second one of a pair; its file's if it names no body."""
        own = f"{result.uri}#{result.body}"
        if result.body is not None and own in self.meshes:
            keys = [own]
            if result.other is not None:
                keys.append(f"{result.other_uri or result.uri}#{result.other}")
        else:
            keys = [key for key in self.meshes if key.startswith(f"{result.uri}#")]
        return self.of_keys(keys)

    def of_keys(self, keys: Sequence[str]) -> Stage | None:
        """The stage with these bodies; None if no mesh of them was kept."""
        known = tuple(dict.fromkeys(key for key in keys if key in self.meshes))
        if not any(len(self.meshes[key][1]) for key in known):
            return None
        if self._latest is None or self._latest[0] != known:  # neighbours in a list share theirs
            self._latest = (known, Stage.of([self.meshes[key] for key in known]))
        return self._latest[1]

    def parts(self) -> dict[tuple[str, str], list[str]]:
        """The keys of the bodies of each part, by file and name of the part."""
        found: dict[tuple[str, str], list[str]] = {}
        for key in self.meshes:
            found.setdefault(self.part_of[key], []).append(key)
        return found


def parts_of_bodies(inspection: Inspection) -> Mapping[str, tuple[str, str]]:
    """File and name of the part that each kept body ("uri#body") is of."""
    named: dict[str, Any] = {
        f"{result.uri}#{result.body}": (result.uri, result.part)
        for result in inspection.results
        if result.body is not None and result.part is not None
    }
    return {key: named.get(key) or _split(key) for key in inspection.kept}


def _split(key: str) -> tuple[str, str]:
    uri, _, body = key.partition("#")  # a uri has its own "#" percent-encoded
    return uri, body
