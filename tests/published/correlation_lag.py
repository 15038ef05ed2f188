# Lag of y behind x with SciPy: product sums from scipy.signal.correlate, each divided by the spread of the stretch of x that
# it covers, largest magnitude, parabola through it and its neighbours. Prints the lag in samples.
import sys

import numpy as np
from scipy.signal import correlate

with open(sys.argv[1]) as file:
    lead, least, most = (int(v) for v in file.readline().split())
    x = np.array(file.readline().split(), dtype=float)
    y = np.array(file.readline().split(), dtype=float)
products = correlate(x, y - y.mean(), mode="valid", method="direct")  # products[j]: y against x[j : j + len(y)]
lags = lead - np.arange(len(products))
windows = np.lib.stride_tricks.sliding_window_view(x, len(y))
coefficient = products / (windows.std(axis=1) * y.std() * len(y))
keep = (lags >= least) & (lags <= most)
order = np.argsort(lags[keep])
lags, size = lags[keep][order], np.abs(coefficient[keep][order])
peak = int(np.argmax(size))
before, at, after = size[peak - 1 : peak + 2]
print(repr(float(lags[peak] + 0.5 * (before - after) / (before - 2 * at + after))))
