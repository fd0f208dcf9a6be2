#!/usr/bin/python3
"""Shock response spectra by scipy.signal.lsim, for comparison.

Reads one JSON object: {"acceleration": [...], "rate_hz": x, "damping_ratio": x,
"frequencies_hz": [...]}. Writes a list of objects, one a frequency: extremes of
absolute acceleration at the samples (primary) and after the end (residual), and of
the relative displacement times the square of the angular frequency.

It shares nothing with the Go code: lsim with a first order hold in SI states, and
for the ringing after the end a fine grid of scipy.linalg.expm steps over one and a
half periods. Needs Debian's python3-scipy.
"""
import json
import sys

import numpy as np
from scipy import linalg, signal


def spectrum(case):
    a = np.concatenate([[0.0], case["acceleration"], [0.0]])
    t = np.arange(len(a)) / case["rate_hz"]
    zeta = case["damping_ratio"]
    out = []
    for f in case["frequencies_hz"]:
        w = 2 * np.pi * f
        m = np.array([[0, 1], [-w * w, -2 * zeta * w]])
        c = np.array([[-w * w, -2 * zeta * w], [w * w, 0]])  # absolute acceleration, static
        _, y, x = signal.lsim(signal.StateSpace(m, [[0], [-1]], c, np.zeros((2, 1))), a, t)
        primary = y[:-1]
        steps = 4000
        turn = linalg.expm(m * 1.5 / f / steps)
        state = x[-1]
        free = np.empty((steps + 1, 2))
        for i in range(steps + 1):
            free[i] = c @ state
            state = turn @ state
        out.append({"primary": [max(0, primary[:, 0].max()), max(0, -primary[:, 0].min())],
                    "residual": [max(0, free[:, 0].max()), max(0, -free[:, 0].min())],
                    "static_primary": [max(0, primary[:, 1].max()), max(0, -primary[:, 1].min())],
                    "static_residual": [max(0, free[:, 1].max()), max(0, -free[:, 1].min())]})
    return out


if __name__ == "__main__":
    json.dump([spectrum(case) for case in json.load(sys.stdin)], sys.stdout)
