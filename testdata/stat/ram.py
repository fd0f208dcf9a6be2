"""Average run lengths of control charts by integral equations, and a straight
line by scipy.

Reads cases as JSON from standard input, writes results as JSON to standard
output. Needs `apt-get install python3-scipy`.
"""
import json
import sys

import numpy as np
from scipy import stats


def ewma(lam, limit, shift, points=120):
    """Two-sided, fixed limits, from the target on: Gauss-Legendre collocation
    of the integral equation of Crowder, Technometrics 29 (1987) 401-407."""
    h = limit * (lam / (2 - lam)) ** 0.5
    x, w = np.polynomial.legendre.leggauss(points)
    x, w = h * x, h * w

    def kernel(z):
        return w * stats.norm.pdf((x[None, :] - (1 - lam) * z[:, None]) / lam - shift) / lam

    arl = np.linalg.solve(np.eye(points) - kernel(x), np.ones(points))
    return 1 + (kernel(np.zeros(1)) @ arl)[0]


def one_sided(k, h, shift, starts, points=120):
    """Upper CUSUM; the unknowns are the run lengths at the nodes and at zero."""
    x, w = np.polynomial.legendre.leggauss(points)
    x, w = h / 2 * (x + 1), h / 2 * w
    z = np.append(x, 0.0)

    def kernel(z):
        inner = w * stats.norm.pdf(x[None, :] - z[:, None] + k - shift)
        return np.hstack([inner, stats.norm.cdf(k - z - shift)[:, None]])

    arl = np.linalg.solve(np.eye(points + 1) - kernel(z), np.ones(points + 1))
    return 1 + kernel(np.array(starts)) @ arl


def cusum(k, h, shift, head):
    """Two-sided from two one-sided charts (Lucas and Crosier 1982)."""
    up, up_head = one_sided(k, h, shift, [0.0, head])
    down, down_head = one_sided(k, h, -shift, [0.0, head])
    return (up_head * down + down_head * up - up * down) / (up + down)


def main():
    cases = json.load(sys.stdin)
    line = stats.linregress(cases["x"], cases["y"])
    n = len(cases["x"])
    json.dump({
        "ewma": [[ewma(lam, limit, s) for s in cases["shifts"]] for lam, limit in cases["ewma"]],
        "cusum": [[cusum(k, h, s, head) for s in cases["shifts"]] for k, h, head in cases["cusum"]],
        "line": {"a": line.intercept, "b": line.slope, "b_se": line.stderr, "t": stats.t.ppf(0.975, n - 2)},
    }, sys.stdout)


if __name__ == "__main__":
    main()
