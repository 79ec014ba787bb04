from __future__ import annotations

import pytest

from logger.study.class_folder import Class, read_class
from tests.logger.study.invented_class import write_class


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Class:
    return read_class(write_class(tmp_path_factory.mktemp("class")), name="Room 12")
