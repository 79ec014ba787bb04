"""When each fix is true: the stamp of its picture brought to its own row."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.recording.folder import FrameStamps

Floats = NDArray[np.float64]

_LEAST_STEP = 0.1


def times_ns(stamps: FrameStamps, rig: Rig, numbers: NDArray[np.int64], rows_px: Floats) -> NDArray[np.int64]:
    """(N,) mid-exposure of picture rows (N,) in the pictures `numbers` (N,), less the camera's delay."""
    delay_ns = 0 if rig.camera is None else round(rig.camera.delay_s * 1e9)
    late = rows_px * stamps.line_ns[numbers] + stamps.exposure_ns[numbers] / 2
    times: NDArray[np.int64] = stamps.t_ns[numbers] + np.round(late).astype(np.int64) - delay_ns
    return times


def forwards(t_ns: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Where each time is clearly after the last such one: by a tenth of the usual step.

    Stamps of pictures always go forwards; but where some lie closer together than a picture takes from its first row to
    its last (a camera stamped on arrival, after a pause), times at the boat's own row may not. And two places at nearly
    the same moment say nothing of a motion, but leave no digits of how well it is known.
    """
    kept = np.zeros(len(t_ns), bool)
    least_ns = _LEAST_STEP * (int(t_ns.max()) - int(t_ns.min())) / len(t_ns) if len(t_ns) else 0.0
    next_ns = -np.inf
    for i, each_ns in enumerate(t_ns.tolist()):
        if each_ns > next_ns:
            kept[i] = True
            next_ns = each_ns + least_ns
    return kept
