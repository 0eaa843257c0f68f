"""From the morning's shots to the numbers on the lath.

``from pipeline import run_day`` and the other names below come from
`pipeline.notebook`, which is loaded when one of them is first asked for: the import
of the package itself loads nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.notebook import (
        cut_and_fill,
        heights_at,
        job_days,
        layer_surface,
        make_ground,
        read_design,
        read_file,
        run_day,
        write_package,
    )

__version__ = "0.1.0"

__all__ = [
    "__version__",
    "cut_and_fill",
    "heights_at",
    "job_days",
    "layer_surface",
    "make_ground",
    "read_design",
    "read_file",
    "run_day",
    "write_package",
]


def __getattr__(name: str) -> Any:
    if name.startswith("_") or name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from pipeline import notebook

    return getattr(notebook, name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
