"""Parts with known answers, as plain arrays: vertices (n, 3) float64 in mm, faces (m, 3) int64.

Every closed shape looks outward and shares its vertices. Sizes in mm, angles in radians.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mesh = tuple[Floats, Ints]

TETRAHEDRON: Mesh = (
    np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]),
    np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]),
)


def box(size: tuple[float, float, float] = (1.0, 1.0, 1.0), centre: object = (0, 0, 0)) -> Mesh:
    """12 faces."""
    corner = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [face for a, b, c, d in quads for face in ((a, b, c), (a, c, d))]
    return corner * np.asarray(size) / 2 + np.asarray(centre, float), np.array(faces)


def grid(rows: int, columns: int, wrap_rows: bool, wrap_columns: bool) -> Ints:
    """Faces of a grid of vertices, row after row, each cell cut by a diagonal."""
    row = np.arange(rows if wrap_rows else rows - 1)
    column = np.arange(columns if wrap_columns else columns - 1)
    i, j = (part.ravel() for part in np.meshgrid(row, column, indexing="ij"))
    at = lambda a, b: (a % rows) * columns + b % columns  # noqa: E731
    a, b, c, d = at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)
    return np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def torus(large: float, small: float, round_large: int, round_small: int) -> Mesh:
    """Ring round z; 2 * round_large * round_small faces."""
    u, v = np.meshgrid(
        np.arange(round_large) * 2 * np.pi / round_large,
        np.arange(round_small) * 2 * np.pi / round_small,
        indexing="ij",
    )
    radius = large + small * np.cos(v)
    points = np.stack([radius * np.cos(u), radius * np.sin(u), small * np.sin(v)], axis=-1)
    faces = grid(round_large, round_small, True, True)
    return points.reshape(-1, 3), faces[:, ::-1]


def lathe(profile: Floats, sides: int) -> Mesh:
    """A profile of (radius, height) points turned round z; a radius of 0 makes a tip.

    The profile runs upward on the outside. Both ends must lie on the axis.
    """
    angle = np.arange(sides) * 2 * np.pi / sides
    rings, index, count = [], [], 0
    for radius, height in profile:
        if radius == 0:
            rings.append(np.array([[0.0, 0.0, height]]))
            index.append(np.full(sides, count))
        else:
            circle = [radius * np.cos(angle), radius * np.sin(angle), np.full(sides, height)]
            rings.append(np.stack(circle, axis=1))
            index.append(count + np.arange(sides))
        count += len(rings[-1])
    faces = []
    for low, high in zip(index[:-1], index[1:], strict=True):
        next_low, next_high = np.roll(low, -1), np.roll(high, -1)
        faces += [np.stack([low, next_low, next_high], axis=1)]
        faces += [np.stack([low, next_high, high], axis=1)]
    all_faces = np.concatenate(faces)
    one, two, three = all_faces.T
    return np.concatenate(rings), all_faces[(one != two) & (two != three) & (three != one)]


def cylinder(radius: float, height: float, sides: int) -> Mesh:
    """An inscribed prism from z = 0; 4 * sides faces."""
    return lathe(np.array([[0, 0], [radius, 0], [radius, height], [0, height]], float), sides)


def cone(radius: float, height: float, sides: int) -> Mesh:
    return lathe(np.array([[0, 0], [radius, 0], [0, height]], float), sides)


def ball(radius: float, sides: int, rings: int) -> Mesh:
    """A sphere cut by meridians and parallels."""
    t = np.linspace(-np.pi / 2, np.pi / 2, rings + 1)
    profile = np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1)
    profile[[0, -1], 0] = 0
    return lathe(profile, sides)


def icosahedron(radius: float = 1.0) -> Mesh:
    golden = (1 + np.sqrt(5)) / 2
    corner = np.array(
        [[-1, golden, 0], [1, golden, 0], [-1, -golden, 0], [1, -golden, 0]]
        + [[0, -1, golden], [0, 1, golden], [0, -1, -golden], [0, 1, -golden]]
        + [[golden, 0, -1], [golden, 0, 1], [-golden, 0, -1], [-golden, 0, 1]]
    )
    faces = np.array(
        [[0, 11, 5], [0, 5, 1], [0, 1, 7], [0, 7, 10], [0, 10, 11], [1, 5, 9], [5, 11, 4]]
        + [[11, 10, 2], [10, 7, 6], [7, 1, 8], [3, 9, 4], [3, 4, 2], [3, 2, 6], [3, 6, 8]]
        + [[3, 8, 9], [4, 9, 5], [2, 4, 11], [6, 2, 10], [8, 6, 7], [9, 8, 1]]
    )
    return corner * radius / np.linalg.norm(corner[0]), faces


def icosphere(radius: float, times: int) -> Mesh:
    """An icosahedron cut in four `times` times; 20 * 4**times faces."""
    vertices, faces = icosahedron(radius)
    for _ in range(times):
        vertices, faces = quartered(vertices, faces)
        vertices *= radius / np.linalg.norm(vertices, axis=1)[:, None]
    return vertices, faces


def quartered(vertices: Floats, faces: Ints) -> Mesh:
    """Each face cut in four at the middles of its sides."""
    sides = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    edges, number = np.unique(sides, axis=0, return_inverse=True)
    middle = len(vertices) + number.reshape(3, -1)
    a, b, c = faces.T
    ab, bc, ca = middle
    quarters = [(a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca)]
    return (
        np.concatenate([vertices, vertices[edges].mean(axis=1)]),
        np.concatenate([np.stack(quarter, axis=1) for quarter in quarters]),
    )


def moebius(sides: int = 24, width: float = 2.0) -> Mesh:
    """A strip with one side: 2 * sides faces round a circle of radius 5."""
    u = np.arange(sides) * 2 * np.pi / sides
    points = []
    for half in (-width / 2, width / 2):
        radius = 5 + half * np.cos(u / 2)
        points.append([radius * np.cos(u), radius * np.sin(u), half * np.sin(u / 2)])
    vertices = np.transpose(np.array(points), (2, 0, 1)).reshape(-1, 3)
    faces = grid(sides, 2, False, False)
    last = 2 * sides - 2
    return vertices, np.concatenate([faces, [[last, last + 1, 0], [last, 0, 1]]])


def joined(*meshes: Mesh) -> Mesh:
    """Several meshes as one, sharing nothing."""
    vertices, faces, count = [], [], 0
    for points, rows in meshes:
        vertices.append(points)
        faces.append(rows + count)
        count += len(points)
    return np.concatenate(vertices), np.concatenate(faces)


def turned(mesh: Mesh) -> Mesh:
    """Inside out."""
    return mesh[0], mesh[1][:, ::-1]


def moved(mesh: Mesh, by: object) -> Mesh:
    return mesh[0] + np.asarray(by, float), mesh[1]


def rotation(rng: np.random.Generator) -> Floats:
    """A random turn, evenly spread."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    if np.linalg.det(q) < 0:
        q[:, 0] *= -1
    return q


def shuffled(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """The same mesh with faces, vertices and first corners in another order."""
    vertices, faces = mesh
    order = rng.permutation(len(vertices))
    place = np.empty(len(vertices), np.int64)
    place[order] = np.arange(len(vertices))
    faces = place[faces[rng.permutation(len(faces))]]
    start = rng.integers(0, 3, len(faces))
    corner = (start[:, None] + np.arange(3)) % 3
    return vertices[order], np.take_along_axis(faces, corner, axis=1)


def rewritten(mesh: Mesh, rng: np.random.Generator, reach: float = 50.0) -> Mesh:
    """The same part turned, moved and shuffled, its coordinates rounded to single precision."""
    vertices, faces = shuffled(mesh, rng)
    vertices = vertices @ rotation(rng).T + rng.uniform(-reach, reach, 3)
    return vertices.astype(np.float32).astype(np.float64), faces


def volume(mesh: Mesh) -> float:
    a, b, c = np.transpose(mesh[0][mesh[1]], (1, 0, 2))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
