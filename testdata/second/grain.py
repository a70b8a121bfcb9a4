"""The operation grain: noise of the place, by which channels are scaled."""

from fractions import Fraction

import numpy as np

import exact
from pictures import GOLDEN, Picture, splitmix
from resample import gauss_weights

F32 = np.float32


def scatter(n):
    """Number n of splitmix64 from the state 0."""
    return splitmix((np.asarray(n, np.uint64) + np.uint64(1)) * np.uint64(GOLDEN))


def white(seed, x, y):
    """White numbers at columns x and rows y, less their mean, float32."""
    with np.errstate(over="ignore"):
        place = (y.astype(np.uint64) & np.uint64(0xFFFFFFFF)) << np.uint64(32)
        z = scatter(scatter(seed) + place[:, None] + (x.astype(np.uint64) & np.uint64(0xFFFFFFFF))[None, :])
    parts = sum((z >> np.uint64(16 * i)) & np.uint64(0xFFFF) for i in range(4))
    return (parts // np.uint64(4)).astype(F32) - F32(32767)


def mirror(w, rows, n):
    """The weighted sums of n rows of each 2R + 1 around, from the outermost in."""
    reach = len(w) - 1
    total = w[reach] * (rows[:n] + rows[2 * reach:][:n])
    for k in range(reach - 1, 0, -1):
        total = total + w[k] * (rows[reach - k:][:n] + rows[reach + k:][:n])
    return total + w[0] * rows[reach:][:n]


def grain(args, inputs):
    picture = inputs[0]
    h, width = picture.samples.shape[:2]
    sigma = Fraction(args["size"]) * Fraction(3, 10)
    reach = max(1, exact.half_up(4 * sigma))
    w = gauss_weights(sigma, reach)
    squares = 0.0
    for k in range(reach, 0, -1):
        squares = squares + 2 * (float(w[k]) * float(w[k]))
    squares = squares + float(w[0]) * float(w[0])
    gain = F32(4 * exact.to64(Fraction(args["amount"])) / (squares * 9459.3))
    x, y = np.arange(-reach, width + reach), np.arange(-reach, h + reach)
    across = mirror(w, white(int(args["seed"]), x, y).T, width).T
    n = mirror(w, across, h)
    e = np.maximum(F32(-1), np.minimum(F32(1), n * gain))
    most = picture.samples.max(axis=2).astype(F32)
    s = e * (F32(1) - most / F32(65535))
    v = picture.samples.astype(F32)
    return Picture(exact.round_samples(v + v * s[:, :, None]), picture.profile)
