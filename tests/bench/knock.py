"""What does a knock against the camera cost in accuracy, and what does watching for knocks cost in time?

    python -m tests.bench.knock PLACE                     # two seeds of each tier, drawn into PLACE if not there yet
    python -m tests.bench.knock PLACE --clips 4 --tier hard
    python -m tests.bench.knock PLACE --without-track     # only the watch itself: much faster

Each simulated run is drawn twice, with a knock and without. For each: the marks that are watched; the pictures in which
the camera stood and is called moved (false), and in which nothing is known; how far the found shift is from the true
one in the picture's middle after the knock; milliseconds of CPU per picture, one thread, for looking at whole pictures
before and after the knock (with putting them back), and for looking at upper rows only, with how many of these asked
for more rows. Then the error of the boat's track before and after the knock (after the time at which it would have
come, where there is none), and how often two standard uncertainties hold the truth after it. Development seeds only.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.recording.folder import Recording, load
from logger.simulator import DEVELOPMENT_SEED, simulate
from logger.simulator.scene import draw
from logger.simulator.tiers import TIERS, TierName
from logger.simulator.wishes import wishes
from logger.vision.film import StoredFilm
from logger.vision.glance import evenly
from logger.vision.track import Track
from logger.vision.tracker import track_boat
from logger.vision.watch.steadiness import Watch, watch
from tests.bench.vision.clips import TIERS as TIER_NAMES
from tests.bench.vision.figures import off_mm, truth_of, two_u_mm

Floats = NDArray[np.float64]
FIRST_SEED = DEVELOPMENT_SEED + 151
UPPER_SHARE = 0.45
KINDS = ("drift", "straight")


@dataclass(frozen=True, slots=True)
class Run:
    """One recording of a pair."""

    tier: TierName
    seed: int
    is_knocked: bool

    @property
    def name(self) -> str:
        return f"{self.tier}-{self.seed}-{'knocked' if self.is_knocked else 'still'}"

    @property
    def kind(self) -> str:
        return KINDS[self.seed % 2]

    def made(self, place: Path) -> Path:
        """Its folder below `place`; drawn only if it is not there."""
        folder = place / self.name
        if not (folder / "truth.json").exists():
            usual = TIERS[self.tier]
            TIERS[self.tier] = replace(usual, bump=float(self.is_knocked))
            try:
                simulate(folder, tier=self.tier, kind=self.kind, seed=self.seed)
            finally:
                TIERS[self.tier] = usual
        return folder

    def shifts_px(self, count: int) -> tuple[float, Floats]:
        """When (s of the scene) the knock comes or would have come, and (N, 2) how far each picture is moved."""
        usual = TIERS[self.tier]
        TIERS[self.tier] = replace(usual, bump=1.0)
        try:
            scene = draw(tier=self.tier, kind=self.kind, seed=self.seed, asked=wishes({}))
        finally:
            TIERS[self.tier] = usual
        assert scene.bump is not None
        middle_s = scene.shutter.begins_ns[:count] / 1e9 + scene.shutter.exposure_ns / 2e9
        moved = np.array([scene.bump.shift_px(float(t)) for t in middle_s])
        return scene.bump.at_s, np.where(self.is_knocked & (middle_s >= scene.bump.at_s)[:, None], moved, 0.0)


def watch_of(recording: Recording, film: StoredFilm) -> Watch | None:
    """The watch that measuring would have."""
    corners = np.array(recording.rig.tank.outline_mm)
    assert recording.view is not None
    water = recording.view.to_pixels(np.column_stack([corners, np.zeros(len(corners))]))
    return watch(dict(film.pictures(evenly(film.count))), water)


def of_watch(run: Run, recording: Recording) -> str:
    """One line on the watch itself."""
    film = StoredFilm(recording)
    whole, upper = watch_of(recording, film), watch_of(recording, film)
    if whole is None or upper is None:
        return "nothing to watch"
    _, true = run.shifts_px(film.count)
    middle, after = np.array([640.0, 360.0]), np.flatnonzero(np.abs(true).max(axis=1) > 1e-3)
    first = after[0] if len(after) else film.count
    cost_s: dict[str, list[float]] = {"before": [], "after": [], "upper": []}
    false, unknown, more, off = 0, 0, 0, []
    for number, picture in film.pictures():
        rows = picture[: round(UPPER_SHARE * len(picture))]
        began_s = time.thread_time()
        more += upper.needs_more(number, rows)
        cost_s["upper"].append(time.thread_time() - began_s)
        upper.look(number, picture)
        began_s = time.thread_time()
        move = whole.look(number, picture)
        whole.put_back(number, picture)
        cost_s["before" if number < first else "after"].append(time.thread_time() - began_s)
        unknown += not move.is_known
        if number >= first and move.is_known:
            off.append(move.at(middle) - true[number])
        false += number < first and move.is_known and not move.is_still
    told = {name: f"{1e3 * np.mean(spent):.3f}" if spent else "-" for name, spent in cost_s.items()}
    apart = f"{np.sqrt(np.mean(np.square(off))):.3f} px rms, most {np.abs(off).max():.2f}" if off else "-"
    return (
        f"false {false}, unknown {unknown} of {film.count}; found to {apart}; ms a picture: before {told['before']}, "
        f"after {told['after']}, upper rows {told['upper']} (more wanted {more})"
    )


def of_track(run: Run, recording: Recording) -> str:
    """One line on the boat's track."""
    facts, true = truth_of(recording.folder)
    track = track_boat(recording, recording.rig)
    if not isinstance(track, Track):
        return f"no track: {track}"
    at_s, _ = run.shifts_px(0)
    start_s = draw(tier=run.tier, kind=run.kind, seed=run.seed, asked=wishes({})).t_ns(0.0)
    knock_ns = start_s + round(at_s * 1e9)
    late_ns = round(recording.rig.camera.delay_s * 1e9) - facts["camera"]["delay_ns"]
    exact = replace(track, t_ns=track.t_ns + late_ns)
    off, two_u = off_mm(exact, true), two_u_mm(exact)
    parts = []
    for word, chosen in (("before", exact.t_ns < knock_ns), ("after", exact.t_ns >= knock_ns)):
        if chosen.any():
            apart = np.hypot(*off[chosen].T)
            held = (np.abs(off[chosen]) < two_u[chosen]).mean()
            parts.append(
                f"{word} {np.sqrt((apart**2).mean()):.2f} mm rms, most {apart.max():.1f}, within 2u {held:.0%}"
            )
    return "; ".join([*parts, *track.flags])


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("place", type=Path)
    parser.add_argument("--clips", type=int, default=2)
    parser.add_argument("--tier", choices=TIER_NAMES)
    parser.add_argument("--without-track", action="store_true")
    wanted = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    for tier in [wanted.tier] if wanted.tier else TIER_NAMES:
        for seed in range(FIRST_SEED, FIRST_SEED + wanted.clips):
            for is_knocked in (True, False):
                run = Run(tier, seed, is_knocked)
                recording = load(run.made(wanted.place))
                print(f"{run.name}: {of_watch(run, recording)}", flush=True)
                if not wanted.without_track:
                    print(f"    track: {of_track(run, recording)}", flush=True)


if __name__ == "__main__":
    main()
