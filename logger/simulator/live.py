"""The simulated tank for a live driver: the same run, record by record, on any clock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from logger import settings
from logger.config import Rig, RunCard
from logger.records import Edge, Frame, Key
from logger.simulator import gates, told, truth
from logger.simulator.scene import Scene, draw
from logger.simulator.tiers import TierName
from logger.simulator.wishes import wishes
from logger.simulator.write import jpegs, stamps_ns, write


class SimulatedTank:
    """One simulated run, told as records in order of their stamps.

    The stamps are the ones that `simulate` writes for the same arguments, moved so that the recording begins at
    `begins_ns`. Nothing here waits: whoever asks keeps the time.
    """

    def __init__(
        self,
        *,
        tier: TierName = "easy",
        kind: str = "drift",
        seed: int,
        begins_ns: int | None = None,
        source: str = "simulated",
        **asked: Any,
    ) -> None:
        """Draw the run.

        Args:
            tier: easy, realistic or hard.
            kind: drift or straight.
            seed: same seed, same run.
            begins_ns: the clock's reading when it begins; None: as in the written recording.
            source: the name that the records carry.
            asked: what is fixed instead of drawn, the fields of `logger.simulator.wishes.Wishes`.
        """
        scene = draw(tier=tier, kind=kind, seed=seed, asked=wishes(asked))
        self._scene: Scene = scene if begins_ns is None else replace(scene, epoch_ns=begins_ns)
        self._source = source

    @property
    def rig(self) -> Rig:
        """The rig file's contents."""
        return told.rig(self._scene)

    @property
    def card(self) -> RunCard:
        """The run's card."""
        return told.card(self._scene)

    @property
    def camera_text(self) -> str:
        """The camera file's contents."""
        return settings.dump(told.camera_table(self._scene))

    @property
    def begins_ns(self) -> int:
        """The clock's reading when the run's recording begins."""
        return self._scene.epoch_ns

    @property
    def ends_ns(self) -> int:
        """The clock's reading when the run's recording ends."""
        return self._scene.t_ns(self._scene.length_s)

    @property
    def truth(self) -> dict[str, Any]:
        """As truth.json."""
        return truth.summary(self._scene)

    def frames(self) -> Iterator[Frame]:
        """Every picture, decoded from its own JPEG as a camera's would be."""
        shutter = self._scene.shutter
        told_by_camera = zip(shutter.sequence.tolist(), stamps_ns(self._scene), jpegs(self._scene), strict=True)
        for number, t_ns, packed in told_by_camera:
            image = np.asarray(cv2.imdecode(np.frombuffer(packed, np.uint8), cv2.IMREAD_COLOR), np.uint8)
            image.setflags(write=False)
            yield Frame(
                t_ns, image, number, self._source, exposure_ns=shutter.exposure_ns, line_ns=shutter.line_ns, jpeg=packed
            )

    def edges(self) -> Iterator[Edge]:
        """Every edge of every gate."""
        for edge in gates.edges(self._scene):
            yield replace(edge, source=self._source)

    def pressed(self) -> Iterator[Key]:
        """What the person at the panel pressed: arm, go."""
        yield Key(self._scene.t_ns(self._scene.armed_s), "arm", self._source)
        yield Key(self._scene.t_ns(self._scene.voyage.go_s), "go", self._source)

    def write(self, folder: Path) -> None:
        """The same run as a recording folder with its truth. InputError if the folder is not empty."""
        write(self._scene, folder)
