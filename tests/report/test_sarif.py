"""The SARIF report as a whole."""

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import inspections
import pytest
from sarif_reading import run_of

from lint3d.report import Writer
from lint3d.report.sarif import SarifWriter


@pytest.fixture(scope="module")
def run() -> dict[str, Any]:
    return run_of(inspections.varied())


def strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from strings(item)


def test_it_is_a_writer() -> None:
    writer = SarifWriter()
    assert isinstance(writer, Writer)
    assert (writer.name, writer.suffixes) == ("sarif", (".sarif", ".sarif.json"))
    assert writer.needs == frozenset()
    assert writer.write(inspections.varied()).endswith(b"}\n")


def test_the_order_of_everything_in_the_model_does_not_matter() -> None:
    whole = inspections.varied()
    turned = replace(
        whole,
        results=whole.results[::-1],
        artifacts=whole.artifacts[::-1],
        notifications=whole.notifications[::-1],
        rules=whole.rules[::-1],
        plugins=whole.plugins[::-1],
        overrides=whole.overrides[::-1],
        settings=dict(reversed(whole.settings.items())),
    )
    assert SarifWriter().write(turned) == SarifWriter().write(whole)


def test_no_time_machine_or_command_line(run: dict[str, Any]) -> None:
    invocation = run["invocations"][0]
    for key in ("commandLine", "arguments", "startTimeUtc", "endTimeUtc", "machine", "account"):
        assert key not in invocation
    assert "workingDirectory" not in invocation
    assert "uri" not in run["originalUriBaseIds"]["SRCROOT"]
    assert not any(re.match(r"(file:|/|[A-Za-z]:[\\/])", text) for text in strings(run))


def test_undecodable_names_are_written_as_utf8() -> None:
    whole = inspections.sound()
    name = b"lid\xff".decode("utf-8", "surrogateescape")
    odd = replace(whole.results[0], body=name, message=name)
    assert b"lid\\\\udcff" in SarifWriter().write(replace(whole, results=[odd]))
