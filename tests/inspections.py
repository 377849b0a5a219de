"""Hand-made inspections that report writers are tested on.

`varied()` holds every kind of result, archives with members, byte and line regions, overrides,
notifications, a path and odd names. Nothing in it was measured; the numbers are chosen so that what
must be said of them is known.
"""

from __future__ import annotations

from dataclasses import replace

from lint3d.inspection import (
    Artifact,
    Inspection,
    Notification,
    Override,
    PathStep,
    PluginFacts,
    Result,
    RuleFacts,
    SheetFacts,
)
from lint3d.model import Region
from lint3d.requirement import Requirement

THIN = Requirement("at least", "mm", "common practice, no source", low=0.6)
VENT = Requirement("at least", "mm", "Bretherton 1961, doubled", low=6.8, uncertainty=3.4)
OPEN_EDGE = Requirement("none", "1", "3MF Core 1.4, section 4.1")
READABLE = Requirement("none", "1", "nothing can be said of what cannot be read")
EXTENT = Requirement("within", "mm", "common practice, no source", low=2.0, high=1000.0)
CHORD = Requirement("at most", "mm", "common practice, no source", high=0.05, level="warning")
CLEARANCE = Requirement("at least", "mm", "own coupons, 2026-10", low=0.3, uncertainty=0.05)
SWATHS = Requirement("inform", "1", "common practice, no source")
TALL = Requirement("at most", "mm", "our oven's shelf", high=90.0, level="note")

BRACKET, LID = "bracket.stl", "kit/gauge%20lid.3mf"
PLATE, LOST = "sch%C3%B6n/plate%23.stl", "lost.stl"
MODEL = "3D/3dmodel.model"
#: A body's name that tries to clear the screen, to turn the text round and to look like a link.
HOSTILE = "pin \x1b[2J\u202e[here](x) {0}"
WIDE = "浮き室の蓋とその蝶番のピン"

RULES = [
    RuleFacts(
        "walls/thin-wall",
        "A wall too thin for the process to build or to survive cleaning.",
        "Measured as the largest ball that fits between two faces.",
        "thicken the wall, or rib it.",
        "mm",
        "walls",
        replace(THIN, low=0.5),
    ),
    RuleFacts(
        "drain/no-vent",
        "A pocket with a single opening that is too narrow to let air in.",
        "",
        "open the pocket at a second place.",
        "mm",
        "drain",
        VENT,
    ),
    RuleFacts(
        "solid/open-edge",
        "An edge with a face on one side only: the surface has a hole.",
        "",
        "close the hole in the program that made the file.",
        "1",
        "solid",
        OPEN_EDGE,
    ),
    RuleFacts(
        "solid/non-manifold-vertex",
        "A corner where two fans of faces meet in one point.",
        "",
        "pull the two apart.",
        "1",
        "solid",
        OPEN_EDGE,
    ),
    RuleFacts(
        "solid/coarse-facets",
        "Facets so coarse that they show on the part.",
        "",
        "export the model with a smaller chord deviation.",
        "mm",
        "solid",
        CHORD,
    ),
    RuleFacts(
        "file/unreadable",
        "A file of which nothing can be inspected.",
        "",
        "export the file again.",
        "1",
        "file",
        READABLE,
    ),
    RuleFacts(
        "file/malformed",
        "A file that was read, though something in it is wrong.",
        "",
        "export the file again.",
        "1",
        "file",
        READABLE,
    ),
    RuleFacts(
        "size/units-doubt",
        "A size that hints at a wrong unit.",
        "",
        "say the unit.",
        "mm",
        "size",
        EXTENT,
    ),
    RuleFacts(
        "assembly/clearance",
        "Two bodies too close to stay apart.",
        "",
        "widen the gap.",
        "mm",
        "assembly",
        CLEARANCE,
    ),
    RuleFacts(
        "build/swath-waste",
        "Strips that the part takes up.",
        "",
        "",
        "1",
        "build",
        SWATHS,
    ),
    RuleFacts(
        "house/tall-part",
        "Taller than our oven shelf.",
        "",
        "lay it down.",
        "mm",
        "our-machine",
        TALL,
    ),
    RuleFacts(
        "relief/stroke",
        "Strokes too fine to read.",
        "",
        "use a bolder letter.",
        "mm",
        "relief",
        None,
        off="the sheet has no entry for it",
    ),
    RuleFacts(
        "walls/slender",
        "A rod too slender to survive cleaning.",
        "",
        "thicken it.",
        "1",
        "walls",
        Requirement("at most", "1", "common practice, no source", high=10.0),
        off="--without walls/slender",
    ),
]
PLUGINS = [
    PluginFacts("walls", "0.1.0", "Walls: is any place too thin to build?"),
    PluginFacts("solid", "0.1.0", "Solid: is the body sound?"),
    PluginFacts("drain", "0.1.0", "Drain: can the liquid leave?"),
    PluginFacts("assembly", None, ""),
    PluginFacts("formats", "0.1.0", "Formats: which files can be read?"),
    PluginFacts("our-machine", None, "Our jetting machine", "sheet"),
    PluginFacts("file", "0.1.0", "File: could it be read?"),
    PluginFacts("size", "0.1.0", "Size: is the unit right?"),
]


def varied() -> Inspection:
    """Every kind of result over four files, in no order."""
    return Inspection(
        results=[*_bracket(), *_lid(), *_plate(), _lost()],
        artifacts=_artifacts(),
        notifications=_notifications(),
        rules=list(RULES),
        plugins=list(PLUGINS),
        sheet=SheetFacts(
            "our-machine", "Our jetting machine", ("our-machine", "mjt-meltable"), "5e" * 32, False
        ),
        overrides=[
            Override("walls/thin-wall", replace(THIN, source="--limit"), "--limit"),
            Override("solid/coarse-facets", None, "labels/**", uri=PLATE),
        ],
        version="0.1.0",
        settings={"weld_tolerance_mm": 1e-6, "together": False, "limits": {"faces": 10**8}},
    )


def sound() -> Inspection:
    """One file, everything passes; the sheet is the default."""
    whole = varied()
    return replace(
        whole,
        results=[
            Result(
                "walls/thin-wall",
                "pass",
                "The thinnest wall.",
                BRACKET,
                "bracket",
                requirement=THIN,
                measured=1.2,
                lower=1.199,
                upper=1.201,
                position=(1.0, 2.0, 3.0),
            ),
            Result(
                "drain/no-vent", "notApplicable", "No liquid in this process.", BRACKET, "bracket"
            ),
        ],
        artifacts=[item for item in whole.artifacts if item.uri == BRACKET],
        notifications=[],
        overrides=[],
        sheet=SheetFacts("mjt-meltable", "Jetting", ("mjt-meltable",), "ab" * 32, True),
    )


def _artifacts() -> list[Artifact]:
    return [
        Artifact(LOST),
        Artifact("3D/odd name.model", "cd" * 32, 77, parent=LID),
        Artifact(MODEL, "bc" * 32, 40_000, parent=LID),
        Artifact(
            LID, "ab" * 32, 9_000, "3MF", "inch", "found", None, ("lid", "lid/2", HOSTILE), 820
        ),
        Artifact(BRACKET, "12" * 32, 684, "STL (binary)", "mm", "given", None, ("bracket",), 12),
        Artifact(PLATE, "34" * 32, 5_120, "STL (ASCII)", "mm", "assumed", None, (WIDE,), 1_236),
    ]


def _notifications() -> list[Notification]:
    return [
        Notification("there is no such file", "error", "file", uri=LOST),
        Notification(
            "ValueError: zero-size array in the measure 'spans'",
            "error",
            "measure",
            LID,
            None,
            "walls",
        ),
        Notification(
            "this plugin could not be imported: no module 'houze'",
            "error",
            "plugin",
            plugin="houze",
        ),
        Notification(
            "stopped with an error", "warning", "rule", LID, "assembly/clearance", "assembly"
        ),
        Notification("files were read in 3 bounds", "note", "settings"),
    ]


def _bracket() -> list[Result]:
    def wall(x: float, value: float, around: float, kind: str, faces: int) -> Result:
        return Result(
            "walls/thin-wall",
            kind,  # type: ignore[arg-type]
            "A wall too thin for the process to build or to survive cleaning.",
            BRACKET,
            "bracket",
            "bracket",
            THIN,
            value,
            value - around,
            value + around,
            0.02,
            (x, -4.5, 101.25),
            faces=faces,
            extent=12.5,
            region=Region(byte_offset=84 + 50 * faces, byte_length=50, facet=faces),
            remedy="thicken the wall, or rib it.",
            properties={"ball": [1.0, float("nan")], "aligned": True},
        )

    return [
        wall(12.34, 0.212, 0.003, "fail", 7),
        wall(44.0, 0.45678, 0.0123, "fail", 3),
        wall(60.0, 0.599, 0.002, "review", 1),
        Result(
            "size/units-doubt",
            "pass",
            "The largest extent.",
            BRACKET,
            "bracket",
            None,
            EXTENT,
            120.0,
            120.0,
            120.0,
        ),
        Result(
            "solid/open-edge",
            "pass",
            "No open edges.",
            BRACKET,
            "bracket",
            None,
            OPEN_EDGE,
            0,
            0,
            0,
        ),
        Result(
            "house/tall-part",
            "fail",
            "Taller than our oven shelf.",
            BRACKET,
            "bracket",
            None,
            TALL,
            101.25,
            101.25,
            101.25,
            remedy="lay it down.",
        ),
        Result("assembly/clearance", "notApplicable", "There is one body only.", BRACKET),
    ]


def _lid() -> list[Result]:
    inside = Region(member=MODEL, object_id="4", facet=17)
    return [
        Result(
            "drain/no-vent",
            "review",
            "A pocket with one opening.",
            LID,
            "lid",
            "lid",
            VENT,
            5.1234567891234,
            5.1,
            5.2,
            None,
            (0.0, 0.0, 25.4),
            region=inside,
            remedy="open the pocket at a second place.",
            path=(
                PathStep((0.0, 0.0, 25.4), 9.5, "the chamber"),
                PathStep((0.0, 5.0, 25.4), 5.1234, "the throat"),
                PathStep((0.0, 30.0, 25.4), None, "outside"),
            ),
        ),
        Result(
            "walls/thin-wall",
            "open",
            "An open surface has no inside: see solid/open-edge.",
            LID,
            "lid/2",
            "lid",
            THIN,
            region=inside,
            remedy="close the surface first.",
        ),
        Result(
            "solid/open-edge",
            "fail",
            "A hole with 12 edges.",
            LID,
            "lid/2",
            "lid",
            OPEN_EDGE,
            12,
            12,
            12,
            None,
            (-3.25, 0.0, 7.0),
            faces=12,
            extent=3.0,
            region=inside,
            remedy="close the hole in the program that made the file.",
        ),
        Result(
            "assembly/clearance",
            "fail",
            "Two bodies too close to stay apart.",
            LID,
            "lid",
            "lid",
            CLEARANCE,
            0.1,
            0.0999,
            0.1001,
            0.005,
            (1.0, 2.0, 3.0),
            HOSTILE,
            LID,
            region=inside,
            remedy="widen the gap.",
            remarks=("Ask the bench for the pin gauge.",),
        ),
        Result(
            "file/malformed",
            "fail",
            "Facet 17 of object 4 names vertex -1.",
            LID,
            None,
            None,
            READABLE,
            1,
            1,
            1,
            region=Region(start_line=44, end_line=45, member="3D/odd name.model", object_id="4"),
            remedy="export the file again.",
        ),
        Result(
            "walls/thin-wall",
            "pass",
            "The thinnest wall.",
            LID,
            "lid",
            "lid",
            THIN,
            5.1,
            5.1,
            None,
            None,
            (9.0, 9.0, 9.0),
        ),
    ]


def _plate() -> list[Result]:
    return [
        Result(
            "solid/coarse-facets",
            "fail",
            "Facets so coarse that they show on the part.",
            PLATE,
            WIDE,
            "part-1",
            CHORD,
            0.0731,
            0.0731,
            0.0731,
            None,
            (10.0, 20.0, 0.0),
            faces=64,
            extent=40.0,
            region=Region(start_line=3, end_line=9, facet=0),
            remedy="export the model with a smaller chord deviation.",
        ),
        Result(
            "solid/non-manifold-vertex", "pass", "None.", PLATE, WIDE, "part-1", OPEN_EDGE, 0, 0, 0
        ),
        Result(
            "build/swath-waste",
            "informational",
            "The part takes up 3 swaths; 2 would do.",
            PLATE,
            WIDE,
            "part-1",
            SWATHS,
            3,
            3,
            3,
        ),
        Result(
            "size/units-doubt", "informational", "The file names no unit; mm is assumed.", PLATE
        ),
    ]


def _lost() -> Result:
    return Result(
        "file/unreadable",
        "fail",
        "There is no such file.",
        LOST,
        None,
        None,
        READABLE,
        1,
        1,
        1,
        remedy="check the name.",
    )
