"""How is a measure or a rule declared?

`@measure(unit=…)` and `@rule("family/slug", measures=…)` wrap a function and keep it callable: a
test calls it with hand-made input. What the function needs is read from its parameter names: the
inputs of `INPUTS`, or the name of a measure. Facts are declared once, here; reports, `explain` and
the plan read them.
"""

from __future__ import annotations

import functools
import inspect
import re
import typing
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from lint3d.errors import PluginError

#: Parameters that are not measures, and the scope that each one sets (None: sets none).
INPUTS: dict[str, str | None] = {
    "body": "body",
    "part": "part",
    "source": "source",
    "assembly": "assembly",
    "sheet": None,
    "interest": None,
}
RULE_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*/[a-z][a-z0-9]*(-[a-z0-9]+)*")
_REMEDY = re.compile(r"\bRemed(?:y|ies):\s*(.+?)(?:\n\s*\n|\Z)", re.S)


@dataclass(frozen=True)
class Need:
    """One parameter of a measure or a rule."""

    name: str
    optional: bool
    annotation: Any
    """The evaluated annotation without its `| None`; `inspect.Parameter.empty` if there is none."""
    default: Any = None
    """What an optional parameter gets where there is no such measure"""
    keyword: bool = False
    """True if it can only be passed by name"""


class _Declared:
    """What a measure and a rule have in common: a function with named needs and a docstring."""

    kind = "function"

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function = function
        self.where = f"{function.__module__}.{function.__qualname__}"
        functools.update_wrapper(self, function)
        self.doc = inspect.getdoc(function) or ""

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return self.function(*args, **kwargs)

    @property
    def title(self) -> str:
        """First line of the docstring, without a remedy that stands on the same line."""
        first = self.doc.split("\n\n", 1)[0]
        return " ".join(_REMEDY.sub("", first).split())

    @functools.cached_property
    def hints(self) -> dict[str, Any]:
        """Evaluated annotations, or a `PluginError` that names what cannot be evaluated."""
        try:
            return typing.get_type_hints(self.function)
        except Exception as error:
            raise PluginError(
                f"{self.where}: an annotation cannot be evaluated ({error}). "
                "Import the type where the module can see it, or leave the annotation out."
            ) from error

    @functools.cached_property
    def needs(self) -> tuple[Need, ...]:
        """The parameters, in order."""
        found = []
        for parameter in inspect.signature(self.function).parameters.values():
            if parameter.kind in (parameter.VAR_POSITIONAL, parameter.VAR_KEYWORD):
                raise PluginError(
                    f"{self.where}: *{parameter.name} is not possible; "
                    "name each measure that is needed as a parameter of its own."
                )
            annotation = self.hints.get(parameter.name, inspect.Parameter.empty)
            bare, nullable = without_none(annotation)
            has_default = parameter.default is not inspect.Parameter.empty
            default = parameter.default if has_default else None
            keyword = parameter.kind is parameter.KEYWORD_ONLY
            found.append(Need(parameter.name, nullable or has_default, bare, default, keyword))
        return tuple(found)


class Measure(_Declared):
    """A declared measure. `name` is what rules ask for."""

    kind = "measure"

    def __init__(
        self,
        function: Callable[..., Any],
        unit: str,
        name: str | None,
        other_quantity: bool = False,
    ) -> None:
        super().__init__(function)
        self.other_quantity = other_quantity
        self.name = name or function.__name__
        self.unit = unit
        if not self.name.isidentifier() or self.name in INPUTS:
            raise PluginError(
                f"{self.where}: '{self.name}' cannot be the name of a measure; "
                f"use an identifier other than {', '.join(INPUTS)}."
            )

    @property
    def returns(self) -> Any:
        """The evaluated return annotation; `inspect.Parameter.empty` if there is none."""
        return self.hints.get("return", inspect.Parameter.empty)

    def __repr__(self) -> str:
        return f"<measure {self.name}>"


class Rule(_Declared):
    """A declared rule. `id` is `family/slug`."""

    kind = "rule"

    def __init__(
        self,
        function: Callable[..., Any],
        rule_id: str,
        measures: str,
        claims: tuple[str, ...] = (),
    ) -> None:
        super().__init__(function)
        self.claims = claims
        if not RULE_ID.fullmatch(rule_id):
            raise PluginError(
                f"{self.where}: '{rule_id}' is no rule id; write family/slug in small letters, "
                "digits and hyphens, such as walls/thin-wall."
            )
        self.id = rule_id
        self.unit = measures

    @property
    def family(self) -> str:
        return self.id.split("/", 1)[0]

    @property
    def remedy(self) -> str:
        """What the docstring says after *Remedy:*, empty if nothing."""
        found = _REMEDY.search(self.doc)
        return " ".join(found.group(1).split()) if found else ""

    @property
    def explanation(self) -> str:
        """The docstring's paragraphs between title and remedy."""
        rest = self.doc.split("\n\n", 1)[1] if "\n\n" in self.doc else ""
        return _REMEDY.sub("", rest).strip()

    def __repr__(self) -> str:
        return f"<rule {self.id}>"


def measure(
    *, unit: str, name: str | None = None, other_quantity: bool = False
) -> Callable[[Callable[..., Any]], Measure]:
    """Declare a measure: something computed about a body, a part, an assembly or a file.

    Parameters
    ----------
    unit : UCUM code of its values ("mm", "mm2", "mm3", "deg", "min", "MPa"; "1" for counts)
    name : what rules ask for; the function's name if None
    other_quantity : its values are of another quantity than those of the measures that it takes
        (a depth made from thicknesses): limits on it say nothing of theirs, and do not enter their
        range of interest
    """
    return lambda function: Measure(function, unit, name, other_quantity)


def rule(
    rule_id: str, *, measures: str, claims: tuple[str, ...] = ()
) -> Callable[[Callable[..., Any]], Rule]:
    """Declare a rule: it yields places (`Place`); the sheet says what is required of them.

    Parameters
    ----------
    rule_id : family/slug
    measures : UCUM code of the value that is compared
    claims : ids of rules that leave out their places where this one yields a `Claim`
    """
    return lambda function: Rule(function, rule_id, measures, claims)


def without_none(annotation: Any) -> tuple[Any, bool]:
    """An annotation without its `| None`, and whether it had one."""
    arguments = typing.get_args(annotation)
    if type(None) not in arguments:
        return annotation, False
    rest = [argument for argument in arguments if argument is not type(None)]
    return functools.reduce(lambda a, b: a | b, rest), True
