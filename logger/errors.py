"""The few ways in which the program can fail a person.

Messages follow one form: *where: what was found; what is wanted; what to do.* Each error is also of the built-in kind
that fits, so that plain `except ValueError` works too.
"""

from __future__ import annotations

from collections.abc import Sequence


class LoggerError(Exception):
    """Base of all errors that a person is meant to read and can do something about. Exit status 2."""


class InputError(LoggerError, ValueError):
    """What was given (a file, a folder, an option) is wrong."""


class ConfigError(InputError):
    """A settings file has mistakes: all of them at once, each with its place."""

    def __init__(self, file: str, mistakes: Sequence[str]) -> None:
        self.file, self.mistakes = file, tuple(mistakes)
        super().__init__(f"{file}: " + " | ".join(mistakes))


class DriverError(LoggerError, OSError):
    """A device cannot be opened: says which, why, and what to install or plug in."""


class StoreError(LoggerError, OSError):
    """Something could not be kept on disk."""
