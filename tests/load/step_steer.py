# A step of the road wheels at constant speed, by SciPy from the equations of docs/load-model.md: prints time, yaw rate,
# lateral acceleration, front slip and the front tyres' moment (pneumatic and mechanical trail) at each time given.
#   step_steer.py PARAMETERS(name=value ...) TIMES...
import sys

import numpy as np
from scipy.integrate import solve_ivp

named = dict(w.split("=") for w in sys.argv[1:] if "=" in w)
p = {k: float(v) for k, v in named.items()}
times = [float(w) for w in sys.argv[1:] if "=" not in w]
wheelbase = p["a"] + p["b"]
weight = p["mass"] * 9.80665
load = {"f": weight * p["b"] / wheelbase, "r": weight * p["a"] / wheelbase}
stiffness = {"f": p["front"], "r": p["rear"]}


def tyre(axle, slip):
    peak = p["friction"] * p["grip"] * load[axle]
    u = stiffness[axle] * abs(slip) / (3 * peak)
    if u >= 1:
        return np.sign(slip) * peak, 0.0
    # The force and the moment of the brush model, each on its own; the trail is their ratio.
    force = peak * (3 * u - 3 * u**2 + u**3)
    moment = 3 * peak * u * (1 - u) ** 3
    return np.sign(slip) * force, np.sign(slip) * p["pneumatic"] * moment


def forces(state):
    _, _, front, rear = state
    return tyre("f", front), tyre("r", rear)


def rates(_, state):
    v, r, front, rear = state
    (ff, _), (fr, _) = forces(state)
    angle, u = p["angle"], p["speed"]
    hub = v + p["a"] * r
    across = hub * np.cos(angle) - u * np.sin(angle)
    along = u * np.cos(angle) + hub * np.sin(angle)
    return [
        (ff * np.cos(angle) + fr) / p["mass"] - u * r,
        (p["a"] * ff * np.cos(angle) - p["b"] * fr) / p["inertia"],
        (-across - abs(along) * front) / p["length"],
        (-(v - p["b"] * r) - abs(u) * rear) / p["length"],
    ]


answer = solve_ivp(rates, (0, max(times)), [0, 0, 0, 0], t_eval=times, rtol=1e-9, atol=1e-12, method="LSODA")
assert answer.success, answer.message
for t, state in zip(answer.t, answer.y.T):
    (ff, moment), (fr, _) = forces(state)
    print(t, state[1], (ff * np.cos(p["angle"]) + fr) / p["mass"], state[2], moment + p["mechanical"] * ff)
