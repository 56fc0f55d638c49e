"""A second way to the figures of `seallife.life.pooling`: Metropolis sampling of the same model.

It shares no code with the package: the likelihood is summed life by life, and nothing is assumed
about the form of a posterior. Run it to write ``pooling_sampler.csv`` beside it anew (some
minutes); the test reads the file.

    python tests/published/pooling_sampler.py

Many chains run side by side. A sweep moves each class given the law of the classes, then the law
given the classes, then the law with the standardised classes carried along, which lets the chains
reach laws of little spread.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path
from typing import Any

import numpy as np

LIVES = {
    # class: (age at the end, failed, age at entry)
    "none": [(900, 0, 0), (1200, 0, 300), (600, 0, 0), (1500, 0, 800)],
    "one": [(450, 1, 0), (1000, 0, 0), (800, 0, 200), (1100, 0, 0), (300, 0, 0)],
    "three": [(220, 1, 0), (610, 1, 150), (540, 1, 0), (700, 0, 0), (350, 0, 100), (900, 0, 0)],
    "nine": [
        (120, 1, 0), (310, 1, 0), (350, 1, 200), (420, 1, 0), (480, 1, 0), (560, 1, 240),
        (640, 1, 0), (730, 1, 0), (910, 1, 500), (400, 0, 0), (650, 0, 0), (1000, 0, 700),
    ],
    "many": [
        (95, 1, 0), (400, 1, 0), (560, 1, 0), (640, 1, 300), (720, 1, 0), (810, 1, 0),
        (870, 1, 400), (950, 1, 0), (1010, 1, 0), (1080, 1, 0), (1150, 1, 600), (1230, 1, 0),
        (1340, 1, 0), (1420, 1, 900), (1600, 1, 0), (1900, 1, 0), (700, 0, 0), (900, 0, 0),
        (1300, 0, 0), (1500, 0, 1000), (2000, 0, 0), (1100, 0, 0), (600, 0, 0), (300, 0, 0),
    ],
}  # fmt: skip
SURVIVAL_AT = 500.0
LEVEL = 0.90
CHAINS, SWEEPS, BURN, THIN = 400, 30_000, 3_000, 10


def arrays() -> tuple[Any, ...]:
    """Age, failed, entry age and class of all lives."""
    rows = [(t, f, e, name) for name, lives in LIVES.items() for t, f, e in lives]
    age, failed, entry, group = zip(*rows, strict=True)
    return np.array(age, float), np.array(failed, bool), np.array(entry, float), np.array(group)


def log_likelihood(a: Any, m: Any) -> Any:
    """Log likelihood of each class, (chains, classes), life by life."""
    out = np.zeros_like(a)
    for k, lives in enumerate(LIVES.values()):
        t, f, e = np.array(lives, float).T
        b, log_scale = np.exp(a[:, k, None]), m[:, k, None]
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            z, z0 = b * (np.log(t) - log_scale), b * (np.log(e) - log_scale)
            hazard = f * (a[:, k, None] + z - np.log(t))
            out[:, k] = (hazard - np.exp(z) + np.exp(z0)).sum(axis=1)
    inside = (a > np.log(0.05)) & (a < np.log(50)) & np.isfinite(out)
    return np.where(inside, out, -np.inf)


def log_classes(a: Any, m: Any, law: Any) -> Any:
    """Log density of the classes under the law, (chains, classes)."""
    mean_a, mean_m, log_sa, log_sm, z = (law[:, k, None] for k in range(5))
    r = np.tanh(z)
    u, v = (a - mean_a) / np.exp(log_sa), (m - mean_m) / np.exp(log_sm)
    square = (u * u - 2 * r * u * v + v * v) / (1 - r * r)
    return -square / 2 - log_sa - log_sm - np.log(1 - r * r) / 2


def log_prior(law: Any, middle: float) -> Any:
    """Log density of the law before the data, in the coordinates sampled."""
    r = np.tanh(law[:, 4])
    out = -(((law[:, 0] - np.log(1.5)) / 0.6) ** 2) / 2 - ((law[:, 1] - middle) / 1.5) ** 2 / 2
    for k, scale in ((2, 0.5), (3, 1.0)):
        out += law[:, k] - (np.exp(law[:, k]) / scale) ** 2 / 2
    return out + np.log(1 - r * r) + np.log(1 - r * r)  # prior, and d r / d z


def to_standard(a: Any, m: Any, law: Any) -> tuple[Any, Any]:
    """Classes in standard deviations of the law, uncorrelated."""
    r = np.tanh(law[:, 4, None])
    u = (a - law[:, 0, None]) / np.exp(law[:, 2, None])
    v = (m - law[:, 1, None]) / np.exp(law[:, 3, None])
    return u, (v - r * u) / np.sqrt(1 - r * r)


def from_standard(u: Any, w: Any, law: Any) -> tuple[Any, Any]:
    """Inverse of `to_standard`."""
    r = np.tanh(law[:, 4, None])
    v = r * u + np.sqrt(1 - r * r) * w
    return law[:, 0, None] + u * np.exp(law[:, 2, None]), law[:, 1, None] + v * np.exp(
        law[:, 3, None]
    )


def sample(seed: int = 20_240_601) -> tuple[Any, Any, Any]:
    """Log shapes, log scales (draws, chains, classes) and laws (draws, chains, 5)."""
    rng = np.random.default_rng(seed)
    age, failed, entry, _ = arrays()
    middle = float(np.log((age - entry).sum() / failed.sum()))
    g = len(LIVES)
    law = np.tile([np.log(1.5), middle, np.log(0.4), np.log(0.6), 0.0], (CHAINS, 1))
    law += 0.3 * rng.normal(size=law.shape)
    a = law[:, :1] + 0.3 * rng.normal(size=(CHAINS, g))
    m = law[:, 1:2] + 0.3 * rng.normal(size=(CHAINS, g))
    fit = log_likelihood(a, m)
    kept: tuple[list[Any], list[Any], list[Any]] = ([], [], [])
    sizes = np.array([0.05, 0.2, 0.6, 1.5])
    for sweep in range(SWEEPS):
        size = sizes[rng.integers(4, size=(CHAINS, 1))]
        a2, m2 = a + size * rng.normal(size=a.shape), m + size * rng.normal(size=m.shape)
        fit2 = log_likelihood(a2, m2)
        gain = fit2 + log_classes(a2, m2, law) - fit - log_classes(a, m, law)
        yes = np.log(rng.random(a.shape)) < gain
        a, m, fit = np.where(yes, a2, a), np.where(yes, m2, m), np.where(yes, fit2, fit)
        for carried in (False, True):
            size = sizes[rng.integers(4, size=(CHAINS, 1))]
            law2 = law + size * rng.normal(size=law.shape) * (rng.random(law.shape) < 0.6)
            gain = log_prior(law2, middle) - log_prior(law, middle)
            if carried:
                a2, m2 = from_standard(*to_standard(a, m, law), law2)
                fit2 = log_likelihood(a2, m2)
                gain += (fit2 - fit).sum(axis=1)
            else:
                gain += (log_classes(a, m, law2) - log_classes(a, m, law)).sum(axis=1)
            yes = np.log(rng.random(CHAINS)) < gain
            law = np.where(yes[:, None], law2, law)
            if carried:
                a, m = np.where(yes[:, None], a2, a), np.where(yes[:, None], m2, m)
                fit = np.where(yes[:, None], fit2, fit)
        if sweep >= BURN and sweep % THIN == 0:
            for store, value in zip(kept, (a, m, law), strict=True):
                store.append(value.copy())
    out = tuple(np.array(x) for x in kept)
    return out[0], out[1], out[2]


def main() -> None:
    """Sample and write quantiles; ``mc_error`` is the largest standard error of the three, from
    batches of chains, on the scale of the quantile's log (of its logit for survival)."""
    a, m, law = sample()
    rows: list[list[Any]] = []

    def add(group: str, quantity: str, x: Any, transform: Any, low_first: bool = True) -> None:
        p = np.array([(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2])
        batches = np.array([np.quantile(c, p) for c in np.array_split(x, 20, axis=1)])
        error = (batches.std(axis=0, ddof=1) / np.sqrt(20)).max()
        q = transform(np.quantile(x, p))
        low, mid, high = q if low_first else q[::-1]
        rows.append([group, quantity, *(f"{v:.6g}" for v in (low, mid, high)), f"{error:.2g}"])

    for k, name in enumerate(LIVES):
        x, y = a[:, :, k], m[:, :, k]
        add(name, "shape", x, np.exp)
        add(name, "scale", y, np.exp)
        for share in (0.10, 0.50):
            noise = np.log(-np.log1p(-share))
            add(name, f"b{100 * share:g}", y + noise * np.exp(-x), np.exp)
        z = np.exp(x) * (np.log(SURVIVAL_AT) - y)
        add(name, "survival", z, lambda v: np.exp(-np.exp(v)), low_first=False)
    names = ("typical shape", "typical scale", "sd of log shape", "sd of log scale")
    for k, title in enumerate(names):
        add("", title, law[:, :, k], np.exp)
    add("", "correlation", law[:, :, 4], np.tanh)
    with (Path(__file__).parent / "pooling_sampler.csv").open("w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["class", "quantity", "low", "median", "high", "mc_error"])
        out.writerows(rows)


if __name__ == "__main__":
    sys.exit(main())
