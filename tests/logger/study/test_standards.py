from __future__ import annotations

import re

from logger.study.standards import standards


def test_codes_are_written_as_the_standards_write_them() -> None:
    """The form of NGSS codes: grade or band, then topic, then number (nextgenscience.org)."""
    form = re.compile(r"(K-2|3-5|MS|[K1-5])-(ETS1|PS[1-4])(-[1-9])")
    for band in ("2-3", "4-5", "6-8"):
        found = standards(band)
        assert found
        for one in found:
            assert form.fullmatch(one.code), one.code
            assert one.words.endswith(".")
            assert one.served_by


def test_each_band_has_codes_of_its_own_age() -> None:
    assert all(one.code.startswith("MS") for one in standards("6-8"))
    assert not any(one.code.startswith("MS") for band in ("2-3", "4-5") for one in standards(band))
