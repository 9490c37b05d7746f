"""GLB: the chopped car as named, coloured parts, for a viewer on a phone or a desktop.

glTF is in metres, right-handed, y up, and the front of a thing looks along +z.
From the car's frame (mm; x to the rear, y to the car's right, z up)::

    glTF x = −y / 1000      glTF y = z / 1000      glTF z = −x / 1000

which is a rotation (its determinant is +1) and a scale.  It is the matrix of
the root node; below it every part is a node of its own with the plan's move as
its matrix and its points in mm where they are on the uncut car, as in the STEP
file.  Colours in glTF are linear light, so that of a screen (sRGB) is undone:
c / 12.92 up to 0.04045, ((c + 0.055) / 1.055)^2.4 above.

Source: Khronos glTF 2.0 specification, sections 3.4 (coordinates and units)
and 3.9.2 (colours); IEC 61966-2-1 for sRGB; both from memory.
"""

from __future__ import annotations

import numpy as np
import pygltflib as gltf

from ..built import Built
from ..files import write_bytes_atomically
from ..moves import IDENTITY
from ..namedparts import named_parts
from ..piececolours import part_rgba

FROM_CAR = np.array([[0, -1, 0, 0], [0, 0, 1, 0], [-1, 0, 0, 0], [0, 0, 0, 1000]]) / 1000
CAUTION = "A plan to look at, not an engineering approval: local codes and licensed practice decide."
_ROUGH = {"pane": 0.05}  # how matt; assumed, for the look only


def glb_bytes(built: Built) -> bytes:
    """Return a plan as a GLB file; without roof and window, the stock car."""
    file = gltf.GLTF2(
        asset=gltf.Asset(version="2.0", generator="Plumbdrop", extras={"caution": CAUTION}), scene=0
    )
    blob, materials = bytearray(), {}
    parts = named_parts(built)
    for number, part in enumerate(parts):
        colour = part_rgba(part.kind, part.carrier)
        if (part.kind, colour) not in materials:
            materials[part.kind, colour] = len(file.materials)
            file.materials.append(_material(part.kind, part.carrier, colour))
        point = _accessor(file, blob, np.float32(part.point_mm), gltf.VEC3, gltf.ARRAY_BUFFER)
        normal = _accessor(file, blob, _unit(np.float32(part.normal)), gltf.VEC3, gltf.ARRAY_BUFFER)
        index = np.uint32(part.triangles).reshape(-1, 1)
        corners = _accessor(file, blob, index, gltf.SCALAR, gltf.ELEMENT_ARRAY_BUFFER)
        primitive = gltf.Primitive(
            attributes=gltf.Attributes(POSITION=point, NORMAL=normal),
            indices=corners,
            material=materials[part.kind, colour],
        )
        file.meshes.append(gltf.Mesh(name=part.name, primitives=[primitive]))
        node = gltf.Node(name=part.name, mesh=number)
        if part.move is not IDENTITY:
            node.matrix = _column_major(part.move.matrix())
        file.nodes.append(node)
    state = "chopped" if built.plan.roof or built.plan.window else "stock"
    root = gltf.Node(
        name=f"{built.shape.car.name} ({state})",
        children=list(range(len(parts))),
        matrix=_column_major(FROM_CAR),
    )
    file.nodes.append(root)
    file.scenes.append(gltf.Scene(name=root.name, nodes=[len(parts)]))
    file.buffers.append(gltf.Buffer(byteLength=len(blob)))
    file.set_binary_blob(bytes(blob))
    return b"".join(file.save_to_bytes())


def write_glb(built: Built, path) -> None:
    """Write a plan as a GLB file, all or nothing.

    Raises
    ------
    FileRefused
        If it cannot be written there.
    """
    write_bytes_atomically(path, glb_bytes(built))


def linear_of(srgb: float) -> float:
    """Return the linear light of a colour on a screen, both from 0 to 1.

    Examples
    --------
    >>> round(linear_of(0.5), 4)
    0.214
    """
    return srgb / 12.92 if srgb <= 0.04045 else ((srgb + 0.055) / 1.055) ** 2.4


def _material(kind, carrier, colour):
    *rgb, opacity = colour
    finish = gltf.PbrMetallicRoughness(
        baseColorFactor=[*map(linear_of, rgb), opacity],
        metallicFactor=0.0,
        roughnessFactor=_ROUGH.get(kind, 0.6),
    )
    return gltf.Material(
        name=f"{kind}, {carrier}" if kind in ("metal", "post") else kind,
        pbrMetallicRoughness=finish,
        alphaMode=gltf.BLEND if opacity < 1 else gltf.OPAQUE,
        alphaCutoff=None,
        doubleSided=True,  # a sheet is seen from both sides
    )


def _accessor(file, blob, array, kind, target):
    """Add an array to the binary part and return its number."""
    is_index = target == gltf.ELEMENT_ARRAY_BUFFER
    view = gltf.BufferView(buffer=0, byteOffset=len(blob), byteLength=array.nbytes, target=target)
    blob += array.tobytes()  # of 4-byte numbers each, so that every offset is a multiple of 4
    file.bufferViews.append(view)
    file.accessors.append(
        gltf.Accessor(
            bufferView=len(file.bufferViews) - 1,
            componentType=gltf.UNSIGNED_INT if is_index else gltf.FLOAT,
            count=len(array),
            type=kind,
            min=array.min(axis=0).tolist(),
            max=array.max(axis=0).tolist(),
        )
    )
    return len(file.accessors) - 1


def _unit(vectors):
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


def _column_major(matrix):
    return matrix.T.ravel().tolist()
