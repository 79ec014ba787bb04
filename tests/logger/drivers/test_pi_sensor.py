"""The time of a row from a sensor's settings, against figures of sensors and of the kernel's header."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.drivers import pi_sensor
from logger.drivers.pi_sensor import HBLANK, PIXEL_RATE, line_ns

HEADER = Path("/usr/include/linux/videodev2.h")


def sensors(folder: Path, **names: str) -> Path:
    for entry, name in names.items():
        (folder / entry.replace("_", "-")).mkdir()
        (folder / entry.replace("_", "-") / "name").write_text(name + "\n")
    return folder


def told(values: dict[str, dict[int, int]]) -> Callable[[str, int], int | None]:
    return lambda node, number: values.get(node, {}).get(number)


@pytest.mark.parametrize(
    ("model", "mode_px", "blank_px", "rate_hz", "row_us"),
    [
        # from memory: IMX219 has 3448 pixel clocks in a row at 182.4 MHz in its 1640 x 1232 mode
        ("imx219", 1640, 1808, 182_400_000, 18.904),
        # from memory: OV5647 has 1852 in its 1296 x 972 mode at 81.667 MHz
        ("ov5647", 1296, 556, 81_666_700, 22.678),
    ],
)
def test_a_row_takes_its_pixels_and_its_pause(
    tmp_path: Path, model: str, mode_px: int, blank_px: int, rate_hz: int, row_us: float
) -> None:
    listed = sensors(tmp_path, v4l_subdev0="unicam", v4l_subdev3=f"{model} 10-0010")
    ask = told({"/dev/v4l-subdev3": {HBLANK: blank_px, PIXEL_RATE: rate_hz}})
    assert line_ns(model, mode_px, subdevices=listed, ask=ask) == pytest.approx(row_us * 1000, abs=1)


def test_another_sensor_is_not_asked(tmp_path: Path) -> None:
    listed = sensors(tmp_path, v4l_subdev0="imx477 10-001a")
    ask = told({"/dev/v4l-subdev0": {HBLANK: 100, PIXEL_RATE: 1_000_000}})
    assert line_ns("imx219", 1640, subdevices=listed, ask=ask) is None


def test_a_sensor_that_does_not_tell_is_not_guessed(tmp_path: Path) -> None:
    listed = sensors(tmp_path, v4l_subdev0="imx219 10-0010")
    assert line_ns("imx219", 1640, subdevices=listed, ask=told({})) is None
    assert line_ns("imx219", 1640, subdevices=tmp_path / "nothing") is None


def test_what_is_no_sensor_tells_nothing(tmp_path: Path) -> None:
    assert pi_sensor.ask("/dev/zero", HBLANK) is None
    assert pi_sensor.ask(str(tmp_path / "nothing"), HBLANK) is None


@pytest.mark.skipif(
    shutil.which("cc") is None or not HEADER.is_file(), reason="needs a C compiler and the kernel's headers"
)
def test_every_number_and_layout_is_that_of_the_kernels_header(tmp_path: Path) -> None:
    numbers = {
        "VIDIOC_G_EXT_CTRLS": pi_sensor.G_EXT_CTRLS,
        "sizeof(struct v4l2_ext_controls)": pi_sensor.EXT_CONTROLS_BYTES,
        "sizeof(struct v4l2_ext_control)": pi_sensor.EXT_CONTROL_BYTES,
        "offsetof(struct v4l2_ext_controls, count)": 4,
        "offsetof(struct v4l2_ext_controls, controls)": 24,
        "offsetof(struct v4l2_ext_control, value64)": 12,
        "V4L2_CID_HBLANK": HBLANK,
        "V4L2_CID_PIXEL_RATE": PIXEL_RATE,
    }
    prints = "\n".join(f'printf("%lu\\n", (unsigned long)({name}));' for name in numbers)
    source = tmp_path / "numbers.c"
    source.write_text(
        "#include <stddef.h>\n#include <stdio.h>\n#include <linux/videodev2.h>\n"
        f"int main(void) {{ {prints} return 0; }}\n"
    )
    subprocess.run(["cc", "-o", tmp_path / "numbers", source], check=True)
    said = subprocess.run([tmp_path / "numbers"], capture_output=True, text=True, check=True).stdout.split()
    assert dict(zip(numbers, map(int, said), strict=True)) == numbers
