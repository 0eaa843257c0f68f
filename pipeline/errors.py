"""What we refuse, and how it is said.

LathError                 nothing was written; exit code 3
 ├── InputError           a file of shots, control or linework cannot be used
 ├── JobError             the job file or a setting in it cannot be used
 ├── DesignError          alignment, profile, section or design surface
 ├── SurfaceError         no ground surface can be made of these shots
 └── OutputError          the package cannot be written

A single bad row is not an error but a `Finding`: it is listed and the reading
goes on. Every message says which thing, what was found and what to do.
"""

from __future__ import annotations


class LathError(Exception):
    """A refusal that a person can act on.

    Parameters
    ----------
    which : str
        The file, line, point or setting: ``shots.csv line 12, column "N"``.
    found : str
        What stands there: ``found "12,4x", not a number``.
    do : str
        What to do about it: ``correct the row or name the column``.
    """

    exit_code = 3

    def __init__(self, which: str, found: str, do: str) -> None:
        self.which = which
        self.found = found
        self.do = do
        super().__init__(f"{which}: {found}. {do[:1].upper()}{do[1:]}.")


class InputError(LathError):
    """A file of shots, control or linework cannot be used."""


class JobError(LathError):
    """The job file, or a setting in it, cannot be used."""


class DesignError(LathError):
    """The alignment, the profile, a section or a design surface cannot be used."""


class SurfaceError(LathError):
    """No ground surface can be made of these shots."""


class OutputError(LathError):
    """The package cannot be written; what stood there before stands there still."""
