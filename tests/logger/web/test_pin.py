from __future__ import annotations

import hashlib
import stat
from pathlib import Path

import pytest

from logger.errors import ConfigError, InputError
from logger.web import pin as pins
from logger.web.pin import FIRST_WAIT_NS, FREE_TRIES, MOST_TRIES, Attempts, complaint, read_pin, set_pin
from tests.logger.web.conftest import Clock


def test_scrypt_here_is_the_one_of_its_standard() -> None:
    """RFC 7914, section 12, third test vector."""
    found = hashlib.scrypt(b"pleaseletmein", salt=b"SodiumChloride", n=16384, r=8, p=1, dklen=64, maxmem=2**26)
    assert found.hex().startswith("7023bdcb3afd7348461c06cd81fd38eb")


def test_the_pin_is_kept_hashed_and_for_its_owner_alone(tmp_path: Path) -> None:
    path = set_pin(tmp_path / "rig.toml", "seagull7")
    assert "seagull7" not in path.read_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    pin = read_pin(tmp_path / "rig.toml")
    assert pin is not None
    assert pin.is_right("seagull7")
    assert not pin.is_right("seagull8")
    assert not pin.is_right("")
    salt = pin.salt
    set_pin(tmp_path / "rig.toml", "seagull7")
    again = read_pin(tmp_path / "rig.toml")
    assert again is not None
    assert again.salt != salt, "the same PIN twice must not look the same"
    assert [path.name for path in tmp_path.iterdir()] == ["pin.toml"]


def test_in_a_folder_of_a_group_the_group_may_read_it_as_its_service_must(tmp_path: Path) -> None:
    tmp_path.chmod(0o2770)
    assert stat.S_IMODE(set_pin(tmp_path / "rig.toml", "seagull7").stat().st_mode) == 0o640


def test_without_a_pin_there_is_none_and_no_default(tmp_path: Path) -> None:
    assert read_pin(tmp_path / "rig.toml") is None


@pytest.mark.parametrize(
    "poor", ["", "12345", "111111", "123456", "654321", "abcdef", " seagull", "sea\ngull", "x" * 65]
)
def test_poor_pins_are_refused(poor: str, tmp_path: Path) -> None:
    assert complaint(poor)
    with pytest.raises(InputError, match="boatrun serve --set-pin: found"):
        set_pin(tmp_path / "rig.toml", poor)
    assert not (tmp_path / "pin.toml").exists()


@pytest.mark.parametrize(
    "text", ['format = "boatrun-pin/1"\nsalt = "zz"\nhash = "00"\n', 'format = "boatrun-pin/9"\nsalt = ""\nhash = ""\n']
)
def test_a_damaged_file_is_an_error_and_not_an_open_door(text: str, tmp_path: Path) -> None:
    (tmp_path / "pin.toml").write_text(text)
    with pytest.raises(ConfigError, match="anew"):
        read_pin(tmp_path / "rig.toml")


def test_an_address_waits_longer_and_longer_and_others_do_not() -> None:
    clock = Clock()
    attempts = Attempts(clock)
    for _ in range(FREE_TRIES - 1):
        attempts.wrong("a")
    assert attempts.wait_s("a") == 0
    attempts.wrong("a")
    assert attempts.wait_s("a") == 60
    assert attempts.wait_s("b") == 0
    clock.now_ns += FIRST_WAIT_NS
    assert attempts.wait_s("a") == 0
    attempts.wrong("a")
    assert attempts.wait_s("a") == 120
    for _ in range(30):
        attempts.wrong("a")
    assert attempts.wait_s("a") == 3600
    attempts.right("a")
    assert attempts.wait_s("a") == 0


def test_after_a_hundred_in_a_row_nobody_may_try() -> None:
    """NIST SP 800-63B, 5.2.2: no more than 100 consecutive failed attempts."""
    attempts = Attempts(Clock())
    for number in range(MOST_TRIES - 1):
        attempts.wrong(f"address {number}")
    assert not attempts.is_closed
    attempts.wrong("one more")
    assert attempts.is_closed
    assert pins.MOST_TRIES == 100
