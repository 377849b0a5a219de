"""Which pictures does an inspection give, and under which names?

One for each place that failed, is in doubt, is open or is worth knowing, and an overview of each
part. Names are made of the rule and of the result's key, never of a file's own words alone, so that
they are the same in every run and safe in any folder.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from lint3d.inspection import Inspection, Result
from lint3d.report.fingerprint import short_keys
from lint3d.report.wording import RANK, file_text

if TYPE_CHECKING:
    from PIL import Image

    from lint3d.report.picture_stage import Stages

#: What the engine must keep for pictures.
NEEDS = frozenset({"mesh", "places"})
#: A page shows pictures of so many results, the worst first, and of so many parts.
MOST_PICTURES, MOST_OVERVIEWS = 60, 24
#: Kinds of results that get a picture.
SHOWN = ("fail", "open", "review", "informational")

Progress = Callable[[str, str, str], None]


@dataclass(frozen=True)
class Picture:
    """One picture.

    Attributes
    ----------
    name : file name, with suffix
    result : row in `Inspection.results`; None for an overview
    """

    name: str
    uri: str
    title: str
    image: Image.Image
    result: int | None = None

    def png(self, colours: int | None = None, width: int | None = None) -> bytes:
        """The picture as PNG; smaller with fewer colours, or reduced to a width in pixels."""
        from PIL import Image

        image = self.image
        if width is not None and width < image.width:
            height = round(image.height * width / image.width)
            image = image.resize((width, height), Image.Resampling.LANCZOS)
        if colours is not None:
            image = image.quantize(colours, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
        buffer = io.BytesIO()
        image.save(buffer, "PNG", optimize=colours is not None)
        return buffer.getvalue()


def pictures(
    inspection: Inspection,
    progress: Progress | None = None,
    most_results: int | None = None,
    most_parts: int | None = None,
) -> Iterator[Picture]:
    """Every picture of an inspection, one at a time: overviews first, then results by severity.

    Parameters
    ----------
    progress : called with the file, "picture" and the body before each
    most_results, most_parts : no more than so many, the worst first

    Yields
    ------
    Picture; none of a result without a place on a body that was kept
    """
    from lint3d.report.picture_stage import Stages

    stages = Stages(inspection)
    tell = progress or (lambda uri, step, body: None)
    units = {rule.id: rule.unit for rule in inspection.rules}
    results = inspection.results
    rows = [row for row in ranked(results) if results[row].kind in SHOWN]
    yield from islice(_overviews(inspection, stages, rows, units, tell), most_parts)
    names = result_names(results)
    for row in [row for row in rows if has_place(results[row])][:most_results]:
        result, name = results[row], f"{names[row]}.png"
        tell(result.uri, "picture", result.body or "")
        image = _drawn(inspection, name) or _of_result(result, stages, units)
        if image is not None:
            yield Picture(name, result.uri, f"{result.rule} {result.body or ''}", image, row)


def _drawn(inspection: Inspection, name: str) -> Image.Image | None:
    """A picture that was drawn before: as PNG it lost nothing."""
    from PIL import Image

    content = inspection.drawn.get(name)
    return None if content is None else Image.open(io.BytesIO(content))


def _of_result(result: Result, stages: Stages, units: dict[str, str]) -> Image.Image | None:
    from lint3d.report.picture_result import result_picture

    stage = stages.of_result(result)
    return None if stage is None else result_picture(stage, result, units.get(result.rule, "1"))


def _overviews(
    inspection: Inspection,
    stages: Stages,
    rows: Sequence[int],
    units: dict[str, str],
    tell: Progress,
) -> Iterator[Picture]:
    from lint3d.report.picture_overview import overview

    for (uri, part), keys in stages.parts().items():
        tell(uri, "picture", part)
        stage = stages.of_keys(keys)
        if stage is None:
            continue
        bodies = {key.partition("#")[2] for key in keys}
        own = [inspection.results[row] for row in rows]
        own = [r for r in own if r.uri == uri and (r.body in bodies or r.part == part)]
        name = f"{overview_name(uri, part)}.png"
        image = _drawn(inspection, name) or overview(stage, uri, part, own, units)
        yield Picture(name, uri, f"{part}, overview", image)


def has_place(result: Result) -> bool:
    """Can a picture show anything of it?"""
    placed = result.position is not None or result.triangles is not None
    return placed and (result.body is not None or result.part is not None)


def ranked(results: Sequence[Result]) -> list[int]:
    """Rows of the results, what failed first, otherwise in their order."""
    return sorted(range(len(results)), key=lambda row: (_rank(results[row]), row))


def _rank(result: Result) -> int:
    """What is accepted for now stands with what a person has to decide."""
    return RANK["review" if result.conceded else result.kind]


def result_names(results: Sequence[Result]) -> list[str]:
    """A name for each result, without suffix: its rule, and the key that tables show.

    Examples
    --------
    >>> result_names([Result("walls/thin-wall", "fail", "Thin.", "a.stl")])
    ['walls-thin-wall-71214537']
    """
    keys = short_keys(results)
    names = [f"{plain_name(result.rule)}-{keys[id(result)]}" for result in results]
    seen: dict[str, int] = {}
    for row, name in enumerate(names):  # two keys may begin alike
        seen[name] = seen.get(name, 0) + 1
        names[row] = name if seen[name] == 1 else f"{name}-{seen[name]}"
    return names


def overview_name(uri: str, part: str) -> str:
    """A name for the overview of a part, without suffix."""
    key = hashlib.sha256(f"{uri}#{part}".encode("utf-8", "surrogateescape")).hexdigest()[:8]
    words = [plain_name(Path(file_text(uri)).stem), plain_name(part)]
    return "-".join(["part", *(word for word in dict.fromkeys(words) if word), key])


def plain_name(text: str) -> str:
    """What is left of a text in a file name that is safe everywhere.

    Examples
    --------
    >>> plain_name("../<img src=x>.stl"), plain_name("浮き室")
    ('img-src-x-stl', '')
    """
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40].strip("-")


def write_pictures(
    inspection: Inspection, folder: Path, progress: Progress | None = None
) -> list[str]:
    """Write every picture into a folder, which is made if need be; returns their names.

    What a page shows is also kept in `Inspection.drawn`, so that it is not drawn again.

    Raises
    ------
    OSError : the folder cannot be made, or a picture not written
    """
    folder.mkdir(parents=True, exist_ok=True)
    names = []
    left = {True: MOST_OVERVIEWS, False: MOST_PICTURES}
    for picture in pictures(inspection, progress):
        content = picture.png()
        (folder / picture.name).write_bytes(content)
        names.append(picture.name)
        is_overview = picture.result is None
        if left[is_overview] > 0:
            left[is_overview] -= 1
            inspection.drawn[picture.name] = content
    return names
