"""Meshes as files for slicers: binary STL, and 3MF, which knows its unit."""

from __future__ import annotations

import io
import zipfile

import numpy as np
from numpy.typing import NDArray

from hardware.draw.shapes import Floats, Solid, mesh_of

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
_EPOCH = (1980, 1, 1, 0, 0, 0)
"""So that the same model is the same file."""


def stl(solid: Solid) -> bytes:
    """Binary STL, by custom in millimetres."""
    corners, triangles = mesh_of(solid)
    facets = np.zeros(len(triangles), _FACET)
    facets["corners"] = corners[triangles]
    a, b, c = (corners[triangles[:, i]] for i in range(3))
    normals = np.cross(b - a, c - a)
    facets["normal"] = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return b"boatrun mount, millimetres".ljust(80) + np.uint32(len(triangles)).tobytes() + facets.tobytes()


def threemf(solid: Solid, *, name: str) -> bytes:
    """3MF after its core specification 1.3 (3MF Consortium): one object, in millimetres."""
    corners, triangles = mesh_of(solid)
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<model unit="millimeter" xml:lang="en" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f'<resources><object id="1" type="model" name="{name}"><mesh><vertices>{_vertices(corners)}</vertices>'
        f"<triangles>{_triangles(triangles)}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>'
    )
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as package:
        for path, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _RELATIONS), ("3D/3dmodel.model", model)):
            package.writestr(zipfile.ZipInfo(path, _EPOCH), text, zipfile.ZIP_DEFLATED)
    return held.getvalue()


def _vertices(corners: Floats) -> str:
    return "".join(f'<vertex x="{x:.4f}" y="{y:.4f}" z="{z:.4f}"/>' for x, y, z in corners.tolist())


def _triangles(triangles: NDArray[np.int64]) -> str:
    return "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in triangles.tolist())
