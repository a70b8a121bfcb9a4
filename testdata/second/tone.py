"""Operations tone and tint."""

from fractions import Fraction

import numpy as np

import exact
import profiles
from exact import lab_f, lab_inverse, root
from hues import Hue, adapt, chroma2, edge, inside, most, product, space_of, within
from matrices import even, planes
from pictures import Picture
from resample import mask_of

F32 = np.float32


def tint(args, inputs):
    """The operation tint."""
    picture, to = inputs[0], profiles.known(args["profile"])
    space = space_of(to)
    v = picture.profile.decode(picture.samples)[:, :, 0]
    hue, chroma = Fraction(args["hue"]), Fraction(args["chroma"])
    ca = exact.to64(exact.dec(chroma) * exact.cos_pi(hue / 180))
    cb = exact.to64(exact.dec(chroma) * exact.sin_pi(hue / 180))
    f = lab_f(v, root)
    u = (116 * f - 16) * 0.01
    w = (4 * u) * (1 - u)
    a, b = w * ca, w * cb
    x, z = lab_inverse(f + a / 500), lab_inverse(f - b / 200)
    colours = within(space, *even(space.from_xyz, x, v, z), v, 1.0)
    grey = (a == 0) & (b == 0)
    out = np.stack([np.where(grey, v, c) for c in colours], axis=2)
    return Picture(to.encode(out), to)


# Curves of L*.

class Curve:
    """A monotone cubic through points, with slopes."""

    def __init__(self, x, y, m):
        self.x, self.y, self.m = x, y, m

    def nothing(self):
        return self.x == self.y and all(m == 1 for m in self.m)

    def __call__(self, v):
        x, y, m = (np.array(a, np.float64) for a in (self.x, self.y, self.m))
        k = np.clip(np.searchsorted(x, v, side="right") - 1, 0, len(x) - 2)
        h, rise, u = x[k + 1] - x[k], y[k + 1] - y[k], (v - x[k]) / (x[k + 1] - x[k])
        p, e = h * m[k], h * m[k + 1]
        r = (p + e) - 2 * rise
        q = (rise - p) - r
        w = q + u * r
        w = p + u * w
        w = np.clip(y[k] + u * w, y[k], y[k + 1])
        w = np.where(v <= x[0], y[0] + m[0] * (v - x[0]), w)
        return np.where(v >= x[-1], y[-1] + m[-1] * (v - x[-1]), w)


def points_curve(text):
    p = [exact.to64(Fraction(v)) for v in text.split()]
    x, y = p[::2], p[1::2]
    n = len(x)
    t = [(y[k + 1] - y[k]) / (x[k + 1] - x[k]) for k in range(n - 1)]
    m = [t[0]] + [(t[k - 1] + t[k]) * 0.5 for k in range(1, n - 1)] + [t[-1]]
    for k in range(n - 1):
        if t[k] == 0:
            m[k] = m[k + 1] = 0.0
            continue
        a, b = m[k] / t[k], m[k + 1] / t[k]
        r = a * a + b * b
        if r > 9:
            w = 3 / np.sqrt(r)
            m[k], m[k + 1] = (w * a) * t[k], (w * b) * t[k]
    return Curve(x, y, m)


def contrast_curve(text):
    c = exact.to64(Fraction(text))
    return Curve([0.0, 50.0, 100.0], [0.0, 50.0, 100.0], [1 / (1 + c), 1 + c, 1 / (1 + c)])


# The surroundings: a guided filter of L* by itself, in whole numbers.

def halfup_div(a, b):
    """Whole numbers divided, rounded half up (arrays of whole numbers or objects)."""
    return (2 * a + b) // (2 * b)


def window_sums(v, reach):
    """Sums over the windows of blocks up to reach away on both axes."""
    for axis in (0, 1):
        n = v.shape[axis]
        c = np.concatenate([np.zeros_like(np.take(v, [0], axis)), np.cumsum(v, axis)], axis)
        i = np.arange(n)
        high, low = np.minimum(i + reach + 1, n), np.maximum(i - reach, 0)
        v = np.take(c, high, axis) - np.take(c, low, axis)
    return v


def block_edges(n, f):
    """How many blocks cover an axis, and what they lack at its start."""
    count = -(-n // f)
    if (count * f - n) % 2:
        count += 1
    return count, (count * f - n) // 2


def surroundings(lightness, radius):
    """The a and b of a L + b, float64, for each pixel."""
    h, w = lightness.shape
    f = max(1, int(radius / 3 // 1))
    if f % 2 == 0:
        f -= 1
    reach = exact.half_up(Fraction(1225, 1000) * radius / f)
    p = np.floor(65536 * lightness + 0.5).astype(np.int64)
    (rows, lack_y), (columns, lack_x) = block_edges(h, f), block_edges(w, f)
    y, x = (np.arange(h) + lack_y) // f, (np.arange(w) + lack_x) // f
    total, number = np.zeros((rows, columns), np.int64), np.zeros((rows, columns), np.int64)
    np.add.at(total, (y[:, None], x[None, :]), p)
    np.add.at(number, (y[:, None], x[None, :]), 1)
    mean = halfup_div(total, number)
    n = window_sums(np.ones_like(mean), reach)
    small = mean >> 8
    s, c, q = (window_sums(v, reach) for v in (mean, small, small * small))
    v = (n * q - c * c).astype(np.float64)
    a = np.floor(65536 * (v / (v + (n * n * (100 * 65536)).astype(np.float64))) + 0.5).astype(np.int64)
    b = halfup_div(s, n) * (65536 - a)
    a = halfup_div(window_sums(a, reach), n)
    b = halfup_div(window_sums(b, reach), n)
    sa, sb = (read_blocks(read_blocks(v, f, lack_x, w, 1), f, lack_y, h, 0) for v in (a, b))
    scale = 1 / float(2 * f * 2 * f * 65536)
    return sa.astype(np.float64) * scale, sb.astype(np.float64) * (scale / 65536)


def read_places(v, f, lack, n, axis):
    """The two blocks that each pixel along an axis reads, and the weight of the second in 2f-ths."""
    count = v.shape[axis]
    t = 2 * (np.arange(n) + lack) + 1 - f
    k = np.clip(t // (2 * f), 0, count - 1)
    rest = np.where((t <= 0) | (t // (2 * f) >= count - 1), 0, t % (2 * f))
    return (np.take(v, k, axis), np.take(v, np.minimum(k + 1, count - 1), axis),
            rest.reshape((n, 1) if axis == 0 else (1, n)))


def read_blocks(v, f, lack, n, axis):
    """Blocks read linearly at pixels along an axis, times 2f."""
    first, second, rest = read_places(v, f, lack, n, axis)
    return (2 * f - rest) * first + rest * second


# Tone.

class Tone:
    """What a tone block says, ready for pixels."""

    def __init__(self, args):
        number = lambda name: Fraction(args.get(name, "0"))
        self.exposure, self.warmth, self.local = number("exposure"), number("warmth"), number("local")
        self.chroma, self.muted = number("chroma"), number("muted")
        self.radius = number("local-radius")
        self.curves = []
        if "curve" in args:
            c = points_curve(args["curve"])
            if not c.nothing():
                self.curves.append(c)
        if number("contrast"):
            self.curves.append(contrast_curve(args["contrast"]))
        self.gain = exact.to64(exact.power(Fraction(2), abs(self.exposure)) if self.exposure >= 0
                               else 1 / exact.power(Fraction(2), -self.exposure))

    def nothing(self):
        return not (self.exposure or self.warmth or self.local or self.chroma or self.muted or self.curves)

    def factor(self, y):
        """What exposure multiplies light of a luminance by."""
        gain = self.gain
        if gain <= 1:
            return np.full_like(y, gain)
        x = gain * y
        c = (gain - 1) / (gain - 0.5)
        u = (x - 0.5) / 0.5
        with np.errstate(all="ignore"):
            s = (0.5 + 0.5 * (u / (1 + c * u))) / y
        return np.where(x <= 0.5, gain, s)

    def expose(self, r, g, b, y):
        top = most(r, g, b)
        some = top > 0
        safe = np.where(some, top, 1.0)
        d = (safe - y) / safe
        k = self.factor(safe * (1 - (d * d) * d))
        m = safe * k
        with np.errstate(all="ignore"):
            k = np.where(m > 1, (k * (1 + (1 - 1 / m) * 0.125)) / m, k)
        return np.where(some, k, self.gain)

    def lightness(self, l):
        for c in self.curves:
            l = np.clip(c(l), 0.0, 100.0)
        return l

    def local_contrast(self, l, ab):
        """L after local contrast, ab the surroundings."""
        if not self.local:
            return l
        a, b = ab
        x = exact.to64(self.local) * ((l - a * l) - b)
        with np.errstate(all="ignore"):
            up = l + x / ((1 + x / 12) + x / (100 - l))
            down = l + x / ((1 - x / 12) - x / l)
        return np.where((x > 0) & (l < 100), up, np.where((x < 0) & (l > 0), down, l))


def lab_of(y):
    return 116 * lab_f(y, root) - 16


def tone(args, inputs):
    """The operation tone."""
    picture = inputs[0]
    t = Tone(args)
    if t.nothing():
        return Picture(picture.samples, picture.profile)
    light = picture.profile.decode(picture.samples)
    out = grey_tone(t, light[:, :, 0]) if picture.channels == 1 else colour_tone(t, picture.profile, light)
    samples = picture.profile.encode(out)
    mask = mask_of(args, inputs, 1, picture)
    if mask is not None:
        c = picture.samples.astype(F32)
        samples = exact.round_samples(c + mask[:, :, None] * (samples.astype(F32) - c))
    return Picture(samples, picture.profile)


def grey_tone(t, v):
    if t.exposure:
        v = v * t.factor(v)
    if t.curves or t.local:
        l = t.lightness(lab_of(v))
        l = t.local_contrast(l, surroundings(l, t.radius) if t.local else None)
        v = lab_inverse((l + 16) / 116)
    return v[:, :, None]


def warm_matrix(space, mired):
    """The matrix of warmth on the light of a space."""
    def daylight(m):
        x = ((Fraction("-4.6070e-9") * m + Fraction("2.9678e-6")) * m + Fraction("0.09911e-3")) * m \
            + Fraction("0.244063")
        y = (-3 * x + Fraction("2.87")) * x - Fraction("0.275")
        return [x / y, Fraction(1), (1 - x - y) / y]
    a, b = daylight(Fraction(200)), daylight(200 + abs(mired))
    m = adapt(a, b) if mired > 0 else adapt(b, a)
    d = profiles.D50
    m = [[m[i][j] * d[j] / d[i] for j in range(3)] for i in range(3)]
    total = sum(m[1])
    return product(space.from_xyz, product([[exact.to64(v / total) for v in row] for row in m], space.to_xyz))


def colour_tone(t, profile, light):
    space = space_of(profile)
    r, g, b = planes(light)
    y = space.y(r, g, b)
    r0, g0, b0, y0 = r, g, b, y
    if t.exposure:
        k = t.expose(r, g, b, y)
        r, g, b, y = r * k, g * k, b * k, y * k
    k = np.full_like(y, exact.to64(1 + t.chroma))
    if t.curves or t.local or t.warmth or t.muted or t.chroma:
        f = lab_f(y, root)
        ry = np.where(y > 216 / 24389, f, root(y))
        y1, ry1, k1 = y, ry, np.ones_like(y)
        if t.curves or t.local:
            l = 116 * f - 16
            l1 = t.lightness(l)
            if t.local:
                l1 = t.local_contrast(l1, surroundings(l1, t.radius))
            k1 = (l1 + 1) / (l + 1)
            f = (l1 + 16) / 116
            y1 = lab_inverse(f)
            ry1 = np.where(y1 > 216 / 24389, f, root(y1))
        if t.warmth:
            if t.curves or t.local:
                r, g, b = Hue(space, r, g, b, y, ry).move(y1, ry1, k1)
            r, g, b = warm(warm_matrix(space, t.warmth), 116 * f - 16, r, g, b)
            y = np.clip(space.y(r, g, b), 0.0, 1.0)
            ry = root(y)
            y1, ry1, k1 = y, ry, np.ones_like(y)
        k = k * k1
        moves = np.full(y.shape, bool(t.muted)) | (k != 1) | (y1 != y)
        hue = Hue(space, r, g, b, y, ry)
        if t.muted:
            c2 = ((k * k) * chroma2(hue.u, hue.v)) * 156.25
            k = k * (1 + exact.to64(t.muted) / (1 + c2))
        moved = hue.move(y1, ry1, k)
        r, g, b = (np.where(moves, n, o) for n, o in zip(moved, (r, g, b)))
        y = np.where(moves, y1, y)
    held = within(space, r, g, b, y, edge(r0, g0, b0, y0))
    fine = inside(r, g, b, y)
    return np.stack([np.where(fine, o, n) for o, n in zip((r, g, b), held)], axis=2)


def warm(q, l, r, g, b):
    t = (l - 85) / 15
    w = np.where(l > 85, (1 - t) * (1 + t * 0.5), 1.0)
    out = []
    for row, c in zip(q, (r, g, b)):
        c1 = (row[0] * r + row[1] * g) + row[2] * b
        out.append(c + w * (c1 - c))
    return out
