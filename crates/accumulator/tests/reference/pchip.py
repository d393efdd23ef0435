#!/usr/bin/env python3
"""Writes pchip.txt: what SciPy's PchipInterpolator makes of some monotone curves.

Needs SciPy (PyPI, BSD licence); made with 1.17.1. SciPy's documentation names the source of its slopes: F. N. Fritsch
and J. Butland, SIAM J. Sci. Comput. 5(2), 300-304 (1984). Run: python3 pchip.py > pchip.txt
"""

import random

from scipy.interpolate import PchipInterpolator

CURVES = [
    [(0, -1), (300, 0), (600, 1)],
    [(0, -1), (320, 0), (580, 1)],
    [(0, -1), (200, -0.4), (450, 0), (1080, 1)],
    [(0, -1), (100, -0.9), (250, -0.3), (300, 0), (400, 0.25), (600, 1)],
    [(0, 0), (30, 0.1), (90, 1)],
    [(0, -1), (30, -0.1), (90, 0)],
    [(0, -1), (90, 0)],
    # Flat at the ends and about neutral.
    [(0, -1), (50, -1), (100, -0.5), (140, 0), (150, 0), (160, 0), (200, 0.5), (250, 1), (300, 1)],
    [(0, -1), (150, 0), (151, 0.99), (300, 1)],
    # The end's three-point formula would fall here, so it is cut to 0.
    [(0, -1), (10, -0.999), (20, -0.5), (60, 0), (99, 0.001), (100, 1)],
]


def main():
    chance = random.Random(1980)
    curves = list(CURVES)
    for _ in range(30):
        inner = chance.randint(0, 5)
        xs = sorted(chance.uniform(1, 579) for _ in range(inner * 2))
        below = sorted(chance.uniform(-1, 0) for _ in range(inner))
        above = sorted(chance.uniform(0, 1) for _ in range(inner))
        neutral = chance.uniform(xs[inner - 1], xs[inner]) if inner else chance.uniform(1, 579)
        curves.append([(0, -1), *zip(xs[:inner], below), (neutral, 0), *zip(xs[inner:], above), (580, 1)])
    print("# From PchipInterpolator of SciPy by pchip.py. A curve's points, then places and outputs on it.")
    for points in curves:
        xs, ys = zip(*points)
        curve = PchipInterpolator(xs, ys)
        places = [xs[0] + (xs[-1] - xs[0]) * part / 40 for part in range(41)]
        print("curve " + " ".join(f"{x!r}:{y!r}" for x, y in points))
        print("at " + " ".join(f"{place!r}:{float(curve(place))!r}" for place in places))


main()
