# The line below all pairs that comes nearest to them in sum, by SciPy's linear programming: for each file named, device
# time and receipt a line in seconds; prints the receipt that the line gives for the last device time.
import sys

import numpy as np
from scipy.optimize import linprog

for name in sys.argv[1:]:
    x, y = np.loadtxt(name, unpack=True)
    origin, last = x[0], x[-1]
    dx, dy = x - origin, (y - x) - (y[0] - origin)
    scale = 1e6  # microseconds, so that the solver's tolerances are far below what matters
    result = linprog(
        c=[-len(dx), -dx.sum()],
        A_ub=np.column_stack([np.ones_like(dx), dx]),
        b_ub=dy * scale,
        bounds=[(None, None), (None, None)],
        method="highs",
    )
    assert result.success, result.message
    height, slope = result.x / scale
    print("%.9f" % (last + (y[0] - origin) + height + slope * (last - origin)))
