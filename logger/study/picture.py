"""One run as a single SVG file that stands alone: the map above, the two graphs below it.

`boatrun demo` writes one as picture.svg; example.svg beside this module is such a file, for the README.
"""

from __future__ import annotations

from importlib.resources import files

from logger.study import graphs, pathmap, svg
from logger.study.leaf import Run, graphs_of, map_of

_GAP = 24.0


def picture(run: Run) -> str:
    """An SVG document of `run` with its own styles; shown as an image it needs nothing else."""
    css = files("logger.study").joinpath("drawing.css").read_text(encoding="utf-8").partition("@media")[0]
    chart = pathmap.chart_of(run.rig)
    scale = (pathmap.WIDTH - _GAP) / (2 * graphs.WIDTH)
    drawn = graphs_of(run, "picture")
    below = graphs.HEIGHT * scale if drawn else 0.0
    height = chart.height_px + below + 2 * _GAP
    parts = [_placed(map_of(run, "picture"), _GAP, _GAP / 2, pathmap.WIDTH, chart.height_px)]
    for i, graph in enumerate(drawn):
        left = _GAP + i * (graphs.WIDTH * scale + _GAP)
        parts.append(_placed(graph, left, chart.height_px + _GAP, graphs.WIDTH * scale, below))
    width = pathmap.WIDTH + 2 * _GAP
    return svg.picture(
        width,
        height,
        f"<style>{css}</style>",
        svg.tag("rect", x=0, y=0, width=width, height=height, fill="#eef6f7"),
        *parts,
        title=f"{run.card.boat.name}: the run as map and graphs",
        summary="The path map of the run above; distance against time and speed against time below.",
        key="whole",
    )


def _placed(drawing: str, x: float, y: float, width: float, height: float) -> str:
    """A drawing inside another one, at a place and in a size."""
    place = " ".join(f'{k}="{svg.number(v)}"' for k, v in (("x", x), ("y", y), ("width", width), ("height", height)))
    return drawing.replace("<svg ", f"<svg {place} ", 1)
