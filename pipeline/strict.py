"""What every table of settings shares."""

from __future__ import annotations

from typing import Annotated, ClassVar

from annotated_types import Ge, Gt, Len


class Settings:
    """What every table of settings shares: nothing unknown, nothing coerced, nothing infinite."""

    __slots__ = ()
    __pydantic_config__: ClassVar[dict[str, object]] = {
        "strict": True,
        "extra": "forbid",
        "allow_inf_nan": False,
    }


Name = Annotated[str, Len(1, 80)]
Positive = Annotated[float, Gt(0)]
NotNegative = Annotated[float, Ge(0)]
