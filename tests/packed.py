"""The packed numbers of the phone page, read once more, byte by byte as they are documented."""

from __future__ import annotations

import base64


def unpacked(coded: dict[str, object]) -> list[int]:
    """Whole numbers: differences, seven bits a byte, the sign in the lowest bit."""
    values, last, number, weight = [], 0, 0, 1
    for byte in base64.b64decode(str(coded["bytes"])):
        number += (byte & 127) * weight
        weight *= 128
        if byte < 128:
            last += -(number + 1) // 2 if number % 2 else number // 2
            values.append(last)
            number, weight = 0, 1
    assert len(values) == coded["count"]
    return values
