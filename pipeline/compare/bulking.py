"""One cubic metre in three states: in the bank, loose on the truck, compacted in the fill."""

from __future__ import annotations

from typing import Literal, TypeAlias

from pipeline.errors import JobError
from pipeline.model import Floats
from pipeline.settings_earthwork import Bulking

State: TypeAlias = Literal["bank", "loose", "compacted"]


def in_state(volume: Floats | float, of: State, to: State, factors: Bulking) -> Floats | float:
    """A volume measured in one state, in another [m3].

    Cuts are bank, fills are compacted, hauls are loose: that is how the trade
    counts, and half of all disputes about loads are two people counting differently.

    Parameters
    ----------
    volume : float or ndarray
        Cubic metres in the state `of`.
    of, to : "bank", "loose" or "compacted"
    factors : Bulking
        Loose and compacted volume of one cubic metre in the bank.

    Raises
    ------
    JobError
        A factor is not positive.

    References
    ----------
    REF-EW-5 of ``shared/references.toml`` (US Army FM 5-434, Table 1-1, from
    memory): two factors reproduce its whole matrix.

    Examples
    --------
    >>> round(in_state(16.0, "compacted", "loose", Bulking()), 2)
    25.42
    """
    of_bank = {
        "bank": 1.0,
        "loose": factors.loose_per_bank,
        "compacted": factors.compacted_per_bank,
    }
    for state, factor in of_bank.items():
        if not factor > 0:
            raise JobError(
                f"bulking.{state}_per_bank", f"found {factor}", "give a factor greater than zero"
            )
    return volume * (of_bank[to] / of_bank[of])
