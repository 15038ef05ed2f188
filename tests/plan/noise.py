"""Reads samples, one a line; prints their standard deviation, and the power per hertz at a bandwidth over that near zero.

Arguments: samples a second, bandwidth (Hz). scipy.signal.welch.
"""
import sys

import numpy as np
from scipy.signal import welch

rate, bandwidth = float(sys.argv[1]), float(sys.argv[2])
x = np.loadtxt(sys.stdin)
f, power = welch(x, fs=rate, nperseg=int(40 * rate / bandwidth))


def mean(low, high):
    return power[(f >= low * bandwidth) & (f <= high * bandwidth)].mean()


print(x.std(), mean(0.9, 1.1) / mean(0.05, 0.15))
