"""The command line: each command is a few lines over one public function of the library."""

from __future__ import annotations

from fieldaero.cli.commands import commands, main

__all__ = ["commands", "main"]
