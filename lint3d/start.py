"""How does a bureau begin with rules or a sheet of its own?

`lint3d start plugin NAME` and `lint3d start sheet NAME` write a small folder that works at once: a
rule (or limits), a part to try it on and a test. The texts stand in `skeletons/`; `$name` and
`$module` in them are replaced. Guarded by tests/test_start.py, which runs what is written.
"""

from __future__ import annotations

import keyword
import re
from pathlib import Path
from string import Template
from typing import Literal

from lint3d.errors import ConfigurationError, Lint3dError

Kind = Literal["plugin", "sheet"]

_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_SKELETONS = Path(__file__).with_name("skeletons")


def start(kind: Kind, name: str, folder: Path) -> list[Path]:
    """Write the skeleton into `folder`/`name`.

    Parameters
    ----------
    kind : "plugin" or "sheet"
    name : small letters, digits and hyphens: "our-oven"
    folder : where the new folder is made

    Returns
    -------
    What was written, sorted.

    Raises
    ------
    ConfigurationError : the name does not serve or is taken, or the folder is there already
    Lint3dError : the folder cannot be written
    """
    module = _checked(kind, name)
    target = folder / name
    if target.exists():
        raise ConfigurationError(
            f"there is already something called '{target}'. Choose another name, or move it away."
        )
    written = []
    try:
        for source in sorted(_SKELETONS.glob(f"{kind}+*.txt")):
            inner = source.stem.removeprefix(f"{kind}+").replace("+", "/")
            path = target / inner.replace("MODULE", module).replace("NAME", name)
            path.parent.mkdir(parents=True, exist_ok=True)
            text = source.read_text(encoding="utf-8")
            path.write_text(Template(text).substitute(name=name, module=module), encoding="utf-8")
            written.append(path)
        written.append(_block(target))
    except OSError as error:
        raise Lint3dError(f"'{target}' cannot be written ({error.strerror}).") from error
    return sorted(written)


def _block(target: Path) -> Path:
    from lint3d.samples import block, write_stl

    path = target / "tests" / "block.stl"
    path.parent.mkdir(parents=True, exist_ok=True)
    return write_stl(path, block())


def _checked(kind: Kind, name: str) -> str:
    """The module's name for a name that can be used."""
    from lint3d.registry import PluginSettings, load_registry

    if not _NAME.fullmatch(name):
        raise ConfigurationError(
            f"'{name}' does not serve as a name: use small letters, digits and single hyphens, "
            "beginning with a letter, for example our-oven."
        )
    module = name.replace("-", "_")
    registry = load_registry(PluginSettings())
    taken = {*registry.sheets, *registry.plugins} | {one.split("/")[0] for one in registry.rules}
    if name in taken or module in taken or keyword.iskeyword(module):
        raise ConfigurationError(f"the name '{name}' is taken. Choose another for your {kind}.")
    return module
