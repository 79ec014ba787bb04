"""A sheet on which a circuit is drawn, and from which can be read again what hangs together.

Whatever is put on the sheet keeps the place of its terminals, as the drawing library drew them. `nets()` follows the
lines from terminal to terminal, so a test can say whether the picture is the circuit, and not only looks like it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, TypeAlias

import schemdraw
from schemdraw import elements as elm

from hardware.draw.circuit import Circuit

Place: TypeAlias = tuple[float, float]
_Group: TypeAlias = tuple[set[tuple[str, str]], list[tuple[Place, Place]]]

WATER, INK, QUIET = "#0b63a5", "#111111", "#666666"
PIN_WIDTH = 4.2
GRID = 1e-3
"""Places closer than this, in drawing units, are one."""
RAILS = {"3V3": "3.3 V", "5V": "5 V"}


class Sheet:
    """One drawing of one circuit."""

    def __init__(self, circuit: Circuit, *, font_size: float = 11) -> None:
        schemdraw.use("svg")
        self._circuit = circuit
        self._drawing = schemdraw.Drawing(show=False)
        self._drawing.config(fontsize=font_size, color=INK, bgcolor="white", lw=1.5, margin=0.4)
        self._terminals: dict[tuple[str, str], Place] = {}
        self._wires: list[tuple[Place, Place]] = []
        self._named: list[tuple[str, Place]] = []

    # --- what belongs to the circuit ---

    def two(self, ref: str, element: Any, start: Place, end: Place, *, at: str = "top", flipped: bool = False) -> None:
        """A part with two terminals; its a is at `start`, or with `flipped` its b."""
        drawn = self._drawing.add(element.endpoints(start, end).label(self._words(ref), loc=at, fontsize=10))
        a, b = ("end", "start") if flipped else ("start", "end")
        self._keep(ref, {"a": drawn.absanchors[a], "b": drawn.absanchors[b]})

    def npn(self, ref: str, base: Place) -> Mapping[str, Place]:
        """A transistor with its base at the place given; collector up. Returns its terminals."""
        drawn = self._drawing.add(elm.BjtNpn(circle=True).right().anchor("base").at(base))
        self.words((base[0] + 1.4, base[1]), ref)
        anchors = drawn.absanchors
        return self._keep(ref, {"b": anchors["base"], "c": anchors["collector"], "e": anchors["emitter"]})

    def phototransistor(self, ref: str, at: Place) -> Mapping[str, Place]:
        """A phototransistor with its emitter at the place given; collector up. Returns its terminals."""
        drawn = self._drawing.add(elm.NpnPhoto(circle=True).right().anchor("emitter").at(at))
        self.words((at[0] + 0.6, at[1] + 0.7), ref)
        return self._keep(ref, {"c": drawn.absanchors["collector"], "e": drawn.absanchors["emitter"]})

    def block(self, ref: str, corner: Place, size: Place, pins: Mapping[str, tuple[str, float]]) -> Mapping[str, Place]:
        """A box, its lower left corner at the place given, with pins: name -> (side, x or y). Returns its terminals."""
        described = []
        for name, (side, at) in pins.items():
            along, start = (1, corner[1]) if side in {"left", "right"} else (0, corner[0])
            # the library spreads pins over the side without half a unit at either end
            share = (at - start - 0.5) / (size[along] - 1)
            described.append(elm.IcPin(name=name, side=side, pos=share, anchorname=name))
        drawn = self._drawing.add(elm.Ic(pins=described, size=size, lsize=10, plblsize=9).right().at(corner))
        return self._keep(ref, {name: drawn.absanchors[name] for name in self._circuit[ref].pins})

    def pin(self, ref: str, at: Place, words: str, *, leftwards: bool = False) -> None:
        """A pin of the computer, as a flag whose tip is at the place given; its body to the right, or to the left."""
        tag = elm.Tag(width=PIN_WIDTH, height=0.7)
        self._drawing.add((tag.left() if leftwards else tag.right()).at(at))
        text = (at[0] - PIN_WIDTH + 0.25 if leftwards else at[0] + 0.5, at[1])
        self.words(text, f"{ref}, {words}")
        self._keep(ref, {"io": at})

    def wire(self, *places: Place) -> None:
        """A line from place to place."""
        for a, b in pairwise(places):
            self._drawing.add(elm.Line().at(a).to(b))
            self._wires.append((a, b))

    def dot(self, *places: Place) -> None:
        """A joint. It joins nothing by itself: lines that end on a line are joined, lines that cross are not."""
        for place in places:
            self._drawing.add(elm.Dot(radius=0.07).theta(0).at(place))

    def rail(self, net: str, at: Place) -> None:
        """The sign of a supply or of ground."""
        if net == "GND":
            self._drawing.add(elm.Ground().at(at))
        else:
            self._drawing.add(elm.Vdd().at(at).label(RAILS[net], fontsize=10))
        self._named.append((net, at))

    # --- what is only for the eye ---

    def words(self, at: Place, text: str, *, size: float = 10, colour: str = INK) -> None:
        """A text that begins at the place given, its middle at that height."""
        label = elm.Label().theta(0).at((at[0], at[1] - 0.12))
        self._drawing.add(label.label(text, halign="left", valign="center", ofst=0, fontsize=size, color=colour))
        # the library leaves no room for what stands to the right of its anchor
        wide = max(len(line) for line in text.split("\n")) * 0.0175 * size
        self._drawing.add(elm.Dot(radius=0.001, color="white").theta(0).at((at[0] + wide, at[1])))

    def pole(self, at: Place, number: str) -> None:
        """A contact of a plug, on a wire."""
        self._drawing.add(elm.Dot(open=True, radius=0.12, zorder=10).theta(0).at(at))
        self.words((at[0] + 0.16, at[1] + 0.32), number, size=9, colour=QUIET)

    def frame(self, corner: Place, opposite: Place, title: str, *, colour: str = QUIET) -> None:
        """A dashed frame about what stands in one place."""
        self._drawing.add(elm.Rect(corner1=corner, corner2=opposite, ls="--", lw=1, color=colour).theta(0).at((0, 0)))
        self.words((corner[0] + 0.1, max(corner[1], opposite[1]) + 0.28), title, size=11, colour=colour)

    def cable(self, left: Place, right: Place) -> None:
        """The shield of a cable about wires that run through it, on earth at its right end; corners as given."""
        x1, low = right[0], min(left[1], right[1])
        self._drawing.add(elm.Rect(corner1=left, corner2=right, ls=":", lw=1.2, color=WATER).theta(0).at((0, 0)))
        self._drawing.add(elm.Line(color=WATER, lw=1).at((x1 - 0.4, low)).to((x1 - 0.4, low - 0.3)))
        self._drawing.add(elm.GroundChassis(color=WATER).at((x1 - 0.4, low - 0.3)))

    def svg(self) -> str:
        """The drawing, with title and summary for those who listen to it."""
        text = self._drawing.get_imagedata("svg").decode("utf-8")
        # the same on every computer, whatever its last digits
        text = re.sub(r"-?\d+\.\d+", lambda found: f"{round(float(found[0]), 2) + 0.0:g}", text)
        head, rest = text.split(">", 1)
        return f"{head}><title>{self._circuit.title}</title>{rest}\n"

    # --- reading it again ---

    def nets(self) -> frozenset[frozenset[tuple[str, str]]]:
        """Which terminals the lines join, as sets of (part, terminal); supply signs stand in as ("rail", net)."""
        return frozenset(group for group in self._groups() if any(ref != "rail" for ref, _ in group))

    def _groups(self) -> Iterator[frozenset[tuple[str, str]]]:
        every = [*self._terminals.items(), *((("rail", net), place) for net, place in self._named)]
        groups: list[_Group] = [({key}, [(place, place)]) for key, place in every]
        groups += [(set(), [wire]) for wire in self._wires]
        joined: list[_Group] = []
        while groups:
            names, lines = groups.pop()
            meeting = next((g for g in groups if _touch(lines, g[1]) or _same_rail(names, g[0])), None)
            if meeting is None:
                joined.append((names, lines))
            else:
                groups.remove(meeting)
                groups.append((names | meeting[0], lines + meeting[1]))
        return (frozenset(names) for names, _ in joined)

    def _keep(self, ref: str, places: Mapping[str, Any]) -> Mapping[str, Place]:
        kept = {name: (round(float(p[0]), 6), round(float(p[1]), 6)) for name, p in places.items()}
        self._terminals |= {(ref, name): place for name, place in kept.items()}
        return kept

    def _words(self, ref: str) -> str:
        value = self._circuit[ref].printed or self._circuit[ref].value
        return f"{ref}\n{value}" if value else ref


def _touch(some: Sequence[tuple[Place, Place]], others: Sequence[tuple[Place, Place]]) -> bool:
    return any(_on(p, line) for a in some for p in a for line in others) or any(
        _on(p, line) for b in others for p in b for line in some
    )


def _on(p: Place, line: tuple[Place, Place]) -> bool:
    (x0, y0), (x1, y1) = line
    length = max(abs(x1 - x0), abs(y1 - y0))
    if length < GRID:
        return abs(p[0] - x0) < GRID and abs(p[1] - y0) < GRID
    share = ((p[0] - x0) * (x1 - x0) + (p[1] - y0) * (y1 - y0)) / ((x1 - x0) ** 2 + (y1 - y0) ** 2)
    near = (x0 + share * (x1 - x0), y0 + share * (y1 - y0))
    return -GRID <= share <= 1 + GRID and abs(p[0] - near[0]) < GRID and abs(p[1] - near[1]) < GRID


def _same_rail(some: set[tuple[str, str]], others: set[tuple[str, str]]) -> bool:
    return any(name[0] == "rail" and name in others for name in some)
