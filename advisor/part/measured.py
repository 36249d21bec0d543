"""A part ready to be planned: its clean mesh and what the plan records of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor import tolerances
from advisor.model import Part
from advisor.part.curvature import Curvature, curvature
from advisor.part.heal import HealedMesh
from advisor.part.mesh import Mesh
from advisor.part.smooth import SmoothSurface, smooth_surface
from advisor.words import plain_number

# An open sheet with more than this share of its area facing away from the spindle shows its back.
_BACK_SHARE = 0.9


@dataclass(frozen=True)
class MeasuredPart:
    """A clean mesh in mm, with its record."""

    mesh: Mesh
    record: Part

    @cached_property
    def smooth(self) -> SmoothSurface:
        """The smooth surface behind the facets."""
        return smooth_surface(self.mesh)

    @cached_property
    def bends(self) -> Curvature:
        """Its curvatures."""
        return curvature(self.mesh, self.smooth)


def measure_part(
    healed: HealedMesh,
    *,
    name: str,
    file: str,
    sha256: str,
    unit: str,
    unit_assumed: bool,
    notes: tuple[str, ...] = (),
) -> MeasuredPart:
    """Record of a mended mesh; `notes` are warnings of the reading that came before."""
    mesh = healed.mesh
    x, y, z = (float(size) for size in mesh.size_mm)
    smallest_mm = tolerances.SMALL_WITHOUT_UNIT_MM if unit_assumed else tolerances.SMALL_PART_MM
    record = Part(
        name=name,
        file=file,
        sha256=sha256,
        facets=len(mesh.faces),
        vertices=len(mesh.vertices),
        bodies=healed.bodies,
        watertight=mesh.is_closed,
        size_mm=(x, y, z),
        area_mm2=float(mesh.area_mm2.sum()),
        volume_mm3=mesh.volume_mm3 if mesh.is_closed else None,
        unit=unit,
        unit_assumed=unit_assumed,
        repairs=healed.repairs,
        chord_error_um=None,
        warnings=(*notes, *healed.warnings, *_size_warnings(max(x, y, z), smallest_mm, unit)),
    )
    return MeasuredPart(mesh, record)


def looks_inside_out(mesh: Mesh, axis: tuple[float, float, float]) -> bool:
    """Whether an open mesh was most likely exported with its facets wound the wrong way.

    A sheet has no inside to tell its right side by; one that a tool along `axis` (unit vector, part to spindle)
    would find facing away nearly everywhere was meant to be cut on its other side.
    """
    if not mesh.open_edges:
        return False
    away = mesh.normal @ np.asarray(axis) < -math.sin(math.radians(tolerances.IDLE_LEAN_DEG))
    return bool(mesh.area_mm2[away].sum() > _BACK_SHARE * mesh.area_mm2.sum())


def _size_warnings(largest_mm: float, smallest_mm: float, unit: str) -> tuple[str, ...]:
    if smallest_mm <= largest_mm <= tolerances.LARGE_PART_MM:
        return ()
    others = " or ".join(f"--unit {other}" for other in ("mm", "inch", "m") if other != unit)
    return (
        f"the part is {plain_number(largest_mm)} mm long when its unit is taken as {unit}: if that looks wrong, plan "
        f"it again with {others}",
    )
