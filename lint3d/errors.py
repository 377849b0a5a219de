"""What can go wrong, and which exit code does it mean?

One family. A message says what is wrong, where, and what to do.
`NotMeasurable` and `NotApplicable` are not failures: a measure or a rule raises them to say
that it has no answer (the result is *open*) or no subject (*notApplicable*).
"""

from __future__ import annotations


class Lint3dError(Exception):
    """Wrong use or configuration: nothing was inspected."""

    exit_code = 2


class ConfigurationError(Lint3dError):
    """A sheet, a configuration file or an option is wrong."""


class PluginError(Lint3dError):
    """A plugin cannot be used as it is written: a clash, a cycle, an unknown parameter."""


class WriterError(Lint3dError):
    """A report could not be written."""


class NotMeasurable(Exception):
    """Raised by a measure: why it cannot be taken, and which rule tells more."""


class NotApplicable(Exception):
    """Raised by a rule or a measure: why it has no subject here."""


class UnreadableFile(Exception):
    """Raised by a reader: nothing of the file can be inspected.

    Parameters
    ----------
    message : what is wrong and where
    remedy : what to do
    """

    def __init__(self, message: str, remedy: str, region: object = None) -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy
        self.region = region
