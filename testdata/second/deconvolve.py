"""The operation deconvolve: a blur of the luminance taken back, by a ratio of light."""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

import numpy as np

import exact
from denoise import by_brightness
from pictures import Picture
from resample import gauss_weights, mask_of
from sharpen import luma_of

F32 = np.float32


def disc(radius):
    """A disc's share of pixels 0.. of both axes, and the sum of all of them."""
    n = int(radius) + 2
    square = radius * radius * 32 * 32
    at = 2 * np.arange(16) - 15
    share = np.zeros((n, n), dtype=object)
    for j in range(n):
        for i in range(n):
            far = (32 * i + at)[:, None] ** 2 + (32 * j + at)[None, :] ** 2
            share[j, i] = Decimal(int(np.count_nonzero(far <= square.numerator // square.denominator)))
    times = np.array([Decimal(1)] + [Decimal(2)] * (n - 1), dtype=object)
    return share, (share * times[:, None] * times[None, :]).sum()


def gaussian(radius):
    w = [exact.dec(Fraction(float(v))) for v in gauss_weights(radius, max(1, exact.half_up(4 * radius)))]
    w = np.array(w, dtype=object)
    return w[:, None] * w[None, :], Decimal(1)


def cosines(plane, cos, count, period):
    """Both axes of an even plane, given from 0, transformed to 0..count-1."""
    n = len(cos)
    for _ in range(2):
        size = len(plane)
        c = np.array([[cos[a * i % n] * (1 if i == 0 or period and 2 * i == n else 2) for i in range(size)]
                      for a in range(count)], dtype=object)
        plane = c.dot(plane).T
    return plane


@lru_cache(maxsize=None)
def kernel(blur, radius):
    """The weights t(x, y), x and y from 0 to R; None beyond the circle."""
    reach = -((-6 * radius.numerator) // radius.denominator)
    n = 2 * reach + 8
    cos = [exact.cos_pi(Fraction(2 * k, n)) for k in range(n)]
    b, total = disc(radius) if blur == "disc" else gaussian(radius)
    half = n // 2 + 1
    h = cosines(b, cos, half, False) / total
    c = np.array(cos[:half], dtype=object)
    w = h / (h * h + (4 - 2 * c[:, None] - 2 * c[None, :]) / 128)
    s = cosines(w, cos, reach + 1, True)
    edge, total = (reach + 1) ** 2, Decimal(0)
    for y in range(reach + 1):
        for x in range(reach + 1):
            far = x * x + y * y
            s[y, x] = s[y, x] * (edge - far) / edge if far < edge else None
            if far < edge:
                total += s[y, x] * (1 if x == 0 else 2) * (1 if y == 0 else 2)
    return [[None if v is None else exact.to32(v / total) for v in row] for row in s]


def near(size, k):
    """Places k further along an axis, held inside."""
    return np.clip(np.arange(size) + k, 0, size - 1)


def means(plane, r):
    weight = exact.to32(Fraction(1, 2 * r + 1))
    for axis in (1, 0):
        data = np.moveaxis(plane, axis, 0)
        n, total = len(data), None
        for k in range(r, 0, -1):
            pair = weight * (data[near(n, -k)] + data[near(n, k)])
            total = pair if total is None else total + pair
        plane = np.moveaxis(total + weight * data, 0, axis)
    return plane


def extreme(plane, r, pick):
    for axis in (1, 0):
        data = np.moveaxis(plane, axis, 0)
        out = data
        for k in range(-r, r + 1):
            out = pick(out, data[near(len(data), k)])
        plane = np.moveaxis(out, 0, axis)
    return plane


def inverse(y, t):
    h, w = y.shape
    total = F32(0)
    for j in range(len(t) - 1, -1, -1):
        v = y if j == 0 else y[near(h, -j)] + y[near(h, j)]
        for i in range(len(t) - 1, 0, -1):
            if t[j][i] is not None:
                total = total + t[j][i] * (v[:, near(w, -i)] + v[:, near(w, i)])
        total = total + t[j][0] * v
    return total


def deconvolve(args, inputs):
    picture = inputs[0]
    radius = Fraction(args["radius"])
    quiet, halo = Fraction(args.get("quiet", "1/250")), Fraction(args.get("halo", "1/10"))
    y = luma_of(picture)
    d = inverse(y, kernel(args["blur"], radius))
    reach = max(1, exact.half_up(radius if args["blur"] == "disc" else 2 * radius))
    g = means(y, 1)
    a = means(g, reach + 2)
    v = means(g * g, reach + 2) - a * a
    q = np.full(256, exact.to32((65535 * quiet) ** 2))
    if "noise" in args:
        noise = by_brightness([float(n) for n in args["noise"].split()])
        q = np.maximum(q, np.array([F32((4 * n) * n) for n in noise]))
    q = q[(y / F32(256)).astype(int)]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = np.where(v <= q, F32(0), exact.to32(Fraction(args["amount"])) * ((d - y) * ((v - q) / v)))
    lo, hi = extreme(y, reach, np.minimum), extreme(y, reach, np.maximum)
    op, cl = extreme(lo, reach, np.maximum), extreme(hi, reach, np.minimum)
    most = picture.samples.max(axis=2).astype(F32)
    lone = np.where(x > 0, y - op, cl - y)
    room = np.where(x > 0, (y * (F32(65535) - most)) / np.maximum(most, F32(1)), y)
    free = np.minimum(np.minimum(hi - y, y - lo), room)
    least = exact.to32(65535 * max(Fraction(1, 32), 8 * quiet))
    h = (hi - lo) * F32(1 / 128) + F32(4) * np.maximum(F32(0), lone - least)
    h = np.maximum(np.minimum(np.minimum(h, exact.to32(65535 * halo)), room - free), F32(1 / 1024))
    a = np.abs(x)
    u = np.maximum(a - free, F32(0))
    a = (np.minimum(a, free) + (u * h) / (u + h)) / np.maximum(y, F32(1))
    e = np.where(x < 0, -a, a)
    mask = mask_of(args, inputs, 1, picture)
    if mask is not None:
        e = e * mask
    c = picture.samples.astype(F32)
    return Picture(exact.round_samples(c + c * e[:, :, None]), picture.profile)
