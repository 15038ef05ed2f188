# Skew of y behind x with SciPy: least squares of y(t) = gain * x(t - skew) + offset over all samples of y, x as a cubic spline
# through its own samples. Prints the skew in seconds.
import sys

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

with open(sys.argv[1]) as file:
    tx, x, ty, y = (np.array(line.split(), dtype=float) for line in file)
spline = CubicSpline(tx, x)
inside = (ty > tx[0] + 0.1) & (ty < tx[-1] - 0.1)
ty, y = ty[inside], y[inside]
found = least_squares(lambda p: p[1] * spline(ty - p[0]) + p[2] - y, [0.0, 1.0, 0.0], x_scale=[1e-3, 1.0, 1.0], xtol=1e-14, ftol=1e-14)
print(repr(float(found.x[0])))
