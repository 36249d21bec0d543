"""Kernels that are compiled once, whether the arrays they only read can be written or not.

A compiler of types tells arrays that can be written from those that cannot, and would compile a kernel for each.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np

_Kernel = TypeVar("_Kernel")


def reads(*places: int) -> Callable[[_Kernel], _Kernel]:
    """Makes the arrays at these places of a kernel's arguments read-only on the way in.

    For kernels that Python calls: other kernels call the compiled one, ``kernel.compiled``.
    """

    def around(given_kernel: _Kernel) -> _Kernel:
        kernel = cast(Any, given_kernel)

        def call(*given: Any) -> Any:
            told = list(given)
            for place in places:
                told[place] = _locked(told[place])
            return kernel(*told)

        call.__name__, call.__doc__, call.__module__ = kernel.__name__, kernel.__doc__, kernel.__module__
        call.compiled = kernel  # type: ignore[attr-defined]
        return cast(_Kernel, call)

    return around


def _locked(array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    if not array.flags.writeable:
        return array
    view = array.view()
    view.flags.writeable = False
    return view
