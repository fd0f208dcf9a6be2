# Ordinary least squares of v^2 on pressure and strokes, by numpy's lstsq and
# scipy's Student distribution: the coefficient of the strokes, its standard
# error and t quantile; and of the plain line when the pressures are all alike.
import json
import sys

import numpy as np
from scipy import stats

out = []
for c in json.load(sys.stdin):
    p, v, n = (np.array(c[k], dtype=float) for k in ("p", "v", "n"))
    cols = [np.ones_like(n), n] if np.ptp(p) == 0 else [np.ones_like(n), n, p]
    x = np.column_stack(cols)
    y = v * v
    b, _, _, _ = np.linalg.lstsq(x, y, rcond=None)
    df = len(y) - x.shape[1]
    s2 = np.sum((y - x @ b) ** 2) / df
    se = np.sqrt(s2 * np.linalg.inv(x.T @ x)[1, 1])
    out.append({"c": b[1], "se": se, "t": stats.t.ppf(0.975, df), "df": df})
json.dump(out, sys.stdout)
