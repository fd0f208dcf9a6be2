#!/usr/bin/python3
"""Resampling by scipy: reads {"t", "v", "at"} as JSON, prints the values of
scipy.interpolate.PchipInterpolator at those times. Needs Debian's python3-scipy."""
import json
import sys

from scipy.interpolate import PchipInterpolator

case = json.load(sys.stdin)
json.dump(PchipInterpolator(case["t"], case["v"])(case["at"]).tolist(), sys.stdout)
