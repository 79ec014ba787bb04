"""Files hold the mesh: read by an independent library, and by the formats' own words."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
import zipfile

import numpy as np
import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")
trimesh = pytest.importorskip("trimesh", reason="trimesh is not installed: pip install '.[test]'")

from hardware.draw.mesh_files import stl, threemf
from hardware.draw.mounts import MOUNTS

SOLID = MOUNTS["straw_holder"].make()
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


def test_an_stl_is_read_by_an_independent_library() -> None:
    read = trimesh.load_mesh(io.BytesIO(stl(SOLID)), file_type="stl")
    assert read.is_watertight
    assert read.volume == pytest.approx(SOLID.volume(), rel=1e-5)
    assert np.abs(read.bounds.ravel() - SOLID.bounding_box()).max() < 1e-4


def test_an_stl_has_the_length_that_its_head_says() -> None:
    """Binary STL: 80 bytes, a count, 50 bytes a facet; it must not begin like the other kind, with 'solid'."""
    data = stl(SOLID)
    assert len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")
    assert not data.startswith(b"solid")


def test_a_3mf_has_the_parts_and_the_mesh_that_its_specification_wants() -> None:
    """3MF core specification 1.3: content types, a relation to the model, a unit, a closed mesh, an item to build."""
    package = zipfile.ZipFile(io.BytesIO(threemf(SOLID, name="straw_holder")))
    assert set(package.namelist()) == {"[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"}
    relation = ET.fromstring(package.read("_rels/.rels"))[0]
    assert relation.attrib["Target"] == "/3D/3dmodel.model"
    model = ET.fromstring(package.read("3D/3dmodel.model"))
    assert model.attrib["unit"] == "millimeter"
    corners = [[float(v.attrib[a]) for a in "xyz"] for v in model.iter(f"{CORE}vertex")]
    triangles = [[int(t.attrib[k]) for k in ("v1", "v2", "v3")] for t in model.iter(f"{CORE}triangle")]
    mesh = trimesh.Trimesh(corners, triangles, process=False)
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(SOLID.volume(), rel=1e-4)
    item = model.find(f"{CORE}build/{CORE}item")
    kept = model.find(f"{CORE}resources/{CORE}object")
    assert item is not None
    assert kept is not None
    assert item.attrib["objectid"] == kept.attrib["id"]


def test_the_same_model_is_the_same_file() -> None:
    assert threemf(SOLID, name="a") == threemf(MOUNTS["straw_holder"].make(), name="a")
