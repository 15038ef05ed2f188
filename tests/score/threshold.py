"""Prints the profile likelihood interval of a logistic threshold by SciPy: arguments are degrees of freedom, then tries as value:survived."""
import sys

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import t

tries = [a.split(":") for a in sys.argv[2:]]
value = np.array([float(v) for v, _ in tries])
sign = np.array([1.0 if int(s) else -1.0 for _, s in tries])


def at(threshold):
    cost = lambda width: np.logaddexp(0.0, -sign * (threshold - value) / np.exp(width)).sum()
    return -min(minimize_scalar(cost, bounds=(a, a + 2.0), method="bounded").fun for a in (-4.0, -2.0, 0.0, 2.0))


peak = minimize_scalar(lambda x: -at(x), bounds=(value.min(), value.max()), method="bounded")
least = -peak.fun - 0.5 * t.ppf(0.975, float(sys.argv[1])) ** 2
low = brentq(lambda x: at(x) - least, value.min() - 5.0, peak.x)
high = brentq(lambda x: at(x) - least, peak.x, value.max() + 5.0)
print(peak.x, low, high)
