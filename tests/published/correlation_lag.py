# Lag of y behind x with SciPy: product sums from scipy.signal.correlate, each divided by the spread of the stretch of x that
# it covers, largest magnitude. The fraction: parabola through the peak and its neighbours (flank = 1), or the maximum of a
# fourth-degree polynomial through all around the peak that are at least `flank` of its height. Prints the lag in samples.
import sys

import numpy as np
from scipy.signal import correlate

with open(sys.argv[1]) as file:
    lead, least, most, flank = file.readline().split()
    lead, least, most, flank = int(lead), int(least), int(most), float(flank)
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
if flank == 1.0:
    before, at, after = size[peak - 1 : peak + 2]
    lag = lags[peak] + 0.5 * (before - after) / (before - 2 * at + after)
else:
    begin = end = peak
    while begin > 0 and size[begin - 1] >= flank * size[peak]:
        begin -= 1
    while end + 1 < len(size) and size[end + 1] >= flank * size[peak]:
        end += 1
    fit = np.polynomial.Polynomial.fit(lags[begin : end + 1], size[begin : end + 1], 4)
    roots = fit.deriv().roots()
    real = roots[np.isreal(roots)].real
    inside = real[(real >= lags[begin]) & (real <= lags[end])]
    lag = inside[np.argmax(fit(inside))]
print(repr(float(lag)))
