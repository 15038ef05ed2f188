"""The findings of the benchmark's plan by NumPy, SciPy and h5py, as one would write them down, from the archive of the run.
Prints JSON. Beside each estimate stands the finding that it is.

bus:  tick_late_p50, _p99, _max, missed_ticks, input_age_max, records_lost; of each measured signal interval, jitter,
      longest_interval, gaps.
step: of each step delay_10, _50, _90, rise_time, input_rise_time, overshoot, input_overshoot, settling_time: mean over
      the cycles with its standard uncertainty and 95 % interval (steady_error needs a ratio, which the plan does not set).

Only signals that are needed are read. Checks of the kind "frozen, saturated, samples missing" are made too, each in one or
two lines; what a finding says in words is left out."""
import json
import sys

import h5py
import numpy as np
from scipy.special import ndtri, stdtrit

QUIET, BAND = 0.1, 0.02  # s at rest at either end of a step; of the change
DRAWS = 40000


def intervals(t_ns):
    between = np.diff(t_ns)
    low, median, high = np.percentile(between, [1, 50, 99])
    return {"interval": median * 1e-6, "jitter": 0.5e-6 * (high - low), "longest_interval": between.max() * 1e-6,
            "gaps": int(np.count_nonzero(between > 1.5 * median))}


def loop_timing(run):
    ticks = run["ticks"]
    late, age = ticks["late_ns"][:], ticks["input_age_ns"][:]
    p50, p99 = np.percentile(late, [50, 99])
    return {"tick_late_p50": p50 * 1e-3, "tick_late_p99": p99 * 1e-3, "tick_late_max": late.max() * 1e-3,
            "missed_ticks": int(np.maximum(np.diff(ticks["number"][:].astype(np.int64)) - 1, 0).sum()),
            "input_age_max": age[age != 0xFFFFFFFF].max() * 1e-6, "records_lost": int(run["gaps/count"][:].sum())}


class Signal:
    """A signal as a whole; cut() gives the part of one step."""

    def __init__(self, group):
        about = group.attrs
        self.t_ns = group["t_ns"][:] - int(about["delay_ns"])
        self.y = group["value"][:]
        self.half_width = 1e-9 * group["stamp_uncertainty_ns"][:]
        self.resolution, self.low, self.high = about["resolution"], about["range_low"], about["range_high"]
        self.delay_uncertainty = 1e-9 * int(about["delay_uncertainty_ns"])

    def cut(self, begin_ns, end_ns):
        i, j = np.searchsorted(self.t_ns, [begin_ns - int(QUIET * 1e9), end_ns])
        t, y = 1e-9 * (self.t_ns[i:j] - begin_ns), self.y[i:j]
        good = np.isfinite(y)
        return t[good], y[good], np.median(self.half_width[i:j])


def noise_of(t, y):
    """From third divided differences, by their median: what slow motion does not explain."""
    parts = [t[k:len(t) - 3 + k] for k in range(4)]
    weights = [1.0 / np.prod([parts[j] - parts[k] for k in range(4) if k != j], axis=0) for j in range(4)]
    left = sum(w * y[k:len(y) - 3 + k] for k, w in enumerate(weights))
    return 1.4826 * np.median(np.abs(left) / np.sqrt(sum(w * w for w in weights)))


def usable(signal, t, y):
    """Neither frozen nor saturated, and no samples missing for long."""
    if len(y) < 8 or np.ptp(y) == 0.0 or np.diff(t).max() > 0.25:
        return False
    if signal.low < signal.high and np.count_nonzero((y >= signal.high) | (y <= signal.low)) >= 5:
        return False
    noise = max(noise_of(t, y), signal.resolution / np.sqrt(12.0))
    if noise <= max(0.5 * signal.resolution, 1e-5 * np.ptp(y)):
        return True
    moved = np.flatnonzero(np.diff(y) != 0.0)
    return len(moved) == 0 or np.diff(moved).max() < 20


def level(t, y, begin, end, resolution):
    """Mean at rest: value, noise, standard uncertainty (neighbours that resemble each other count as fewer), half-width of
    resolution where noise does not average it out."""
    i, j = np.searchsorted(t, [begin, end])
    part = y[i:j]
    mean, noise = part.mean(), part.std(ddof=1)
    d = part - mean
    square = d @ d
    rho = np.clip(d[1:] @ d[:-1] / square, 0.0, 0.95) if square > 0.0 else 0.0
    u = noise * np.sqrt((1.0 + rho) / (1.0 - rho) / len(part))
    return mean, noise, u, 0.5 * resolution if noise < 0.5 * resolution else 0.0


def smoothed(z, half):
    if half == 0:
        return z
    total = np.concatenate([[0.0], np.cumsum(z)])
    n, at = len(z), np.arange(len(z))
    reach = np.minimum(half, np.minimum(at, n - 1 - at))
    return (total[at + reach + 1] - total[at - reach]) / (2 * reach + 1)


def fitted(t, z, begin, end, t0, scale):
    tau = (t[begin:end] - t0) / scale
    design = np.vander(tau, 3, increasing=True)
    inverse = np.linalg.inv(design.T @ design)
    return inverse @ (design.T @ z[begin:end]), inverse


class Transition:
    def __init__(self, t, y, first, last, resolution):
        self.t, self.change = t, last[0] - first[0]
        self.z = (y - first[0]) / self.change
        self.noise = np.sqrt(0.5 * (first[1] ** 2 + last[1] ** 2)) / abs(self.change)
        self.last, self.resolution = last, resolution / abs(self.change)
        self.interval = np.median(np.diff(t))

    def crossing(self, share, after=-np.inf):
        """Time, its standard uncertainty by noise, half-width of the line between samples and of resolution."""
        t, z = self.t, self.z
        wanted = self.noise / 0.01
        smooth = smoothed(z, max(1, int(min(50.0, 0.5 * (wanted ** 2 - 1.0) + 0.5))) if wanted > 1.0 else 0)
        start = max(1, int(np.searchsorted(t, after)))
        i = start + int(np.argmax(smooth[start:] >= share))
        rise, step = z[i] - z[i - 1], t[i] - t[i - 1]
        if rise > 10.0 * self.noise and z[i - 1] < share <= z[i]:
            slope, part = rise / step, (share - z[i - 1]) / rise
            bend = max(abs(z[i + 1] - 2 * z[i] + z[i - 1]), abs(z[i] - 2 * z[i - 1] + z[i - 2]))
            half = 0.5 * self.resolution / slope
            if self.noise < 0.1 * rise:
                half = max(half, bend / 8.0 / slope)
            return t[i - 1] + part * step, self.noise * np.hypot(1.0 - part, part) / slope, half
        # Slow against noise: a quadratic over a stretch in which the waveform rises by 12 standard deviations.
        w = 3
        while w < 200 and w + 2 <= i < len(z) - w - 1 and smooth[i + w] - smooth[i - 1 - w] < 12.0 * self.noise:
            w += 1
        begin, end = max(0, i - w - 1), min(len(z), i + w + 1)
        scale = max(self.interval, 0.5 * (t[end - 1] - t[begin]))
        (c, b, a), inverse = fitted(t, z, begin, end, t[i], scale)
        tau = -2.0 * (c - share) / (b + np.copysign(np.sqrt(b * b - 4.0 * a * (c - share)), b))
        slope, p = abs(b + 2.0 * a * tau), np.array([1.0, tau, tau * tau])
        return (t[i] + tau * scale, self.noise * np.sqrt(p @ inverse @ p) / slope * scale,
                0.5 * self.resolution / slope * scale / np.sqrt(end - begin))

    def overshoot(self, ten, ninety):
        """Farthest beyond the new level, of the change, and its standard uncertainty."""
        half = int(np.clip(0.125 * (ninety - ten) / self.interval, 1, 200)) if self.noise > 1e-9 else 0
        z, start = smoothed(self.z, half), int(np.searchsorted(self.t, ninety))
        peak, reach = start + int(np.argmax(z[start:])), max(1, half)
        begin, end = max(0, peak - reach), min(len(z), peak + reach + 1)
        value, unit = self.z[peak], 1.0
        if end - begin >= 3:
            (c, b, a), inverse = fitted(self.t, self.z, begin, end, self.t[peak], reach * self.interval)
            tau = np.clip(-0.5 * b / a, -1.0, 1.0) if a < 0.0 else 0.0
            p = np.array([1.0, tau, tau * tau])
            value, unit = c + b * tau + a * tau * tau, np.sqrt(p @ inverse @ p)
        quantised = (0.5 * self.resolution + self.last[3] / abs(self.change)) / np.sqrt(3.0)
        u = np.sqrt((self.noise * unit) ** 2 + quantised ** 2 + (self.last[2] / self.change) ** 2)
        return max(0.0, value - 1.0), u

    def last_outside(self, z, band, after):
        outside = np.flatnonzero((np.abs(z - 1.0) > band) & (self.t >= after))
        if len(outside) == 0 or outside[-1] + 1 >= len(z):
            return np.nan
        i = outside[-1]
        edge = 1.0 + np.copysign(band, z[i] - 1.0)
        return self.t[i] + np.clip((edge - z[i]) / (z[i + 1] - z[i]), 0.0, 1.0) * (self.t[i + 1] - self.t[i])

    def settling(self, after):
        """When the band is entered for good, and the earliest and latest that noise and levels leave open."""
        wanted = 6.0 * self.noise / BAND
        half = int(min(100.0, 0.5 * wanted ** 2 + 1.0)) if wanted > 1.0 else 0
        z, size = smoothed(self.z, half), abs(self.change)
        left = self.noise / np.sqrt(2 * half + 1)
        opened = 3.0 * left + 2.0 * self.last[2] / size + self.last[3] / size + 0.5 * self.resolution
        nominal, late, early = (self.last_outside(z, BAND + more, after) for more in (0.0, -opened, opened))
        blur = half * self.interval
        return nominal, (after if np.isnan(early) else early) - blur, late + blur


def onset(t, y, last, resolution):
    """Where the input leaves its old level."""
    head = level(t, y, t[0], t[0] + 0.5 * QUIET, resolution)
    rough = abs(last[0] - head[0])
    away = np.abs(y - head[0])
    half = int(np.argmax(away >= 0.5 * rough))
    near = max(0.01 * rough, 5.0 * head[1], resolution)
    still = int(np.flatnonzero(away[:half] <= near)[-1])
    farther = still + 1 + int(np.argmax(away[still + 1:] >= 3.0 * near))
    return t[still] - min(0.5 * QUIET, 2.0 * (t[farther] - t[still]))


def read_cycle(hand, road, begin_ns, end_ns):
    """Of one step: finding -> (value, standard uncertainty by noise, half-widths of rectangles, (least, most) or None)."""
    (th, h, wh), (tr, r, wr) = hand.cut(begin_ns, end_ns), road.cut(begin_ns, end_ns)
    if not usable(hand, th, h) or not usable(road, tr, r):
        return None
    end = 1e-9 * (end_ns - begin_ns)
    last_h, last_r = (level(t, y, end - QUIET, end, s.resolution) for t, y, s in ((th, h, hand), (tr, r, road)))
    start = onset(th, h, last_h, hand.resolution)
    first_h, first_r = (level(t, y, start - QUIET, start, s.resolution) for t, y, s in ((th, h, hand), (tr, r, road)))
    into, out = Transition(th, h, first_h, last_h, hand.resolution), Transition(tr, r, first_r, last_r, road.resolution)
    in10, in50, in90 = (into.crossing(share) for share in (0.1, 0.5, 0.9))
    after = in10[0] - (in90[0] - in10[0])
    at = {percent: out.crossing(0.01 * percent, after) for percent in (10, 50, 90)}
    in_rise, out_rise = in90[0] - in10[0], at[90][0] - at[10][0]
    in_slope, out_slope = 0.8 * into.change / in_rise, 0.8 * out.change / out_rise

    def shift(first, last, share, slope):
        return np.hypot((1.0 - share) * first[2], share * last[2]) / abs(slope)

    found = {}
    in_noise = np.hypot(in50[1], shift(first_h, last_h, 0.5, in_slope))
    for percent, (t, noise, half) in at.items():
        u = np.sqrt(in_noise ** 2 + noise ** 2 + shift(first_r, last_r, 0.01 * percent, out_slope) ** 2)
        found[f"delay_{percent}"] = (1e3 * (t - in50[0]), 1e3 * u,
                                     [1e3 * w for w in (wh, wr, in50[2], half, max(first_h[3], last_h[3]) / abs(in_slope),
                                                        max(first_r[3], last_r[3]) / abs(out_slope))], None)
    found["input_rise_time"] = (1e3 * in_rise, 1e3 * np.hypot(in10[1], in90[1]), [1e3 * np.hypot(in10[2], in90[2])], None)
    if in_rise <= out_rise / 3.0:
        found["rise_time"] = (1e3 * out_rise, 1e3 * np.hypot(at[10][1], at[90][1]),
                              [1e3 * np.hypot(at[10][2], at[90][2])], None)
    for name, side, ten, ninety in (("input_overshoot", into, in10, in90), ("overshoot", out, at[10], at[90])):
        value, u = side.overshoot(ten[0], ninety[0])
        open_to = None if value > 3.5 * u and value > 1e-9 else (0.0, 100.0 * (value + 2.0 * u))
        found[name] = (100.0 * value, 100.0 * u, [], open_to)
    nominal, early, late = out.settling(in50[0])
    if np.isfinite(nominal) and np.isfinite(late):
        found["settling_time"] = (1e3 * (nominal - in50[0]), 0.0, [1e3 * wh, 1e3 * wr],
                                  (1e3 * (early - in50[0]), 1e3 * (late - in50[0])))
    return found


def half_width_of(normals, rectangles, repeatability, dof, u):
    """95 % by drawing where rectangles weigh (JCGM 101), else by the effective degrees of freedom (JCGM 100)."""
    if np.sum(np.square(rectangles)) <= 0.25 * u * u:
        nu = u ** 4 / (repeatability ** 4 / dof) if repeatability > 0.0 else np.inf
        return u * (stdtrit(max(1.0, np.floor(nu)), 0.975) if nu < 1e6 else ndtri(0.975))
    rng = np.random.default_rng(20081101)
    drawn = sum(s * rng.standard_normal(DRAWS) for s in normals if s > 0.0)
    drawn = drawn + sum(s * rng.uniform(-np.sqrt(3.0), np.sqrt(3.0), DRAWS) for s in rectangles if s > 0.0)
    if repeatability > 0.0:
        drawn = drawn + repeatability * rng.standard_t(dof, DRAWS)
    return np.quantile(np.abs(drawn), 0.95)


def mean_over(cycles, name, delays):
    read = [c[name] for c in cycles if c and name in c]
    if not read or 3 * (len(cycles) - len(read)) > len(cycles):
        return None
    values, noise = np.array([r[0] for r in read]), np.array([r[1] for r in read])
    n, noise_variance = len(values), np.mean(noise ** 2)
    scatter = values.var(ddof=1) if n > 1 else 0.0
    repeatability = np.sqrt(max(0.0, scatter - noise_variance) / n)
    rectangles = np.array(read[0][2]) / np.sqrt(3.0)
    normals = [np.sqrt(noise_variance / n)] + (delays if name.startswith(("delay", "settling")) else [])
    u = np.sqrt(np.sum(np.square(normals)) + np.sum(rectangles ** 2) + repeatability ** 2)
    half = half_width_of(normals, rectangles, repeatability, max(1, n - 1), u) if u > 0.0 else 0.0
    low, high = values.mean() - half, values.mean() + half
    opened = [r[3] for r in read if r[3]]
    if opened:
        low, high = min(low, min(o[0] for o in opened)), max(high, max(o[1] for o in opened))
    return {"value": values.mean(), "standard_uncertainty": u, "interval": [low, high], "cycles": n,
            "least": values.min(), "greatest": values.max()}


def main(path, steps):
    out = {"bus": {}, "steps": {}}
    with h5py.File(path) as run:
        for name, signal in run["signals"].items():
            if signal.attrs["direction"] in (b"read", "read"):
                out["bus"][name] = intervals(signal["t_ns"][:])
        out["loop"] = loop_timing(run)
        hand, road = Signal(run["signals/hand.angle"]), Signal(run["signals/road.angle"])
        delays = [1e3 * hand.delay_uncertainty, 1e3 * road.delay_uncertainty]
        cycles = {}
        for name, begin, end, whole in zip(*(run["spans"][c][:] for c in ("step", "from_ns", "to_ns", "complete"))):
            if whole and name.decode() in steps:
                cycles.setdefault(name.decode(), []).append(read_cycle(hand, road, int(begin), int(end)))
    for step, of_step in cycles.items():
        names = {name for c in of_step if c for name in c}
        out["steps"][step] = {name: mean_over(of_step, name, delays) for name in sorted(names)}
    json.dump(out, sys.stdout)


main(sys.argv[1], sys.argv[2:])
