"""Tables of a settings file -> frozen values, strictly, with every mistake at once; and back.

A dataclass is the whole description of its table: the type says what is wanted, `Annotated` with a `Range` or `Text`
says within what bounds, a default says what may be left out. Nothing is converted: "1800" is no number and true is
no number. Places are written as in `gates[2].u_offset_mm`, lists counted from 1.
"""

from __future__ import annotations

import dataclasses
import difflib
import json
import math
import os
import re
import tomllib
import types
import typing
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeVar

import tomlkit

from logger.errors import ConfigError, InputError, StoreError

T = TypeVar("T")
MOST_BYTES = 1_000_000
"""A settings file larger than this is something else under the wrong name."""
_WRONG = object()
_BIDI_OVERRIDES = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


@dataclass(frozen=True, slots=True)
class Range:
    """Bounds of a number, for `Annotated`, in the unit of the field that they stand at; None is no bound."""

    least: float | None = None
    """The number may be this or more."""
    above: float | None = None
    """It must be more than this."""
    most: float | None = None
    """It may be this or less."""

    def admits(self, value: float) -> bool:
        """True if `value` lies within."""
        return (
            (self.least is None or value >= self.least)
            and (self.above is None or value > self.above)
            and (self.most is None or value <= self.most)
        )

    def __str__(self) -> str:
        parts = ((" ≥ ", self.least), (" > ", self.above), (" ≤ ", self.most))
        return " and".join(
            f"{sign}{bound if isinstance(bound, int) else format(bound, 'g')}"
            for sign, bound in parts
            if bound is not None
        )


@dataclass(frozen=True, slots=True)
class Text:
    """What a piece of text may be, for `Annotated`; made so that it is safe in a table, a file name list, a page."""

    most: int
    """Letters at most."""
    least: int = 0
    """Letters at least."""
    lines: bool = False
    """True: line breaks are allowed."""
    without: str = ""
    """Letters that are not allowed."""

    def complaint(self, value: str) -> str | None:
        """What is wrong with `value`, as "wanted ..."; None if nothing is."""
        if not self.least <= len(value) <= self.most:
            return f"text of {self.least} to {self.most} letters"
        if any(self._is_hidden(letter) for letter in value):
            return "text without control characters"
        if value and unicodedata.normalize("NFKC", value)[0] in "=+-@":
            return "text that does not begin with = + - @ (a spreadsheet would take it for a formula)"
        if any(letter in self.without for letter in value):
            return f"text without any of {self.without}"
        if value != value.strip():
            return "text without blanks at its ends"
        return None

    def _is_hidden(self, letter: str) -> bool:
        if self.lines and letter == "\n":
            return False
        return unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") or letter in _BIDI_OVERRIDES


def load_table(path: Path) -> dict[str, Any]:
    """The TOML file at `path` as a plain table.

    Raises:
        InputError: it cannot be read, is no UTF-8, is no TOML, or is far too large.
    """
    text = _read_text(path)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: {_explain(str(error), text)}") from error


def _read_text(path: Path) -> str:
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{path}: this is no file; put the file of that name there")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError as error:
        raise InputError(f"{path}: there is no such file; put it there or give another path") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); check what it is and its permissions") from error
    if len(data) > MOST_BYTES:
        raise InputError(f"{path}: larger than {MOST_BYTES} bytes; a settings file is wanted; is it another file?")
    if not data.strip(b"\0 \r\n\t"):
        raise InputError(f"{path}: the file is empty; write it anew or take it from a backup")
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}: byte {error.start + 1} is not UTF-8; save the file as UTF-8 in the text editor"
        ) from error


def _explain(message: str, text: str) -> str:
    found = re.search(r"line (\d+)", message)
    lines = text.split("\n")
    number = int(found[1]) if found else len(lines)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    cure = "mend that line (text in double quotes, name = value)"
    if re.search(r"\d,\d", line.split("#")[0]):
        cure = "write decimals with a point, as in 1.5"
    shown = f"found {shorten(line)}" if line else "the line is incomplete"
    return f"line {number}: {shown}; this is not valid TOML ({message}); {cure}"


def read(kind: type[T], table: Mapping[str, object], *, file: str) -> T:
    """`table` as a value of the dataclass `kind`.

    Raises:
        ConfigError: with all mistakes, each with place, what was found and what is wanted.
    """
    mistakes: list[str] = []
    value = from_table(kind, table, place="", mistakes=mistakes)
    if value is None or mistakes:
        raise ConfigError(file, mistakes)
    return value


def from_table(kind: type[T], table: object, *, place: str, mistakes: list[str]) -> T | None:
    """Like `read`, but adds what is wrong to `mistakes` and then returns None. `place` is where `table` stands."""
    if not isinstance(table, Mapping):
        mistakes.append(f"{place}: found {shorten(table)}, wanted a table")
        return None
    dot = f"{place}." if place else ""
    hints = typing.get_type_hints(kind, include_extras=True)
    fields = {f.name: f for f in dataclasses.fields(kind)}  # type: ignore[arg-type]
    before = len(mistakes)
    missing = [n for n, f in fields.items() if n not in table and _is_required(f) and not _may_be_none(hints[n])]
    unknown = [key for key in table if key not in fields]
    mistakes.extend(f"{dot}{_shown(key)}: unknown name{near(key, missing or fields)}" for key in unknown)
    mistakes.extend(f"{dot}{name}: missing, wanted {wanted(hints[name])}" for name in missing)
    values = {
        name: _convert(hints[name], table[name], place=f"{dot}{name}", mistakes=mistakes)
        for name in fields
        if name in table
    }
    values |= {name: None for name in fields if name not in table and _is_required(fields[name])}
    return kind(**values) if len(mistakes) == before else None


def _shown(key: str) -> str:
    return key if re.fullmatch(r"[\w-]{1,40}", key) else shorten(key)


def _is_required(field: dataclasses.Field[Any]) -> bool:
    return field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING


def _may_be_none(hint: Any) -> bool:
    return type(None) in typing.get_args(hint)


def near(name: str, known: Sequence[str] | Mapping[str, object] | set[str]) -> str:
    """A phrase that offers the nearest of the `known` names; empty if none is near."""
    close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f'; did you mean "{close[0]}"?' if close else ""


def _convert(hint: Any, found: object, *, place: str, mistakes: list[str]) -> Any:
    """`found` as what `hint` says, or _WRONG with a mistake added."""
    base, bounds = _unwrap(hint)
    origin = typing.get_origin(base)
    if dataclasses.is_dataclass(base):
        return from_table(typing.cast(type, base), found, place=place, mistakes=mistakes)
    if origin is tuple and isinstance(found, list):
        return _convert_list(base, found, place=place, mistakes=mistakes)
    complaint = _complaint(base, bounds, found)
    if complaint:
        words = typing.get_args(base) if typing.get_origin(base) is Literal and isinstance(found, str) else ()
        mistakes.append(f"{place}: found {shorten(found)}, wanted {complaint}{near(str(found), words)}")
        return _WRONG
    return float(typing.cast(float, found)) if base is float else found


def _convert_list(base: Any, found: list[object], *, place: str, mistakes: list[str]) -> Any:
    args = typing.get_args(base)
    hints = [args[0]] * len(found) if args[-1] is Ellipsis else list(args)
    if len(hints) != len(found):
        mistakes.append(f"{place}: found {len(found)} values, wanted {wanted(base)}")
        return _WRONG
    return tuple(
        _convert(hint, item, place=f"{place}[{number}]", mistakes=mistakes)
        for number, (hint, item) in enumerate(zip(hints, found, strict=True), 1)
    )


def _unwrap(hint: Any) -> tuple[Any, tuple[object, ...]]:
    """The type inside `Annotated` and optional, with the bounds that stood around it."""
    if typing.get_origin(hint) is typing.Annotated:
        base, bounds = _unwrap(hint.__origin__)
        return base, bounds + tuple(hint.__metadata__)
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        inner = [a for a in typing.get_args(hint) if a is not type(None)]
        if len(inner) == 1:
            return _unwrap(inner[0])
    return hint, ()


def _complaint(base: Any, bounds: tuple[object, ...], found: object) -> str | None:
    if not _fits(base, found):
        return wanted(base, bounds)
    for bound in bounds:
        if isinstance(bound, Range) and not bound.admits(typing.cast(float, found)):
            return wanted(base, bounds)
        if isinstance(bound, Text) and (words := bound.complaint(typing.cast(str, found))):
            return words
    return None


def _fits(base: Any, found: object) -> bool:
    if typing.get_origin(base) is Literal:
        return isinstance(found, str) and found in typing.get_args(base)
    if base in (float, int) and isinstance(found, int):
        return not isinstance(found, bool) and abs(found) < 2**63
    if base is float:
        return isinstance(found, float) and math.isfinite(found)
    if typing.get_origin(base) in (Mapping, dict) or base is Mapping:
        return isinstance(found, Mapping)
    return isinstance(base, type) and isinstance(found, base)


_NAMES: dict[Any, str] = {float: "a number", int: "a whole number", str: "text in quotes", bool: "true or false"}


def wanted(hint: Any, bounds: tuple[object, ...] = ()) -> str:
    """What `hint` asks for, in words."""
    base, more = _unwrap(hint)
    limits = "".join(str(bound) for bound in (*bounds, *more) if isinstance(bound, Range))
    if typing.get_origin(base) is Literal:
        return "one of " + ", ".join(f'"{a}"' for a in typing.get_args(base))
    if typing.get_origin(base) is tuple:
        args = typing.get_args(base)
        inner = wanted(args[0]).removeprefix("a ")
        return f"a list of {inner}s" if args[-1] is Ellipsis else f"a list of {len(args)} {inner}s"
    return _NAMES.get(base, "a table") + limits


def shorten(found: object, most: int = 40) -> str:
    """`found` as it would stand in the file, cut to `most` letters."""
    if isinstance(found, float) and not math.isfinite(found):
        return str(found)
    text = "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape", "surrogatepass").decode()
        for letter in json.dumps(found, ensure_ascii=False, default=str)
    )
    return text if len(text) <= most else text[: most - 1] + "…"


def to_table(value: object) -> dict[str, Any]:
    """The dataclass `value` as a table with everything in it; what is None or an empty list or text is left out."""
    table: dict[str, Any] = {}
    for field in dataclasses.fields(value):  # type: ignore[arg-type]
        plain = _plain(getattr(value, field.name))
        if plain is not None and not (plain in ("", [], {}) and not _is_required(field)):
            table[field.name] = plain
    return table


def _plain(value: object) -> Any:
    if dataclasses.is_dataclass(value):
        return to_table(value)
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    return value


def dump(table: Mapping[str, Any]) -> str:
    """`table` as TOML text."""
    return tomlkit.dumps(table)


def edit(path: Path, changes: Mapping[str, Any], *, check: Callable[[dict[str, Any]], object]) -> None:
    """Set some entries of the TOML file at `path`, keeping its comments and order.

    Args:
        path: The file.
        changes: Dotted name, as in "camera.delay_s" or "gates[2].offset_mm", -> new value.
        check: Is shown the whole new table and raises if it is not right; then nothing is changed.

    Raises:
        StoreError: it could not be written; the old file still stands.
    """
    load_table(path)
    document = tomlkit.parse(_read_text(path))
    for dotted, value in changes.items():
        *tables, name = dotted.split(".")
        place: Any = document
        for table in tables:
            place = _step(place, table)
        place[name] = value
    text = tomlkit.dumps(document)
    check(tomllib.loads(text))
    try:
        write_whole(path, text)
    except OSError as error:
        problem = f"{path}: could not be written ({error.strerror}); free some space or check permissions"
        raise StoreError(problem) from error


def _step(place: Any, table: str) -> Any:
    found = re.fullmatch(r"(\w+)\[(\d+)\]", table)
    return place[found[1]][int(found[2]) - 1] if found else place.setdefault(table, tomlkit.table())


def write_whole(path: Path, content: str | bytes) -> None:
    """Write `path` so that at any instant it holds the old content or the new, whole, also after a loss of power.

    A text is written as UTF-8, its ends of lines as they are.

    Raises:
        OSError: the folder is not writable or full; the old file still stands and nothing else is left behind.
    """
    growing = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with growing.open("wb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        growing.replace(path)
    except BaseException:
        growing.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make a new or renamed entry of `folder` survive a loss of power."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
