from __future__ import annotations

import pytest

from logger.study.class_folder import Class, read_class
from logger.study.pack.writing import pack
from tests.logger.study.invented_class import write_class


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Class:
    return read_class(write_class(tmp_path_factory.mktemp("class")), name="Room <12>")


@pytest.fixture(scope="session")
def files(whole: Class) -> dict[str, str]:
    return pack(whole, band="4-5")
