"""The elements of circular and spiral curves, and how far apart points on a curve may be."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.design.element import in_frame
from pipeline.errors import DesignError


@dataclass(frozen=True, slots=True)
class CircularCurve:
    """What a circular curve measures, all in the unit of its radius.

    ``tangent`` from the PI to either end, ``length`` along the arc, ``chord``
    between its ends, ``middle_ordinate`` from the chord to the arc, ``external``
    from the arc to the PI.
    """

    tangent: float
    length: float
    chord: float
    middle_ordinate: float
    external: float


@dataclass(frozen=True, slots=True)
class SpiralCurve:
    """What a circular curve with an equal spiral at each end measures.

    ``theta`` is the turn of one spiral [rad], (``x``, ``y``) its end from its
    start, along and square to the tangent; ``shift`` (p) how far the arc moves in
    and ``lead`` (k) how far its own tangent point lies from the spiral's start;
    ``tangent`` (Ts) from the PI to the spiral's start, ``external`` (Es) from the
    PI to the arc, ``arc_length`` of the arc left between the spirals.
    """

    theta: float
    x: float
    y: float
    shift: float
    lead: float
    tangent: float
    external: float
    arc_length: float


def circular_curve(radius: float, deflection: float) -> CircularCurve:
    r"""The elements of a circular curve.

    Parameters
    ----------
    radius : float
        Radius, greater than zero, any unit of length.
    deflection : float
        Angle between the tangents [rad], between 0 and π.

    Raises
    ------
    DesignError
        The radius or the angle is outside its range.

    Notes
    -----
    :math:`T = R\tan\Delta/2`, :math:`L = R\Delta`, :math:`LC = 2R\sin\Delta/2`,
    :math:`M = R(1-\cos\Delta/2)`, :math:`E = R(\sec\Delta/2 - 1)`; M and E by half
    angles, so a flat curve keeps its digits.

    References
    ----------
    Checked against the ``horizontal curve`` entries of ``shared/references.toml``.

    Examples
    --------
    A 9 m curb return at a square corner:

    >>> curve = circular_curve(9.0, math.pi / 2)
    >>> round(curve.tangent, 3), round(curve.length, 3)
    (9.0, 14.137)
    """
    _check_curve(radius, deflection)
    half = 0.5 * deflection
    middle = 2.0 * radius * math.sin(0.5 * half) ** 2
    return CircularCurve(
        tangent=radius * math.tan(half),
        length=radius * deflection,
        chord=2.0 * radius * math.sin(half),
        middle_ordinate=middle,
        external=middle / math.cos(half),
    )


def spiral_curve(radius: float, spiral_length: float, deflection: float) -> SpiralCurve:
    r"""The elements of a circular curve with an equal clothoid at each end.

    Parameters
    ----------
    radius : float
        Radius of the arc, greater than zero.
    spiral_length : float
        Length of each spiral, greater than zero, same unit.
    deflection : float
        Angle between the main tangents [rad], between 0 and π.

    Raises
    ------
    DesignError
        An argument is outside its range, or the spirals turn more than the whole curve.

    Notes
    -----
    :math:`\theta = L/2R`; x and y of the exact clothoid;
    :math:`p = y - R(1-\cos\theta)`, :math:`k = x - R\sin\theta`,
    :math:`T_s = (R+p)\tan\Delta/2 + k`, :math:`E_s = (R+p)\sec\Delta/2 - R`.

    References
    ----------
    Checked against the ``spiral`` entries of ``shared/references.toml``.
    """
    _check_curve(radius, deflection)
    if not 0.0 < spiral_length < math.inf:
        raise DesignError("spiral", f"its length is {spiral_length}", "give a length above zero")
    theta = 0.5 * spiral_length / radius
    if 2.0 * theta > deflection:
        raise DesignError(
            "spiral",
            f"two spirals turn {math.degrees(2 * theta):.4f}°, the whole curve only"
            f" {math.degrees(deflection):.4f}°",
            "shorten the spirals or take a larger radius",
        )
    along, across, _ = in_frame(spiral_length, 0.0, 1.0 / (radius * spiral_length))
    x, y = float(along), float(across)
    shift = y - 2.0 * radius * math.sin(0.5 * theta) ** 2
    lead = x - radius * math.sin(theta)
    return SpiralCurve(
        theta=theta,
        x=x,
        y=y,
        shift=shift,
        lead=lead,
        tangent=(radius + shift) * math.tan(0.5 * deflection) + lead,
        external=(radius + shift) / math.cos(0.5 * deflection) - radius,
        arc_length=radius * (deflection - 2.0 * theta),
    )


def _check_curve(radius: float, deflection: float) -> None:
    if not 0.0 < radius < math.inf:
        raise DesignError("curve", f"its radius is {radius}", "give a radius above zero")
    if not 0.0 < deflection < math.pi:
        raise DesignError(
            "curve",
            f"its deflection is {math.degrees(deflection):.4f}°",
            "give an angle between 0 and 180°",
        )


def chord_step(radius: float, sagitta: float) -> float:
    """Longest step along an arc whose chord stays within `sagitta` of it, all in one unit.

    Notes
    -----
    ``s = sqrt(8 R m)``, the parabola of the middle ordinate. Measured along the
    arc it is on the safe side: the true sagitta is smaller by at most ``m² / 6R``.

    Examples
    --------
    >>> round(chord_step(9.0, 0.005), 3)
    0.6
    """
    return math.sqrt(8.0 * radius * sagitta)


def profile_step(k_m_per_percent: float, sagitta: float) -> float:
    """Longest straight on a vertical curve of `k_m_per_percent` that stays within `sagitta` [m].

    Notes
    -----
    ``s = sqrt(800 K m)``, exact for a parabola: its radius at the vertex is 100 K.

    Examples
    --------
    On K = 10 m/% a 20 m spacing hides 50 mm, 10 m hides 12.5 mm:

    >>> round(profile_step(10.0, 0.050), 9), round(profile_step(10.0, 0.0125), 9)
    (20.0, 10.0)
    """
    return math.sqrt(800.0 * k_m_per_percent * sagitta)
