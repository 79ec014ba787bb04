"""recording.toml <-> RunCard."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from logger import settings
from logger.config import RunCard, Tag
from logger.errors import ConfigError
from logger.recording.rig_toml import without_format

RECORDING_FORMAT = "boatrun-recording/1"


def read_card(path: Path) -> RunCard:
    """The card of the run in the file at `path`.

    Raises:
        InputError: there is no such file, or it is no TOML.
        ConfigError: it says something wrong; all mistakes at once.
    """
    return card_from_table(settings.load_table(path), file=str(path))


def card_from_table(table: Mapping[str, Any], *, file: str) -> RunCard:
    """The card that `table` describes; `file` is named in mistakes."""
    table = without_format(table, RECORDING_FORMAT, file=file)
    mistakes: list[str] = []
    if isinstance(table.get("recorded_at"), datetime):
        table["recorded_at"] = table["recorded_at"].isoformat()
    card = settings.from_table(RunCard, table, place="", mistakes=mistakes)
    if card is not None:
        mistakes.extend(_time_mistakes(card.recorded_at))
        mistakes.extend(_tag_mistakes(card.boat.tag))
    if card is None or mistakes:
        raise ConfigError(file, mistakes)
    return card


def _time_mistakes(text: str) -> list[str]:
    """RFC 3339: date, time, and the offset from UTC."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is not None and moment.tzinfo is not None:
        return []
    return [f'recorded_at: found "{text}", wanted date, time and offset as in "2026-05-04T10:15:00+02:00"']


def _tag_mistakes(tag: Tag | None) -> list[str]:
    """A square is known by its number, a disc has none."""
    if tag is not None and tag.kind == "square" and tag.number is None:
        return ["boat.tag.number: missing, wanted the number printed below the square"]
    if tag is not None and tag.kind == "disc" and tag.number is not None:
        return [f"boat.tag.number: found {tag.number}, wanted none for a disc; leave it out"]
    return []


def card_text(card: RunCard) -> str:
    """`card` as the text of a recording.toml, everything written out."""
    return settings.dump({"format": RECORDING_FORMAT, **settings.to_table(card)})
