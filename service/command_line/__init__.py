"""The command line: one module a command, everything heavy imported by the command that needs it."""

from service.command_line.frame import main

__all__ = ["main"]
