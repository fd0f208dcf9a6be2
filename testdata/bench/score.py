#!/usr/bin/python3
"""Baseline of the scoring benchmark: the same work with pandas, numpy and scipy.

Usage: score.py FILE.csv [FILE.csv ...]
Scores all files in one process, on one thread, the way a careful user of these
libraries would write it: read_csv with the C parser, all twelve channels of one
class filtered together by one call of filtfilt, HIC and RIC with one maximum per lag and
one power per lag, the clip by a sliding minimum, the model of DAMAGE by lfilter.
Prints one JSON object: median wall seconds per shot, median processor seconds per
shot, in all and by stage, and the results of the first file.
Needs Debian's python3-pandas and python3-scipy.
"""
import json
import os
import sys
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np
import pandas as pd
from scipy import ndimage, signal

G0 = 9.80665
CLASS = {"ax": 1000, "ay": 1000, "az": 1000, "bx": 1000, "by": 1000, "bz": 1000,
         "wx": 180, "wy": 180, "wz": 180, "gate": 1000, "pressure": 1000, "force": 1000}
BASELINE_S = 0.015


def coefficients(klass, rate):
    wa = np.tan(np.pi * klass * 2.0775 / rate)
    d = 1 + np.sqrt(2) * wa + wa * wa
    a0 = wa * wa / d
    return [a0, 2 * a0, a0], [1, 2 * (wa * wa - 1) / d, (1 - np.sqrt(2) * wa + wa * wa) / d]


def oscillators(rate):
    """DAMAGE as three independent oscillators in transfer-function form."""
    k = np.array([[33778.3, 0, -1636.3], [0, 23493, 0], [-1636.3, 0, 18571.3]])
    stiffness, directions = np.linalg.eigh(k)
    filters = []
    for s in stiffness:
        num, den, _ = signal.cont2discrete(([1.0], [1.0, 5.9148e-3 * s, s]), 1 / rate, method="foh")
        filters.append((num[0], den))
    return directions, filters


def hic(c, rate, longest):
    """One maximum per lag, then one power for all of them."""
    best = np.empty(longest)
    for lag in range(1, longest + 1):
        best[lag - 1] = (c[lag:] - c[:-lag]).max()
    lags = np.arange(1, longest + 1)
    value = (best / lags) ** 2.5 * lags / rate
    return value


def clip_sum(a, duration, rate):
    """Level that is held for a time in total: bisection over the cells near the peak."""
    low = 0.0
    for share in (0.5, 0.25, 0.1):
        if (a > share * a.max()).sum() > duration * rate + 2:
            low = share * a.max()
            break
    near = np.flatnonzero(np.maximum(a[1:], a[:-1]) >= low)
    hi, lo = np.maximum(a[near], a[near + 1]), np.minimum(a[near], a[near + 1])
    width = np.where(hi > lo, hi - lo, 1e-300)
    high = float(hi.max())
    for _ in range(40):
        mid = (low + high) / 2
        if np.clip((hi - mid) / width, 0, 1).sum() >= duration * rate:
            low = mid
        else:
            high = mid
    return low


def crossings(a, peak, low, rate):
    """Times of a level before and after the peak, in seconds after the first sample."""
    below = a <= low
    i = peak - 1 - int(below[:peak][::-1].argmax())
    j = peak + 1 + int(below[peak + 1:].argmax())
    return (i + (low - a[i]) / (a[i + 1] - a[i])) / rate, (j - (low - a[j]) / (a[j - 1] - a[j])) / rate


def dwell(r, level, rate):
    p, q = r[:-1] - level, r[1:] - level
    both = (p > 0) & (q > 0)
    one = (p > 0) != (q > 0)
    return (both.sum() + (np.maximum(p[one], q[one]) / np.abs(p[one] - q[one])).sum()) / rate


def gate_speed(t, v, flag_m):
    half = (np.median(v) + v.max()) / 2
    above = v > half
    edges = np.flatnonzero(above[1:] != above[:-1])
    if len(edges) != 2:
        return None
    at = [t[i] + (half - v[i]) / (v[i + 1] - v[i]) * (t[i + 1] - t[i]) for i in edges]
    return flag_m / (at[1] - at[0])


class Scorer:
    def __init__(self):
        self.filters, self.model, self.clock = {}, None, {}

    def stage(self, name, since):
        now = time.process_time()
        self.clock[name] = self.clock.get(name, 0.0) + now - since
        return now

    def score(self, path):
        self.clock = {}
        begin, since = time.perf_counter(), time.process_time()
        start = since
        frame = pd.read_csv(path, engine="c")
        t = frame["t"].to_numpy()
        raw = {name: frame[name].to_numpy() for name in CLASS}
        rate = round((len(t) - 1) / (t[-1] - t[0]), 6)
        since = self.stage("read", since)
        x = self.filter(raw, rate)
        since = self.stage("filter", since)
        out = {}
        a = np.sqrt(x["ax"] ** 2 + x["ay"] ** 2 + x["az"] ** 2)
        since = self.stage("rest", since)
        c = np.concatenate([[0.0], np.cumsum((a[1:] + a[:-1]) / 2)])
        value = hic(c, rate, int(0.036 * rate + 1e-9))
        out["hic15"] = float(value[:int(0.015 * rate + 1e-9)].max())
        out["hic36"] = float(value.max())
        since = self.stage("hic", since)
        n = int(round(0.003 * rate)) + 1
        out["clip_3ms"] = float(ndimage.minimum_filter1d(a, n)[n // 2:len(a) - n // 2].max())
        since = self.stage("clip", since)
        out["clip_3ms_cumulative"] = clip_sum(a, 0.003, rate)
        self.linear(t, x, a, rate, out)
        self.angular(x, rate, out)
        speed = gate_speed(t, raw["gate"], 0.025)
        if speed:
            out["impact_speed"], out["ram_energy"] = float(speed), float(7.5 * speed ** 2)
        since = self.stage("rest", since)
        return time.perf_counter() - begin, since - start, out

    def filter(self, raw, rate):
        x = {}
        lead = int(round(BASELINE_S * rate))
        for klass in sorted(set(CLASS.values())):
            names = [n for n in CLASS if CLASS[n] == klass]
            key = (klass, rate)
            if key not in self.filters:
                self.filters[key] = coefficients(klass, rate)
            b, a = self.filters[key]
            block = np.stack([raw[n] - raw[n][:lead].mean() for n in names])
            block = signal.filtfilt(b, a, block, axis=1, padtype="odd", padlen=int(round(0.010 * rate)))
            x.update(zip(names, block))
        return x

    def linear(self, t, x, a, rate, out):
        peak = int(a.argmax())
        low = np.flatnonzero(a <= 4)
        before, after = low[low < peak], low[low > peak]
        first = before[-1] if len(before) else 0
        last = after[0] if len(after) else len(a) - 1
        out["peak_linear_acceleration"] = float(a[peak])
        p = a[first:last + 1]
        out["severity_index"] = float(np.trapz(p * p * np.sqrt(p), dx=1 / rate))
        start = t[first] + (4 - a[first]) / (a[first + 1] - a[first]) / rate
        end = t[last - 1] + (a[last - 1] - 4) / (a[last - 1] - a[last]) / rate
        out["impact_duration"] = float(end - start)
        low, middle, high = (crossings(a, peak, share * a[peak], rate) for share in (0.1, 0.5, 0.9))
        out["time_to_peak"] = float(t[peak] - start)
        out["pulse_width_10_percent"], out["pulse_width_50_percent"] = float(low[1] - low[0]), float(middle[1] - middle[0])
        out["rise_rate"] = float(0.8 * a[peak] / (high[0] - low[0]))
        out["dwell_150g"], out["dwell_200g"] = dwell(a, 150, rate), dwell(a, 200, rate)
        v = 0.0
        for n in ("ax", "ay", "az"):
            s = x[n][first:last + 1]
            v = v + np.cumsum((s[1:] + s[:-1]) / 2) ** 2
        out["velocity_change"] = float(G0 / rate * np.sqrt(v.max()))

    def angular(self, x, rate, out):
        w = np.stack([x["wx"], x["wy"], x["wz"]])
        out["peak_angular_velocity"] = float(np.sqrt((w * w).sum(axis=0).max()))
        alpha = np.zeros_like(w)
        alpha[:, 2:-2] = (w[:, :-4] - 8 * w[:, 1:-3] + 8 * w[:, 3:-1] - w[:, 4:]) * (rate / 12)
        size = np.sqrt((alpha * alpha).sum(axis=0))
        out["peak_angular_acceleration"] = float(size.max())
        c = np.concatenate([[0.0], np.cumsum((size[1:] + size[:-1]) / 2)])
        out["ric36"] = float(hic(c, rate, int(0.036 * rate + 1e-9)).max())
        out["bric"] = float(np.sqrt(((np.abs(w).max(axis=1) / [66.25, 56.45, 42.87]) ** 2).sum()))
        out["gambit"] = float(((out["peak_linear_acceleration"] / 250) ** 2.5
                               + (out["peak_angular_acceleration"] / 25000) ** 2.5) ** 0.4)
        out["gambit_b"] = float(np.hypot(out["peak_linear_acceleration"] / 250, out["peak_angular_acceleration"] / 10000))
        if self.model is None or self.model[0] != rate:
            self.model = (rate, *oscillators(rate))
        _, directions, filters = self.model
        drive = np.concatenate([directions.T @ alpha, np.zeros((3, int(0.1 * rate)))], axis=1)
        y = sum(signal.lfilter(b, a, q) ** 2 for q, (b, a) in zip(drive, filters))
        out["damage"] = float(2.9903 * np.sqrt(y.max()))
        out["harm"] = 0.0148 * out["hic15"] + 15.6 * out["damage"]


def main(paths):
    scorer = Scorer()
    for path in paths[:2]:  # warm up
        scorer.score(path)
    wall, cpu, stages, first = [], [], {}, None
    for path in paths:
        seconds, busy, out = scorer.score(path)
        first = first or out
        wall.append(seconds)
        cpu.append(busy)
        for name, s in scorer.clock.items():
            stages.setdefault(name, []).append(s)
    print(json.dumps({"wall": float(np.median(wall)), "cpu": float(np.median(cpu)),
                      "stages": {name: float(np.median(s)) for name, s in stages.items()},
                      "results": first}))


if __name__ == "__main__":
    main(sys.argv[1:])
