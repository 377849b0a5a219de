"""Fails while it is imported."""

raise RuntimeError("no licence\nfor this machine")
