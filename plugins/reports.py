"""Reports: the formats that `--report` can write."""

from __future__ import annotations

from lint3d import Writer, hookimpl


@hookimpl
def lint3d_writers() -> list[Writer]:
    from lint3d.report.page import PageWriter
    from lint3d.report.sarif import SarifWriter
    from lint3d.report.summary import SummaryWriter
    from lint3d.report.text import TextWriter

    return [SarifWriter(), TextWriter(), PageWriter(), SummaryWriter()]
