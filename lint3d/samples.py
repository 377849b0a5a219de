"""Which small parts serve to try rules out?

Closed shapes as a plugin's author would draw them, and dirty ones as customers send them. Facets
are (m, 3, 3) float64, mm, counter-clockwise seen from outside. They are written as binary STL.
Nothing here is a part of the demo, and no limit is meant by it.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Facets = NDArray[np.float64]

#: The block that a new plugin starts with, mm.
BLOCK_MM = (20.0, 30.0, 10.0)


def block(size: tuple[float, float, float] = BLOCK_MM) -> Facets:
    """A box with one corner at the origin: 12 facets.

    Examples
    --------
    >>> block((1.0, 2.0, 3.0)).shape
    (12, 3, 3)
    """
    return _facets(_trimesh().creation.box(size)) + [side / 2 for side in size]


def sound() -> dict[str, Facets]:
    """Closed parts of several kinds: a block, a ball, a pipe, a hollow box, two blocks."""
    import numpy as np

    creation = _trimesh().creation
    hollow = np.concatenate([block((24.0, 24.0, 24.0)), block((16.0, 16.0, 16.0))[:, ::-1] + 4.0])
    return {
        "block": block(),
        "ball": _facets(creation.icosphere(subdivisions=3, radius=9.0)),
        "pipe": _facets(creation.annulus(r_min=6.0, r_max=9.0, height=25.0, sections=40)),
        "hollow-box": hollow,
        "two-blocks": np.concatenate([block(), block((8.0, 8.0, 8.0)) + 26.0]),
    }


def broken() -> dict[str, Facets]:
    """Parts as they come when something went wrong on the way."""
    import numpy as np

    ball = sound()["ball"]
    flipped = block()
    flipped[0] = flipped[0, ::-1]
    crossing = np.concatenate([block(), block() + 5.0])
    needle = np.array([[[0.0, 0, 0], [400.0, 0, 0], [400.0, 1e-5, 0]]])
    flat = block()
    flat[:, :, 2] = 0.0
    return {
        "one-facet": block()[:1],
        "hole": block()[1:],
        "half-a-ball": ball[: len(ball) // 2],
        "flipped-facet": flipped,
        "inside-out": block()[:, ::-1],
        "twice": np.concatenate([block(), block()]),
        "facet-twice": np.concatenate([block(), block()[:1]]),
        "crossing": crossing,
        "needle": np.concatenate([block(), needle + 50.0]),
        "no-area": np.concatenate([block(), np.zeros((3, 3, 3))]),
        "flat": flat,
        "speck": block() * 1e-4,
        "far-away": block() + 1e6,
        "huge": block() * 1e5,
    }


def moved(facets: Facets, seed: int) -> Facets:
    """The shape in another frame, its facets in another order."""
    import numpy as np

    rng = np.random.default_rng(seed)
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    frame = q * np.sign(np.diag(r))
    frame[:, 0] *= np.sign(np.linalg.det(frame))
    turned: Facets = (facets @ frame.T + rng.uniform(-20.0, 20.0, 3))[rng.permutation(len(facets))]
    return turned


def write_stl(path: Path, facets: Facets) -> Path:
    """Write a binary STL and return its path."""
    import numpy as np

    rows = np.zeros(
        len(facets), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]
    )
    across = np.cross(facets[:, 1] - facets[:, 0], facets[:, 2] - facets[:, 0])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    rows["normal"] = across / np.where(length > 0, length, 1)
    rows["corners"] = facets
    head = b"a sample part".ljust(80, b" ") + len(facets).to_bytes(4, "little")
    path.write_bytes(head + rows.tobytes())
    return path


def _facets(mesh: object) -> Facets:
    import numpy as np

    return np.asarray(mesh.triangles, np.float64)  # type: ignore[attr-defined]


def _trimesh() -> Any:
    import trimesh
    import trimesh.creation

    return trimesh
