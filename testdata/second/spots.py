"""The operation spots: discs filled from another place, fitted at the rim by a membrane."""

from fractions import Fraction

import numpy as np

import exact
import like
from masks import smooth
from pictures import Picture


class Spot:
    """A spot of a run: place, radius and softness, and where it copies from."""

    def __init__(self, value):
        words = value.split()

        def numbers(word, n):
            i = words.index(word)
            return [Fraction(v) for v in words[i + 1:i + 1 + n]]
        self.x, self.y = numbers("at", 2)
        self.radius = numbers("radius", 1)[0]
        self.soft = exact.to64(numbers("soft", 1)[0])
        self.source = numbers("from", 2) if "from" in words else None
        self.r = exact.to64(self.radius)
        self.fx, self.fy = exact.to64(self.x), exact.to64(self.y)

    def distance2(self, x, y):
        """The square of how far the centres of pixels lie from the place, float64."""
        dx, dy = x + 0.5 - self.fx, y + 0.5 - self.fy
        return dx * dx + dy * dy

    def on_disc(self, x, y):
        return self.distance2(x, y) < self.r * self.r

    def around(self, reach, width, height):
        """The pixels of the picture within reach of the place: their columns and rows."""
        x0, x1 = max(0, int(self.fx - reach) - 1), min(width - 1, int(self.fx + reach) + 1)
        y0, y1 = max(0, int(self.fy - reach) - 1), min(height - 1, int(self.fy + reach) + 1)
        x, y = np.meshgrid(np.arange(x0, x1 + 1), np.arange(y0, y1 + 1))
        return x.ravel(), y.ravel()


class Square:
    """The smallest square, a power of two at a multiple of itself, that holds some pixels."""

    def __init__(self, x, y, values):
        n = len(x)
        self.count = n
        self.x, self.y = x.sum() / n, y.sum() / n
        self.total = values.sum(axis=0)
        bits = int(np.bitwise_or.reduce((x ^ x[0]) | (y ^ y[0]))).bit_length()
        self.side = 1 << bits
        self.quarters = []
        if bits:
            half = bits - 1
            part = (y >> half & 1) * 2 + (x >> half & 1)
            for p in range(4):
                if (part == p).any():
                    self.quarters.append(Square(x[part == p], y[part == p], values[part == p]))

    def add(self, x, y, weight, total):
        """Adds to the sums of the pixels (x, y) what this square is to them."""
        dx, dy = self.x - x, self.y - y
        d2 = dx * dx + dy * dy
        far = d2 >= (0 if self.side == 1 else 16 * self.side * self.side)
        if far.any():
            w = 1 / d2[far]
            weight[far] += w * self.count
            total[far] += w[:, None] * self.total
        near = ~far
        if near.any():
            some, sums = weight[near], total[near]
            for q in self.quarters:
                q.add(x[near], y[near], some, sums)
            weight[near], total[near] = some, sums


def fill(spot, others, samples, offset):
    """The mended values f of a disc's pixels, with the pixels."""
    h, w, c = samples.shape
    x, y = spot.around(spot.r + 2, w, h)
    d2 = spot.distance2(x, y)
    inside = spot.on_disc(x, y)
    rim = ~inside & (d2 <= (spot.r + 1.5) * (spot.r + 1.5))
    for o in others:
        rim &= ~o.on_disc(x, y)

    def held(x, y):
        return np.clip(x + offset[0], 0, w - 1), np.clip(y + offset[1], 0, h - 1)

    def copied(x, y):
        if offset is None:
            return np.zeros((len(x), c))
        gx, gy = held(x, y)
        return samples[gy, gx].astype(np.float64)

    if offset is not None:
        rim &= ~spot.on_disc(*held(x, y))
    px, py = x[inside], y[inside]
    g = copied(px, py)
    d = np.sqrt(d2[inside])
    if not len(px) or not rim.any():
        return px, py, g, d
    there = samples[y[rim], x[rim]].astype(np.float64)
    square = Square(x[rim], y[rim], there - copied(x[rim], y[rim]))
    weight, total = np.zeros(len(px)), np.zeros((len(px), c))
    square.add(px.astype(np.float64), py.astype(np.float64), weight, total)
    low, high = there.min(axis=0), there.max(axis=0)
    f = np.maximum(np.minimum(g, low), np.minimum(np.maximum(g, high), g + total / weight[:, None]))
    return px, py, f, d


def spots(args, inputs):
    """The operation spots."""
    picture = inputs[0]
    run, n = [], 1
    while "spot-%d" % n in args:
        run.append(Spot(args["spot-%d" % n]))
        n += 1
    out = picture.samples.copy()
    for s in run:
        others = [o for o in run if o is not s]
        if s.source:
            offset = [int(exact.half_up(v)) for v in (s.source[0] - s.x, s.source[1] - s.y)]
        else:
            offset = like.place(s, others, picture.samples)
        x, y, f, d = fill(s, others, picture.samples, offset)
        if not len(x):
            continue
        w = smooth((1 - d / s.r) / s.soft) if s.soft else np.ones(len(d))
        c = picture.samples[y, x].astype(np.float64)
        out[y, x] = exact.round_samples(c + w[:, None] * (f - c))
    return Picture(out, picture.profile)
