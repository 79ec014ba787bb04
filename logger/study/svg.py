"""The few lines that turn numbers into SVG text, so that every drawing is escaped and rounded in one place."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape


def number(value: float) -> str:
    """A length in user units, to a hundredth, without needless zeros."""
    shown = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown


def tag(name: str, *children: str, **attributes: object) -> str:
    """One element. `class_` is written class, other underscores become hyphens, None leaves an attribute out."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_attribute(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{written}>{''.join(children)}</{name}>" if children else f"<{name}{written}/>"


def words(x: float, y: float, text: str, **attributes: object) -> str:
    """A line of text with its anchor at (x, y), escaped."""
    return tag("text", escape(text), x=x, y=y, **attributes)


def path(points: Iterable[tuple[float, float]], *, closed: bool = False, **attributes: object) -> str:
    """A polyline through `points`."""
    steps = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return tag("path", d=f"M{steps}{'Z' if closed else ''}", **attributes)


def picture(width: float, height: float, *children: str, title: str, summary: str, key: str, class_: str = "") -> str:
    """A whole drawing that a screen reader announces by its title and reads as its summary."""
    return tag(
        "svg",
        tag("title", escape(title), id=f"{key}-title"),
        tag("desc", escape(summary), id=f"{key}-desc"),
        *children,
        id=key,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
        class_=class_ or None,
    )


def _attribute(value: object) -> str:
    return number(float(value)) if isinstance(value, int | float) else escape(str(value))
