#!/usr/bin/python3
"""Reference values for the signals of this folder, from numpy and scipy only.

Usage: reference.py FILE.csv BASELINE_MS [FILE.csv BASELINE_MS ...]
Prints one JSON object: file name -> metric -> value.

It shares nothing with the Go code: the filter runs through
scipy.signal.filtfilt, HIC tries every pair of samples, the clip is found by
bisection on the level, the DAMAGE model is integrated by scipy.signal.lsim.
Needs Debian's python3-scipy.
"""
import json
import sys

import numpy as np
from scipy import signal

G0 = 9.80665


def cfc(x, klass, rate):
    """SAE J211-1 difference equation, both ways, odd padding of 10 ms."""
    wa = np.tan(np.pi * klass * 2.0775 / rate)
    d = 1 + np.sqrt(2) * wa + wa * wa
    a0 = wa * wa / d
    b1, b2 = -2 * (wa * wa - 1) / d, (-1 + np.sqrt(2) * wa - wa * wa) / d
    pad = int(round(0.010 * rate))
    return signal.filtfilt([a0, 2 * a0, a0], [1, -b1, -b2], x, padtype="odd", padlen=pad)


def hic(t, a, window):
    c = np.concatenate([[0], np.cumsum(np.diff(t) * (a[1:] + a[:-1]) / 2)])
    best = (0.0, 0, 0)
    for i in range(len(t) - 1):
        j = np.arange(i + 1, np.searchsorted(t, t[i] + window + 1e-9, side="right"))
        if len(j) == 0:
            continue
        span = t[j] - t[i]
        v = ((c[j] - c[i]) / span) ** 2.5 * span
        k = int(np.argmax(v))
        if v[k] > best[0]:
            best = (float(v[k]), i, int(j[k]))
    return best


def held(t, a, level, duration):
    """True when the straight lines through the samples stay at or above level that long."""
    start = None
    for i in range(len(t) - 1):
        lo, hi = a[i] >= level, a[i + 1] >= level
        if lo and start is None:
            start = t[i]
        if not lo and hi:
            start = t[i] + (level - a[i]) / (a[i + 1] - a[i]) * (t[i + 1] - t[i])
        end = t[i + 1]
        if lo and not hi:
            end = t[i] + (a[i] - level) / (a[i] - a[i + 1]) * (t[i + 1] - t[i])
        if start is not None and end - start >= duration:
            return True
        if not hi:
            start = None
    return False


def clip(t, a, duration):
    lo, hi = 0.0, float(a.max())
    for _ in range(60):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if held(t, a, mid, duration) else (lo, mid)
    return lo


def dwell(t, a, level):
    total = 0.0
    for i in range(len(t) - 1):
        d, p, q = t[i + 1] - t[i], a[i] - level, a[i + 1] - level
        if p > 0 and q > 0:
            total += d
        elif p > 0 or q > 0:
            total += d * max(p, q) / abs(p - q)
    return total


def stencil(x, rate):
    y = np.zeros_like(x)
    y[2:-2] = (x[:-4] - 8 * x[1:-3] + 8 * x[3:-1] - x[4:]) * rate / 12
    for k, weights in ((0, [-25, 48, -36, 16, -3]), (1, [-3, -10, 18, -6, 1])):  # one-sided
        y[k] = np.dot(weights, x[:5]) * rate / 12
        y[-1 - k] = -np.dot(weights, x[:-6:-1]) * rate / 12
    return y


def damage(alpha, rate):
    k = np.array([[33778.3, 0, -1636.3], [0, 23493, 0], [-1636.3, 0, 18571.3]])
    z, one = np.zeros((3, 3)), np.eye(3)
    system = signal.StateSpace(np.block([[z, one], [-k, -5.9148e-3 * k]]), np.vstack([z, one]),
                               np.hstack([one, z]), z)
    drive = np.vstack([alpha, np.zeros((int(0.1 * rate), 3))])
    _, y, _ = signal.lsim(system, drive, np.arange(len(drive)) / rate, interp=True)
    return 2.9903 * float(np.sqrt((y ** 2).sum(axis=1)).max())


def pulse(t, r):
    p = int(np.argmax(r))
    first = p
    while first > 0 and r[first] > 4:
        first -= 1
    last = p
    while last < len(r) - 1 and r[last] > 4:
        last += 1
    start = t[first] + (4 - r[first]) / (r[first + 1] - r[first]) * (t[first + 1] - t[first])
    end = t[last - 1] + (r[last - 1] - 4) / (r[last - 1] - r[last]) * (t[last] - t[last - 1])
    return first, last, start, end


def time_at(t, a, level):
    """Time in which the straight lines are at or above a level."""
    d, hi, lo = np.diff(t), np.maximum(a[1:], a[:-1]), np.minimum(a[1:], a[:-1])
    part = np.where(hi > lo, (hi - level) / np.where(hi > lo, hi - lo, 1), 1)
    return float((d * np.clip(part, 0, 1) * (hi >= level)).sum())


def clip_sum(t, a, duration):
    lo, hi = 0.0, float(a.max())
    for _ in range(60):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if time_at(t, a, mid) >= duration else (lo, mid)
    return lo


def crossings(t, r, share):
    """Crossings of a share of the peak next to it; NaN where there is none."""
    p, level = int(np.argmax(r)), share * r.max()
    below = np.flatnonzero(r <= level)
    i, j = below[below < p], below[below > p]
    up = np.interp(level, r[i[-1]:i[-1] + 2], t[i[-1]:i[-1] + 2]) if len(i) else np.nan
    down = np.interp(-level, -r[j[0] - 1:j[0] + 1], t[j[0] - 1:j[0] + 1]) if len(j) else np.nan
    return up, down


def shape_metrics(t, r, start, out):
    low, middle, high = (crossings(t, r, s) for s in (0.1, 0.5, 0.9))
    out["time_to_peak"] = float(t[int(np.argmax(r))] - start)
    out["pulse_width_10_percent"] = float(low[1] - low[0])
    out["pulse_width_50_percent"] = float(middle[1] - middle[0])
    out["rise_rate"] = float(0.8 * r.max() / (high[0] - low[0]))


def linear_metrics(t, axes, r, out):
    first, last, start, end = pulse(t, r)
    out["peak_linear_acceleration"] = float(r.max())
    out["severity_index"] = float(np.trapz(r[first:last + 1] ** 2.5, t[first:last + 1]))
    out["impact_duration"] = float(end - start)
    out["hic15"] = hic(t, r, 0.015)[0]
    out["hic36"] = hic(t, r, 0.036)[0]
    out["clip_3ms"] = clip(t, r, 0.003)
    out["clip_3ms_cumulative"] = clip_sum(t, r, 0.003)
    shape_metrics(t, r, start, out)
    out["dwell_150g"] = dwell(t, r, 150)
    out["dwell_200g"] = dwell(t, r, 200)
    s = slice(first, last + 1)
    steps = np.diff(t[s])[:, None] * (axes[s][1:] + axes[s][:-1]) / 2
    out["velocity_change"] = G0 * float(np.sqrt((np.cumsum(steps, axis=0) ** 2).sum(axis=1)).max())


def angular_metrics(w, rate, out):
    alpha = np.column_stack([stencil(c, rate) for c in w.T])
    peaks = np.abs(w).max(axis=0)
    out["peak_angular_velocity"] = float(np.sqrt((w ** 2).sum(axis=1)).max())
    out["peak_angular_acceleration"] = float(np.sqrt((alpha ** 2).sum(axis=1)).max())
    out["bric"] = float(np.sqrt(((peaks / [66.25, 56.45, 42.87]) ** 2).sum()))
    out["damage"] = damage(alpha, rate)
    out["gambit"] = float(((out["peak_linear_acceleration"] / 250) ** 2.5
                           + (out["peak_angular_acceleration"] / 25000) ** 2.5) ** 0.4)
    out["gambit_b"] = float(np.hypot(out["peak_linear_acceleration"] / 250, out["peak_angular_acceleration"] / 10000))
    out["ric36"] = hic(np.arange(len(w)) / rate, np.sqrt((alpha ** 2).sum(axis=1)), 0.036)[0]
    out["harm"] = 0.0148 * out["hic15"] + 15.6 * out["damage"]


def score(path, baseline_ms):
    data = np.genfromtxt(path, delimiter=",", skip_header=1)
    out = {}
    if data.shape[1] == 2:  # uneven, one axis, milliseconds: average repeats, no filter
        t = np.unique(data[:, 0])
        a = np.array([data[data[:, 0] == s, 1].mean() for s in t])
        linear_metrics(t / 1000, a[:, None], np.abs(a), out)
        return out
    t = data[:, 0]
    rate = (len(t) - 1) / (t[-1] - t[0])
    data = data - data[:int(round(baseline_ms / 1000 * rate))].mean(axis=0)
    axes = np.column_stack([cfc(c, 1000, rate) for c in data[:, 1:4].T])
    rates = np.column_stack([cfc(c, 180, rate) for c in data[:, 4:7].T])
    linear_metrics(t, axes, np.sqrt((axes ** 2).sum(axis=1)), out)
    angular_metrics(rates, rate, out)
    return out


if __name__ == "__main__":
    arguments = sys.argv[1:]
    print(json.dumps({path.rsplit("/", 1)[-1]: score(path, float(ms))
                      for path, ms in zip(arguments[::2], arguments[1::2])}, indent=1))
