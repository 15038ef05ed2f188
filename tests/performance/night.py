"""The estimates of the benchmark's plan by NumPy and h5py, as one would write them down: intervals of every measured signal
over the whole night, and delay, rise and overshoot of every step. Prints JSON."""
import json
import sys

import h5py
import numpy as np


def intervals(t_ns):
    between = np.diff(t_ns)
    low, median, high = np.percentile(between, [1, 50, 99])
    return {"interval": median * 1e-6, "jitter": 0.5e-6 * (high - low), "longest": between.max() * 1e-6,
            "gaps": int(np.count_nonzero(between > 1.5 * median))}


def crossing(t, z, share):
    i = int(np.argmax(z >= share))
    return t[i - 1] + (share - z[i - 1]) / (z[i] - z[i - 1]) * (t[i] - t[i - 1])


def transition(t, y, begin, end, quiet):
    first = y[(t >= begin - quiet) & (t < begin)].mean()
    last = y[t >= end - quiet].mean()
    return (y - first) / (last - first)


def main(path, steps):
    out = {"intervals": {}, "steps": {}}
    with h5py.File(path) as run:
        for name, signal in run["signals"].items():
            if signal.attrs["direction"] in (b"read", "read"):
                out["intervals"][name] = intervals(signal["t_ns"][:])
        names, begins, ends, complete = (run["spans"][c][:] for c in ("step", "from_ns", "to_ns", "complete"))
        found = {}
        hand, road = run["signals/hand.angle"], run["signals/road.angle"]
        th, h, tr, r = hand["t_ns"][:], hand["value"][:], road["t_ns"][:], road["value"][:]
        delay = (int(road.attrs["delay_ns"]) - int(hand.attrs["delay_ns"])) * 1e-6
        quiet = 100_000_000
        for name, begin, end, whole in zip(names, begins, ends, complete):
            step = name.decode()
            if step not in steps or not whole:
                continue
            i, j = np.searchsorted(th, [begin - quiet, end])
            k, l = np.searchsorted(tr, [begin - quiet, end])
            zh = transition(th[i:j], h[i:j], begin, end, quiet)
            zr = transition(tr[k:l], r[k:l], begin, end, quiet)
            zero = crossing(th[i:j], zh, 0.5)
            t10, t50, t90 = (crossing(tr[k:l], zr, share) for share in (0.1, 0.5, 0.9))
            found.setdefault(step, []).append(((t50 - zero) * 1e-6 - delay, (t90 - t10) * 1e-6, 100 * (zr.max() - 1)))
        for step, values in found.items():
            delay_50, rise, overshoot = np.mean(values, axis=0)
            out["steps"][step] = {"delay_50": delay_50, "rise_time": rise, "overshoot": overshoot, "cycles": len(values)}
    json.dump(out, sys.stdout)


main(sys.argv[1], sys.argv[2:])
