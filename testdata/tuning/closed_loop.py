"""Computes with SciPy what the tests of control/judge/reference compute with Go.

Reads a list of questions as JSON from standard input, answers with a list of lists:
  {"sampled": loop}     a linear sampled loop, as one transfer function in z
  {"continuous": loop}  a bounded loop with tracking anti-windup, in continuous time
  {"record": {t, y}}    the model K e^(-theta s)/((tau1 s+1)(tau2 s+1)) of a unit step
A loop is a PID with derivative on the measurement, filtered by a first-order lag,
around K e^(-theta s)/(tau s+1). Its set-point steps at zero, its load, on the
process's input, at load_at. Times are in seconds.
"""

import json
import sys

import numpy as np
from scipy import integrate, optimize, signal


def discrete(num, den, period, method):
    b, a, _ = signal.cont2discrete((num, den), period, method)
    return np.trim_zeros(np.squeeze(b), "f"), a


def late(num, den, by):
    """Numerator and denominator in powers of 1/z, by samples later."""
    by += len(den) - len(num)
    return np.concatenate([np.zeros(by), num]), np.asarray(den, float)


def add(x, y):
    """The sum of two transfer functions in powers of 1/z."""
    (bx, ax), (by, ay) = x, y
    return np.polynomial.polynomial.polyadd(np.convolve(bx, ay), np.convolve(by, ax)), np.convolve(ax, ay)


def sampled(q):
    period, n = q["period"], q["samples"]
    process = late(*discrete([q["k"]], [q["tau"], 1], period, "zoh"), round(q["theta"] / period))
    integral = late(*discrete([q["kp"]], [q["ti"], 0], period, "euler"), 0)
    by_setpoint = add(([q["kp"] * q["weight"]], [1]), integral)
    by_measured = add(([q["kp"]], [1]), integral)
    if q["td"] > 0:
        slope = late(*discrete([q["kp"] * q["td"], 0], [q["filter"], 1], period, "foh"), 0)
        by_measured = add(by_measured, slope)
    b, a = process
    bm, am = by_measured
    bs, as_ = by_setpoint
    closed = add((np.convolve(a, am), [1]), (np.convolve(b, bm), [1]))[0]
    setpoint = np.full(n, q["setpoint"])
    load = np.where(np.arange(n) * period >= q["load_at"] - period / 2, q["load"], 0.0)
    driven = signal.lfilter(bs, as_, setpoint) + load
    return signal.lfilter(np.convolve(b, am), closed, driven)


def continuous(q):
    kp, ti, td, theta = q["kp"], q["ti"], q["td"], q["theta"]

    def raw(x):
        y, part, slow = x
        slope = (y - slow) / q["filter"] if td > 0 else 0.0
        return kp * (q["weight"] * q["setpoint"] - y) + part - kp * td * slope

    before = None  # the solution over the last stretch as long as the delay, which feeds this one

    def arrives(t):
        return np.clip(raw(before(t - theta)), 0, 1) if before else 0.0

    def change(t, x):
        y, part, slow = x
        v = raw(x)
        duty = arrives(t) + (q["load"] if t >= q["load_at"] + theta else 0.0)
        tracked = kp / ti * (q["setpoint"] - y) + (np.clip(v, 0, 1) - v) / q["track"]
        return [(q["k"] * duty - y) / q["tau"], tracked, (y - slow) / q["filter"] if td > 0 else 0.0]

    times = np.arange(q["samples"]) * q["period"]
    x, y, start = [0.0, 0.0, 0.0], np.empty(len(times)), 0.0
    while start <= times[-1]:
        part = integrate.solve_ivp(change, (start, start + theta), x, rtol=1e-6, atol=1e-7, max_step=theta / 8, dense_output=True)
        within = (times >= start) & (times < start + theta)
        y[within] = part.sol(times[within])[0]
        before, x, start = part.sol, part.y[:, -1], start + theta
    return y


def model(record):
    t, y = np.array(record["t"]), np.array(record["y"])
    fine = np.linspace(0, t[-1], 5001)

    def answer(p):
        k, tau1, tau2, theta = p
        _, unit = signal.step(([k], np.convolve([tau1, 1], [tau2, 1])), T=fine)
        return np.interp(t - theta, fine, unit, left=0.0)

    first = [y[-1], t[-1] / 6, t[-1] / 60, t[-1] / 200]
    p = optimize.least_squares(lambda p: answer(p) - y, first, x_scale=first, bounds=([0, 1e-3, 1e-3, 0], np.inf), xtol=1e-12, ftol=1e-12).x
    return [p[0], max(p[1:3]), min(p[1:3]), p[3]]


kinds = {"sampled": sampled, "continuous": continuous, "record": model}
answers = [kinds[kind](asked) for question in json.load(sys.stdin) for kind, asked in question.items()]
json.dump([list(map(float, a)) for a in answers], sys.stdout)
