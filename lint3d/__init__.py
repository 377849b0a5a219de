"""lint3d: what will not build in a 3D model, found before it is printed.

The public names, all of them, resolved on first use (PEP 562) so that importing the package costs
nothing. `lint3d.geometry` holds the kernels.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from lint3d.api import inspect
    from lint3d.declare import Measure, Rule, measure, rule
    from lint3d.errors import (
        ConfigurationError,
        Lint3dError,
        NotApplicable,
        NotMeasurable,
        PluginError,
        UnreadableFile,
    )
    from lint3d.hooks import hookimpl
    from lint3d.inspection import Inspection, Notification, Result
    from lint3d.interest import Interest
    from lint3d.joined import Joined, join_bodies
    from lint3d.model import (
        Assembly,
        Body,
        Fault,
        Part,
        Provenance,
        Reading,
        ReadPart,
        Region,
        Shell,
        Source,
    )
    from lint3d.place import Claim, LeftOut, Note, Place, Places, Step
    from lint3d.readers import Reader, ReadLimits
    from lint3d.report import Writer
    from lint3d.requirement import Requirement, decide
    from lint3d.sheet import Sheet

_HOME = {
    "api": ["inspect"],
    "declare": ["Measure", "Rule", "measure", "rule"],
    "errors": [
        "ConfigurationError",
        "Lint3dError",
        "NotApplicable",
        "NotMeasurable",
        "PluginError",
        "UnreadableFile",
    ],
    "hooks": ["hookimpl"],
    "inspection": ["Inspection", "Notification", "Result"],
    "interest": ["Interest"],
    "joined": ["Joined", "join_bodies"],
    "model": [
        "Assembly",
        "Body",
        "Fault",
        "Part",
        "Provenance",
        "ReadPart",
        "Reading",
        "Region",
        "Shell",
        "Source",
    ],
    "place": ["Claim", "LeftOut", "Note", "Place", "Places", "Step"],
    "readers": ["ReadLimits", "Reader"],
    "report": ["Writer"],
    "requirement": ["Requirement", "decide"],
    "sheet": ["Sheet"],
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}

__all__ = [
    "Assembly",
    "Body",
    "Claim",
    "ConfigurationError",
    "Fault",
    "Inspection",
    "Interest",
    "Joined",
    "LeftOut",
    "Lint3dError",
    "Measure",
    "NotApplicable",
    "NotMeasurable",
    "Note",
    "Notification",
    "Part",
    "Place",
    "Places",
    "PluginError",
    "Provenance",
    "ReadLimits",
    "ReadPart",
    "Reader",
    "Reading",
    "Region",
    "Requirement",
    "Result",
    "Rule",
    "Sheet",
    "Shell",
    "Source",
    "Step",
    "UnreadableFile",
    "Writer",
    "__version__",
    "decide",
    "hookimpl",
    "inspect",
    "join_bodies",
    "measure",
    "rule",
]


def __getattr__(name: str) -> Any:
    if name not in _MODULE_OF:
        raise AttributeError(f"module 'lint3d' has no attribute '{name}'")
    value = getattr(import_module(f"lint3d.{_MODULE_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return list(__all__)
