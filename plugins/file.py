"""File: can the file be read, and is it as its format says?"""

from __future__ import annotations

from collections.abc import Iterator

from lint3d import Fault, NotApplicable, Note, Place, Rule, Source, hookimpl, rule


@rule("file/unreadable", measures="1")
def unreadable(source: Source) -> Iterator[Place]:
    """Nothing of the file could be inspected.

    What cannot be read must not pass for inspected: the message says what is wrong and where.

    Remedy: export the model again, and check that the whole file was copied.
    """
    for fault in source.faults:
        if fault.fatal:
            yield _place(source, fault)


@rule("file/malformed", measures="1")
def malformed(source: Source) -> Iterator[Place | Note]:
    """The file breaks its format: part of it was left out or may be read differently elsewhere.

    What could be read was inspected. Another program may make something else of the file, so the
    report is not complete until the file is mended.

    Remedy: export the model again with another program or other settings.
    """
    if any(fault.fatal for fault in source.faults):
        raise NotApplicable("Nothing of the file could be read.")
    for fault in source.faults:
        if fault.harmless:
            yield Note(f"The file {fault.message} {fault.remedy}", of=source)
        elif not fault.fatal:
            yield _place(source, fault)


def _place(source: Source, fault: Fault) -> Place:
    return Place(
        max(1, fault.count),
        of=source,
        region=fault.region,
        remark=f"The file {fault.message}",
        remedy=fault.remedy,
    )


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [unreadable, malformed]
