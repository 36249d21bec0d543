"""Run in a process of its own: a STEP model becomes a binary STL in mm, with names and a word of any fault beside it.

``python step_child.py FILE FOLDER CHORD_MM`` writes ``facets.stl`` and ``told.json`` in the folder.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

# Between the normals at the ends of a facet's side: bends smaller than this tells are rounder than the chord asks for.
_MOST_TURN_RAD: Final = 0.2
# Facets of a named face among which the one in its middle is looked for.
_MOST_LOOKED_AT: Final = 500
# What some programs write in place of no name.
_NO_NAME: Final = "NONE"
_KINDS: Final = {"Plane": "plane", "Cylinder": "cylinder", "Cone": "cone", "Sphere": "sphere", "Torus": "torus"}


def main(file: str, folder: str, chord_mm: str) -> None:
    """Read, cut into facets, write."""
    try:
        told = _told(file, Path(folder) / "facets.stl", float(chord_mm))
    except ImportError as fault:  # the library is there, and something of the system that it needs is not
        told = {"lacks": str(fault)}
    (Path(folder) / "told.json").write_text(json.dumps(told), encoding="utf-8")


def _told(file: str, out: Path, chord_mm: float) -> dict[str, Any]:
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPControl import STEPControl_Reader
    from OCP.StlAPI import StlAPI_Writer
    from OCP.TopAbs import TopAbs_ShapeEnum

    reader = STEPControl_Reader()
    if reader.ReadFile(file) != IFSelect_ReturnStatus.IFSelect_RetDone:
        return {"fault": "damaged"}
    reader.TransferRoots()
    shape = reader.OneShape()
    faces = [] if shape.IsNull() else list(_parts(shape, TopAbs_ShapeEnum.TopAbs_FACE))
    if not faces:
        return {"fault": "it holds no surfaces"}
    BRepMesh_IncrementalMesh(shape, chord_mm, False, _MOST_TURN_RAD, True)
    writer = StlAPI_Writer()
    writer.ASCIIMode = False
    if not writer.Write(shape, str(out)):
        return {"fault": "its surfaces cannot be cut into facets"}
    named = [(name, face) for face in faces if (name := _name(reader, face))]
    bodies = [_name(reader, body) for body in _parts(shape, TopAbs_ShapeEnum.TopAbs_SOLID)]
    return {
        "fault": "", "face_count": len(faces), "bodies": [name for name in bodies if name],
        "faces": [_face(*each) for each in named],
    }  # fmt: skip


def _parts(shape: Any, kind: Any) -> Iterator[Any]:
    """Faces or bodies of a shape, each once."""
    from OCP.TopExp import TopExp_Explorer

    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def _name(reader: Any, shape: Any) -> str:
    """The name that the file gives an item; empty where it gives none."""
    item = reader.WS().TransferReader().EntityFromShapeResult(shape, 1)
    name = item.Name() if item is not None and hasattr(item, "Name") else None
    words = "" if name is None else str(name.ToCString()).strip()
    return "" if words.upper() == _NO_NAME else words


def _face(name: str, shape: Any) -> dict[str, Any]:
    """A face with its kind, area, and a point on it: the middle of a facet near its own middle."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    face = TopoDS.Face(shape)
    sums = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, sums)
    kind = str(BRepAdaptor_Surface(face).GetType()).rpartition("_")[2]
    place = TopLoc_Location()
    facets = BRep_Tool.Triangulation_s(face, place)
    middle = sums.CentreOfMass()
    count = facets.NbTriangles()
    few = range(1, count + 1, max(1, count // _MOST_LOOKED_AT))
    points = [_middle(facets, number).Transformed(place.Transformation()) for number in few]
    point = min(points, key=lambda point: point.SquareDistance(middle))
    return {
        "name": name,
        "kind": _KINDS.get(kind, "free"),
        "area_mm2": sums.Mass(),
        "point_mm": [point.X(), point.Y(), point.Z()],
    }


def _middle(facets: Any, number: int) -> Any:
    from OCP.gp import gp_Pnt

    corners = [facets.Node(node) for node in facets.Triangle(number).Get()]
    return gp_Pnt(*(sum(getattr(corner, axis)() for corner in corners) / 3 for axis in "XYZ"))


if __name__ == "__main__":
    main(*sys.argv[1:])
