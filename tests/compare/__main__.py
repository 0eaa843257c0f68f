"""``python -m tests.compare [STREETS OF EACH KIND] [SEED]``: how often intervals hold the truth."""

import sys

import numpy as np

from tests.compare.conftest import make_surface
from tests.compare.simulated import (
    FIELDS,
    NINETY,
    NINETY_FIVE,
    errors_in_standard_errors,
    held,
    street_of,
)

count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
street = street_of(make_surface, seed=int(sys.argv[2]) if len(sys.argv) > 2 else 5)
print("kind, interval: net, cut, fill, per cent held")
every = []
for name in FIELDS:
    every.append(errors_in_standard_errors(street, name, count))
    for title, either_way in (("90 %", NINETY), ("95 %", NINETY_FIVE)):
        print(name, title, *np.round(100 * held(every[-1], either_way), 1), sep=", ", flush=True)
for title, either_way in (("90 %", NINETY), ("95 %", NINETY_FIVE)):
    found = held(np.concatenate(every, axis=1), either_way)
    print("all", title, *np.round(100 * found, 2), sep=", ")
