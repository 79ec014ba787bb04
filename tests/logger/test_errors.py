"""Errors are ours and of the built-in kind at once, and a settings file's mistakes stand on one line."""

from __future__ import annotations

import pytest

from logger.errors import ConfigError, DriverError, InputError, LoggerError, StoreError


@pytest.mark.parametrize(
    ("kind", "built_in"),
    [(InputError, ValueError), (ConfigError, ValueError), (DriverError, OSError), (StoreError, OSError)],
)
def test_whoever_knows_only_the_built_in_kinds_can_catch_ours(kind: type[LoggerError], built_in: type) -> None:
    assert issubclass(kind, LoggerError)
    assert issubclass(kind, built_in)


def test_mistakes_of_a_file_stand_on_one_line_and_apart() -> None:
    error = ConfigError("rig.toml", ["a: found 1, wanted 2", "b: missing"])
    assert str(error) == "rig.toml: a: found 1, wanted 2 | b: missing"
    assert error.mistakes == ("a: found 1, wanted 2", "b: missing")
    assert isinstance(error, InputError)


def test_an_error_keeps_its_words_whatever_its_kind() -> None:
    assert str(DriverError("gates: nothing is plugged in; plug it in")) == "gates: nothing is plugged in; plug it in"
