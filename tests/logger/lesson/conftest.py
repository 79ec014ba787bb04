from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.logger.lesson.lessons import OPENED


@pytest.fixture(autouse=True)
def closed() -> Iterator[None]:
    yield
    while OPENED:
        OPENED.pop().close()
