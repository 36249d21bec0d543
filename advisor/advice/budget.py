"""How far the finished surface may lie from the drawn one, and what to change where that is too far."""

from __future__ import annotations

from advisor.model import Advice, ErrorBudget

_IN_WORDS = {
    "cusp": "the cusp",
    "facets": "the facets of the model",
    "path": "the path tolerance",
    "bending": "bending of the tool",
}
_REMEDY = {
    "cusp": "take a smaller stepover",
    "facets": "export the model with a finer chord tolerance",
    "path": "program with a finer path tolerance",
    "bending": "shorten the stick-out, take a thicker neck or leave less stock",
}


def error_budget(
    advice: Advice, bending_um: float | None, facets_um: float | None, path_um: float, tolerance_um: float | None
) -> ErrorBudget:
    """The worst-case sum of what is known."""
    parts = {"cusp": advice.cusp_um.max, "facets": facets_um, "path": path_um, "bending": bending_um}
    known = {name: value for name, value in parts.items() if value is not None}
    total = sum(known.values())
    return ErrorBudget(
        cusp_um=advice.cusp_um.max,
        facets_um=facets_um,
        path_um=path_um,
        bending_um=bending_um,
        total_um=total,
        tolerance_um=tolerance_um,
        within=None if tolerance_um is None else total <= tolerance_um,
        largest=max(known, key=lambda name: known[name]),
    )


def budget_words(budget: ErrorBudget) -> str | None:
    """What a machinist must know of the budget: nothing where it is kept, or no tolerance is given."""
    if budget.within is not False:
        return None
    return (
        f"Errors may add up to {budget.total_um:.0f} um against a tolerance of {budget.tolerance_um:.0f} um; the "
        f"largest part is {_IN_WORDS[budget.largest]}: {_REMEDY[budget.largest]}."
    )
