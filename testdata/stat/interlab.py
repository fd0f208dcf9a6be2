"""Checks interlaboratory statistics with scipy.

Reads cases as JSON from standard input, writes results as JSON to standard
output. Needs `apt-get install python3-scipy`.
"""
import json
import os
import re
import sys

import numpy as np
import scipy.stats.tests
from scipy import optimize, stats


def critical(p, n, alpha):
    """Critical values by Student's t and Snedecor's F."""
    out = {}
    df = n - 1
    f = stats.f.isf(alpha, df, (p - 1) * df)
    out["k"] = (p / (1 + (p - 1) / f)) ** 0.5
    f = stats.f.isf(alpha / p, df, (p - 1) * df)
    out["cochran"] = 1 / (1 + (p - 1) / f)
    if p > 2:
        t = stats.t.isf(alpha / 2, p - 2)
        out["h"] = (p - 1) * t / (p * (t * t + p - 2)) ** 0.5
        t = stats.t.isf(alpha / (2 * p), p - 2)
        out["grubbs"] = (p - 1) / p**0.5 * (t * t / (p - 2 + t * t)) ** 0.5
    return out


def algorithm_a(values, mad, scale):
    """The fixed point of algorithm A by a general root finder."""
    x = np.array(values, float)

    def equations(u):
        drawn = np.clip(x, u[0] - 1.5 * u[1], u[0] + 1.5 * u[1])
        return [drawn.mean() - u[0], scale * drawn.std(ddof=1) - u[1]]

    start = [np.median(x), mad * np.median(np.abs(x - np.median(x)))]
    root = optimize.root(equations, start, tol=1e-13)
    return list(root.x)


def constants():
    """What the factors of algorithm A are rounded from."""
    c = 1.5
    inner = stats.norm.expect(lambda v: v * v, lb=-c, ub=c)
    variance = inner + 2 * c * c * stats.norm.sf(c)
    return {"mad": 1 / stats.norm.ppf(0.75), "scale": variance**-0.5}


def certified():
    """NIST Statistical Reference Datasets as Debian's scipy carries them."""
    folder = os.path.join(os.path.dirname(scipy.stats.tests.__file__), "data", "nist_anova")
    sets = []
    for name in sorted(os.listdir(folder)):
        with open(os.path.join(folder, name)) as f:
            lines = f.read().splitlines()
        first, last = map(int, re.search(r"Data\s+\(lines (\d+) to (\d+)\)", "\n".join(lines)).groups())
        groups = {}
        for line in lines[first - 1 : last]:
            group, value = line.split()
            groups.setdefault(int(group), []).append(float(value))
        between = next(line for line in lines if line.startswith("Between")).split()
        within = next(line for line in lines if line.startswith("Within")).split()
        sets.append({"name": name, "groups": list(groups.values()),
                     "between": float(between[-2]), "within": float(within[-1]), "f": float(between[-1])})
    return sets


def main():
    cases = json.load(sys.stdin)
    growth = stats.linregress(np.log(cases["means"]), np.log(cases["sds"]))
    half = stats.t.ppf(0.975, len(cases["means"]) - 2) * growth.stderr
    f, p = zip(*[stats.f_oneway(*groups) for groups in cases["groups"]])
    json.dump({
        "critical": [critical(int(p), int(n), alpha) for p, n, alpha in cases["critical"]],
        "robust": [algorithm_a(values, 1.483, 1.134) for values in cases["robust"]],
        "constants": constants(),
        "growth": {"c": growth.slope, "low": growth.slope - half, "high": growth.slope + half},
        "f": f, "p": p,
        "strd": certified(),
    }, sys.stdout)


if __name__ == "__main__":
    main()
