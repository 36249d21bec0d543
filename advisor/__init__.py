"""advisor: from a part model to finishing zones and advice for ball-nose cutters.

>>> import advisor
>>> part = advisor.read_part("meshes/fruit_cup_tool.stl")           # doctest: +SKIP
>>> plan = advisor.plan(part, ball="10 mm", cusp="0.005 mm")        # doctest: +SKIP
>>> [(zone.id, zone.slope_class, zone.advice.strategy) for zone in plan.zones]   # doctest: +SKIP
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from advisor.advice.session import Session
    from advisor.advice.what_if_records import WhatIf
    from advisor.errors import InputError
    from advisor.intake.door import session
    from advisor.intake.read import read_part
    from advisor.job import Job
    from advisor.model import Plan
    from advisor.notebook.door import compare, plan, read_plan, what_if

__all__ = [
    "InputError",
    "Job",
    "Plan",
    "Session",
    "WhatIf",
    "compare",
    "plan",
    "read_part",
    "read_plan",
    "session",
    "what_if",
]

_HOMES = {
    "InputError": "advisor.errors",
    "Job": "advisor.job",
    "Plan": "advisor.model",
    "Session": "advisor.advice.session",
    "WhatIf": "advisor.advice.what_if_records",
    "compare": "advisor.notebook.door",
    "plan": "advisor.notebook.door",
    "read_part": "advisor.intake.read",
    "read_plan": "advisor.notebook.door",
    "session": "advisor.intake.door",
    "what_if": "advisor.notebook.door",
}


def __getattr__(name: str) -> Any:
    # public names load on first use: `advisor --help` must not wait for numba
    import importlib

    if name not in _HOMES:
        raise AttributeError(f"module 'advisor' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)
