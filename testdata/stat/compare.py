"""Checks comparisons of samples with scipy.

Reads cases as JSON from standard input, writes results as JSON to standard
output. Needs `apt-get install python3-scipy`.
"""
import json
import sys

import numpy as np
from scipy import optimize, special, stats


def welch(a, b, level):
    a, b = np.array(a), np.array(b)
    t, p = stats.ttest_ind(a, b, equal_var=False)
    va, vb = a.var(ddof=1) / len(a), b.var(ddof=1) / len(b)
    df = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    half = stats.t.ppf(0.5 + level / 2, df) * (va + vb) ** 0.5
    difference = a.mean() - b.mean()

    m = len(a) + len(b) - 2
    pooled = (((len(a) - 1) * a.var(ddof=1) + (len(b) - 1) * b.var(ddof=1)) / m) ** 0.5
    factor = special.gamma(m / 2) / ((m / 2) ** 0.5 * special.gamma((m - 1) / 2))
    scale = (1 / len(a) + 1 / len(b)) ** 0.5
    d = difference / pooled

    def parameter(prob):
        centre = d / scale
        reach = 12 + abs(centre)
        return optimize.brentq(lambda u: stats.nct.cdf(centre, m, u) - prob, centre - reach, centre + reach, xtol=1e-12)

    return {"t": t, "p": p, "df": df, "low": difference - half, "high": difference + half, "g": factor * d,
            "g_low": scale * parameter(0.5 + level / 2), "g_high": scale * parameter(0.5 - level / 2)}


def binomial(successes, trials, share, level):
    r = stats.binomtest(int(successes), int(trials), share)
    ci = r.proportion_ci(level, "exact")
    return {"p": r.pvalue, "low": ci.low, "high": ci.high}


def spread(samples, method, level):
    """Mean and standard deviation of the ends of bootstrap intervals of the
    (difference of) standard deviations, over ten seeds."""
    def statistic(*args, axis=-1):
        sd = [np.std(v, axis=axis, ddof=1) for v in args]
        return sd[0] if len(sd) == 1 else sd[0] - sd[1]

    ends = []
    for seed in range(10):
        r = stats.bootstrap(samples, statistic, n_resamples=4000, confidence_level=level, method=method,
                            vectorized=True, random_state=seed)
        ends.append(list(r.confidence_interval))
    ends = np.array(ends)
    return {"mean": list(ends.mean(axis=0)), "sd": list(ends.std(axis=0, ddof=1))}


def main():
    cases = json.load(sys.stdin)
    json.dump({
        "welch": [welch(c["a"], c["b"], c["level"]) for c in cases["welch"]],
        "binomial": [binomial(*c) for c in cases["binomial"]],
        "bootstrap": [{m: spread(s, m, 0.9) for m in ("percentile", "BCa")} for s in cases["bootstrap"]],
    }, sys.stdout)


if __name__ == "__main__":
    main()
