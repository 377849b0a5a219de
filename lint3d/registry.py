"""Which plugins are there, and what do they bring?

Three steps, each a small frozen type: *found* (`Found`: a name and how to import it, nothing
imported yet), *loaded* (a module called hook by hook), *registered* (`Registry`: readers, measures,
rules, sheets, writers by name). A plugin that cannot be imported or whose hook raises is named in
`Registry.problems` and the others go on. Nothing loads on import of this module.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import importlib.util
import inspect
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import pluggy

from lint3d import hooks
from lint3d.declare import Measure, Rule
from lint3d.errors import PluginError
from lint3d.inspection import Notification, PluginFacts
from lint3d.tomlfile import nearest

ENTRY_POINTS = "lint3d"
#: What `hookimpl` sets on a function.
_MARK = f"{hooks.PROJECT}_impl"
#: Never hooks, whatever they are called.
_VALUES = (
    ModuleType,
    Measure,
    Rule,
    str,
    int,
    float,
    tuple,
    list,
    dict,
    set,
    frozenset,
    type(None),
)


@dataclass(frozen=True)
class Found:
    """A plugin that could be loaded."""

    name: str
    target: str
    """module name, or path of a `.py` file"""
    version: str | None = None
    built_in: bool = False
    given: bool = False
    """Named with --plugin or in the configuration: a failure to load it is an error"""


@dataclass(frozen=True)
class PluginSettings:
    """Which plugins to load. Plain data, so that a worker can load the same ones."""

    given: tuple[str, ...] = ()
    """Module names or paths of `.py` files"""
    disabled: frozenset[str] = frozenset()
    """Names that are not even imported"""


@dataclass
class Registry:
    """Everything that the loaded plugins bring."""

    manager: pluggy.PluginManager
    plugins: dict[str, PluginFacts] = field(default_factory=dict)
    disabled: tuple[str, ...] = ()
    readers: dict[str, Any] = field(default_factory=dict)
    measures: dict[str, Measure] = field(default_factory=dict)
    rules: dict[str, Rule] = field(default_factory=dict)
    sheets: dict[str, Path] = field(default_factory=dict)
    writers: dict[str, Any] = field(default_factory=dict)
    owner: dict[tuple[str, str], str] = field(default_factory=dict)
    """(kind, name) -> plugin"""
    problems: list[Notification] = field(default_factory=list)

    def owner_of(self, kind: str, name: str) -> str:
        """The plugin that brings it."""
        return self.owner[kind, name]


class _Manager(pluggy.PluginManager):
    """Passes over a module's other functions, classes and values without a closer look."""

    def parse_hookimpl_opts(self, plugin: object, name: str) -> pluggy.HookimplOpts | None:
        """The options of a hook, None for what is none.

        Pluggy looks at each name of a module in a careful and slow way: a fourth of a start.
        """
        if isinstance(plugin, ModuleType):
            value = vars(plugin).get(name)
            is_marked = isinstance(value, FunctionType) and hasattr(value, _MARK)
            if isinstance(value, (FunctionType, type, *_VALUES)) and not is_marked:
                return None
        return super().parse_hookimpl_opts(plugin, name)


def find_plugins(settings: PluginSettings) -> list[Found]:
    """Installed plugins (entry points of group `lint3d`) and given ones, sorted, none imported.

    Raises
    ------
    PluginError : a given file does not exist, two plugins have one name, a disabled name is unknown
    """
    found: dict[str, Found] = {}
    for plugin in _installed(tuple((folder, _changed(folder)) for folder in sys.path)):
        other = found.get(plugin.name)
        if other and other.target != plugin.target:
            raise PluginError(
                f"two installed plugins are called '{plugin.name}': {other.target} and "
                f"{plugin.target}. Uninstall one of them."
            )
        found[plugin.name] = plugin
    for target in settings.given:
        plugin = _given(target)
        other = found.get(plugin.name)
        if other and _place(other.target) != _place(plugin.target):
            raise PluginError(
                f"'{target}' would be called '{plugin.name}' like the plugin {other.target}. "
                "Rename the file or module."
            )
        found[plugin.name] = plugin
    for name in settings.disabled - found.keys():
        raise PluginError(f"there is no plugin '{name}' to disable{nearest(name, found)}.")
    return [found[name] for name in sorted(found)]


@lru_cache(maxsize=4)
def _installed(path: tuple[tuple[str, int], ...]) -> tuple[Found, ...]:
    """Installed plugins, sorted. Asked for again only when something was installed since.

    Parameters
    ----------
    path : the folders that are searched and when each changed; to read the metadata of every
        installed package takes a third of the time that a run needs before its first file
    """
    found = []
    brought: dict[int, tuple[str, str]] = {}
    for point in sorted(importlib.metadata.entry_points(group=ENTRY_POINTS), key=lambda p: p.name):
        # A distribution parses its metadata anew at each question, and ours brings many plugins.
        if point.dist and id(point.dist) not in brought:
            about = point.dist.metadata
            brought[id(point.dist)] = about["Name"], about["Version"]
        distribution, version = brought.get(id(point.dist), (None, None))
        found.append(Found(point.name, point.value, version, built_in=distribution == "lint3d"))
    return tuple(found)


def _changed(folder: str) -> int:
    """When something was last added to a folder or taken from it, 0 if it is none; nanoseconds."""
    try:
        return os.stat(folder or ".").st_mtime_ns
    except OSError:
        return 0


def _given(target: str) -> Found:
    if target.endswith(".py"):
        if not Path(target).is_file():
            raise PluginError(f"there is no plugin file '{target}'. Check the path.")
        return Found(Path(target).stem, target, given=True)
    return Found(target.removeprefix("lint3d_plugins."), target, given=True)


def _place(target: str) -> str:
    """The same for two ways to write one file."""
    return os.path.realpath(target) if target.endswith(".py") else target


def load_registry(settings: PluginSettings = PluginSettings()) -> Registry:
    """Load every enabled plugin and collect what it brings.

    Raises
    ------
    PluginError : a name is offered twice, or a hook's name is unknown
    """
    manager = _Manager(hooks.PROJECT)
    manager.add_hookspecs(hooks)
    registry = Registry(manager)
    enabled = []
    for plugin in find_plugins(settings):
        if plugin.name in settings.disabled:
            registry.disabled += (plugin.name,)
        else:
            enabled.append(plugin)
    for plugin in enabled:
        _load(plugin, registry)
    _refuse_shared_suffix(registry)
    return registry


def _load(plugin: Found, registry: Registry) -> None:
    try:
        module = _import(plugin)
        registry.manager.register(module, plugin.name)
        registry.manager.check_pending()
        _refuse_unmarked(plugin.name, module)
    except PluginError:
        raise
    except ModuleNotFoundError as error:
        if plugin.given and error.name and f"{plugin.target}.".startswith(f"{error.name}."):
            raise PluginError(
                f"there is no plugin '{plugin.target}'. Give the name of an installed module or "
                "the path of a .py file."
            ) from error
        _problem(registry, plugin.name, f"could not be imported ({_described(error)})")
        return
    except pluggy.PluginValidationError as error:
        raise PluginError(f"plugin '{plugin.name}': {_one_line(error)}") from error
    except (Exception, SystemExit) as error:
        _problem(registry, plugin.name, f"could not be imported ({_described(error)})")
        return
    summary = (inspect.getdoc(module) or "").split("\n", 1)[0]
    registry.plugins[plugin.name] = PluginFacts(plugin.name, plugin.version, summary)
    _collect(registry, plugin.name, "reader", lambda reader: str(reader.name), registry.readers)
    _collect(
        registry, plugin.name, "measure", lambda one: str(one.name), registry.measures, Measure
    )
    _collect(registry, plugin.name, "rule", lambda one: str(one.id), registry.rules, Rule)
    _collect(registry, plugin.name, "sheet", lambda path: Path(path).stem, registry.sheets)
    _collect(registry, plugin.name, "writer", lambda writer: str(writer.name), registry.writers)


def _refuse_unmarked(plugin: str, module: ModuleType) -> None:
    """A hook without its mark would never be called, and nobody would know."""
    for name, value in vars(module).items():
        if not name.startswith(f"{hooks.PROJECT}_") or not inspect.isfunction(value):
            continue
        if not hasattr(value, _MARK):
            raise PluginError(
                f"plugin '{plugin}': {name} is not marked, so it would never be called. "
                "Write @hookimpl above it."
            )


def _refuse_shared_suffix(registry: Registry) -> None:
    """Two writers for one suffix: which one `--report` means could not be told."""
    taken: dict[str, str] = {}
    for name, writer in registry.writers.items():
        for suffix in writer.suffixes:
            if suffix in taken:
                plugins = [registry.owner_of("writer", one) for one in (taken[suffix], name)]
                raise PluginError(
                    f"reports with the suffix '{suffix}' are offered twice, by the plugins "
                    f"'{plugins[0]}' and '{plugins[1]}'. Change one of them, or disable a plugin."
                )
            taken[suffix] = name


def _import(plugin: Found) -> ModuleType:
    if not plugin.target.endswith(".py"):
        return importlib.import_module(plugin.target.partition(":")[0])
    name = f"lint3d_house_{plugin.name}"
    spec = importlib.util.spec_from_file_location(name, plugin.target)
    if spec is None or spec.loader is None:
        raise ImportError(f"'{plugin.target}' is no Python file")
    module = importlib.util.module_from_spec(spec)
    # Annotations are evaluated in the module's own names, so it must be known by name.
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module


def _collect(
    registry: Registry,
    plugin: str,
    kind: str,
    name_of: Callable[[Any], str],
    into: dict[str, Any],
    expected: type | None = None,
) -> None:
    """Call one hook of one plugin and file what it returns under its names."""
    try:
        offered = _call(registry, plugin, f"lint3d_{kind}s")
        named = [(name_of(_checked(one, expected, kind)), one) for one in offered]
    except PluginError:
        raise
    except (Exception, SystemExit) as error:
        _problem(registry, plugin, f"failed in its hook lint3d_{kind}s ({_described(error)})")
        return
    for name, one in named:
        if name in into:
            other = registry.owner_of(kind, name)
            raise PluginError(
                f"the {kind} '{name}' is offered twice, by the plugins '{other}' and '{plugin}'. "
                f"Rename one of them, or disable a plugin."
            )
        into[name] = one
        registry.owner[kind, name] = plugin


def _call(registry: Registry, plugin: str, hook: str) -> Iterable[Any]:
    """The plugin's own answer to a hook; an empty list if it does not take part."""
    for implementation in getattr(registry.manager.hook, hook).get_hookimpls():
        if implementation.plugin_name == plugin:
            return list(implementation.function() or ())
    return []


def _checked(one: Any, expected: type | None, kind: str) -> Any:
    if expected and not isinstance(one, expected):
        raise TypeError(f"{one!r} is no {kind}; decorate it with @{kind}(…)")
    return one


def reviewers(registry: Registry) -> Sequence[tuple[str, Callable[..., Any]]]:
    """Plugins that look at results, by name, in order; each is called with keywords."""
    found = [
        (implementation.plugin_name, _only_named(implementation.function, implementation.argnames))
        for implementation in registry.manager.hook.lint3d_review.get_hookimpls()
    ]
    return sorted(found, key=lambda pair: pair[0])


def _only_named(function: Callable[..., Any], names: Sequence[str]) -> Callable[..., Any]:
    """A hook may leave out arguments that it does not need."""
    return lambda **arguments: function(**{name: arguments[name] for name in names})


def _problem(registry: Registry, plugin: str, message: str) -> None:
    text = f"The plugin '{plugin}' {message}. What it brings is missing. Mend or disable it."
    registry.problems.append(Notification(text, "error", "plugin", plugin=plugin))


def _described(error: BaseException) -> str:
    return f"{type(error).__name__}: {_one_line(error)}"


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())
