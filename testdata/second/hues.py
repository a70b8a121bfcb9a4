"""Chroma and hue of OKLab, and the edge of a space: what tone, tint and keep hue share."""

from fractions import Fraction

import numpy as np

import exact
import profiles
from exact import root
from matrices import even, inverse, nearest, planes, row_sums_one, times


def fractions(text):
    return [[Fraction(v) for v in row.split()] for row in text.split("|")]


BRADFORD = fractions("0.8951 0.2664 -0.1614 | -0.7502 1.7135 0.0367 | 0.0389 -0.0685 1.0296")
CONES = fractions("""0.8189330101 0.3618667424 -0.1288597137 | 0.0329845436 0.9293118715 0.0361456387
    | 0.0482003018 0.2643662691 0.6338517070""")
D65 = [Fraction(v) for v in ("0.95047", "1", "1.08883")]


def adapt(white, to):
    """The linear Bradford adaptation from a white to another, exact."""
    a = [sum(r * w for r, w in zip(row, white)) for row in BRADFORD]
    b = [sum(r * w for r, w in zip(row, to)) for row in BRADFORD]
    scale = [[b[i] / a[i] if i == j else Fraction(0) for j in range(3)] for i in range(3)]
    return times(inverse(BRADFORD), times(scale, BRADFORD))


def product(a, b):
    return [[(a[i][0] * b[0][j] + a[i][1] * b[1][j]) + a[i][2] * b[2][j] for j in range(3)] for i in range(3)]


class Space:
    """The matrices of a colour space, float64."""

    def __init__(self, profile):
        c = profile.colorants
        xyz = row_sums_one(c)
        cones = row_sums_one(times(CONES, times(adapt(profiles.D50, D65), c)))
        back = inverse(cones)
        w = times(xyz, back)[1]
        self.to_xyz, self.from_xyz = nearest(xyz), nearest(inverse(xyz))
        self.to_cones, self.from_cones = nearest(cones), nearest(back)
        self.wl, self.wm, self.ws = (exact.to64(v) for v in w)

    def y(self, r, g, b):
        m = self.to_xyz[1]
        return g + (m[0] * (r - g) + m[2] * (b - g))

    def split(self, r, g, b):
        l, m, s = (root(v) for v in even(self.to_cones, r, g, b))
        return m, l - m, s - m

    def join(self, m, u, v):
        l, s, n = m + u, m + v, (m * m) * m
        l, s = (l * l) * l - n, (s * s) * s - n
        return [n + (row[0] * l + row[2] * s) for row in self.from_cones]


SPACES = {}


def space_of(profile):
    if profile.digest not in SPACES:
        SPACES[profile.digest] = Space(profile)
    return SPACES[profile.digest]


class Hue:
    """Colours of luminance y, ready to be taken to another luminance and chroma."""

    def __init__(self, space, r, g, b, y, ry):
        self.space, self.y, self.ry = space, y, ry
        m, u, v = space.split(r, g, b)
        self.u, self.v = u, v
        some = ry > 0
        over = np.where(some, 1 / np.where(some, ry, 1.0), 0.0)
        q = np.clip(v * over, -1, 1)
        self.du = np.where(some, (q * q) * 0.2, 0.0)
        self.dv = np.where(some, q * (0.28 * u + 0.36 * v), 0.0)
        lu, sv = space.wl * u, space.ws * v
        s1 = lu + sv
        self.a2 = np.where(some, (s1 * s1 - (lu * u + sv * v)) * over, 0.0)
        self.a3 = np.where(some, ((m + s1) - ry) - self.a2, 0.0)
        self.over = over

    def move(self, y1, ry1, k):
        """The colours at luminance y1 of root ry1, with k times the chroma."""
        grey = (self.u == 0) & (self.v == 0) | (self.ry == 0) | (ry1 == 0)
        c = np.where(grey, 1.0, ry1 * self.over)
        e = k / c
        e2 = e * e
        u = (k * self.u) * (1 - (1 - e2) * self.du)
        v = k * (self.v - (1 - e) * self.dv)
        guess = ry1 + (c * e2) * (self.a2 + self.a3 * e)
        m = self.solve(np.where(grey, 0.0, y1), np.where(grey, 0.0, u), np.where(grey, 0.0, v), guess)
        return [np.where(grey, y1, x) for x in self.space.join(m, u, v)]

    def solve(self, y, u, v, guess):
        """The m that has luminance y with u and v: Halley's method."""
        lu, sv = self.space.wl * u, self.space.ws * v
        lu2, sv2 = lu * u, sv * v
        s1, s2, s3 = lu + sv, lu2 + sv2, lu2 * u + sv2 * v
        s11 = s1 * s1
        p = 3 * (s2 - s11)
        q = ((s3 - y) - (3 * s1) * s2) + (2 * s11) * s1
        x, room = guess, y * 0.001
        going = np.ones(np.shape(y), bool)
        with np.errstate(all="ignore"):
            for _ in range(8):
                x2 = x * x
                d = 3 * x2 + p
                low = d < x2
                x0 = np.where(low, np.sqrt(np.where(low, -p, 0.0)), x)
                x2 = np.where(low, -p, x2)
                d = np.where(low, -2 * p, d)
                f = (x2 + p) * x0 + q
                nx = x0 - (2 * (f * d)) / (2 * (d * d) - 6 * (f * x0))
                x = np.where(going, nx, x)
                going &= ~((-room <= f) & (f <= room))
                if not going.any():
                    break
        return x - s1


def most(r, g, b):
    return np.maximum(np.maximum(r, g), b)


def least(r, g, b):
    return np.minimum(np.minimum(r, g), b)


def edge(r, g, b, y):
    """How near colours lie to the edge of the space: 0 grey, 1 on it."""
    e = (most(r, g, b) - y) / np.maximum(1e-9, 1 - y)
    return np.maximum((e * e) * e, 1 - root(1 - (y - least(r, g, b)) / np.maximum(1e-9, y)))


def inside(r, g, b, y):
    return (most(r, g, b) <= y + 0.9283 * (1 - y)) & (least(r, g, b) >= 0.008 * y)


def within(space, r, g, b, y, was):
    """Colours held off the edge of the space, at their luminance and hue."""
    now = edge(r, g, b, y)
    limit = np.maximum(0.8, np.minimum(1.0, was))
    far = now > limit
    if not far.any():
        return [r, g, b]
    full = [r, g, b]
    r, g, b, y, now = (x[far] for x in (r, g, b, y, now))
    limit = np.broadcast_to(limit, far.shape)[far]
    aim = limit + ((1 - limit) * (now - limit)) / ((1 - limit) + 8 * (now - limit))
    rest = 1 - aim
    up = 1 / np.maximum(1e-12, root(aim) * (1 - y))
    down = 1 / np.maximum(1e-12, y * (1 - (rest * rest) * rest))

    def bounds(r, g, b):
        return (most(r, g, b) - y) * up - 1, (y - least(r, g, b)) * down - 1
    ry = root(y)
    hue = Hue(space, r, g, b, y, ry)
    near, out = np.zeros_like(y), np.ones_like(y)
    lz, lo, lu = np.zeros_like(y), -np.ones_like(y), -np.ones_like(y)
    tz = np.ones_like(y)
    to, tu = bounds(r, g, b)
    going = np.ones(y.shape, bool)
    with np.errstate(all="ignore"):
        for _ in range(10):
            outside = (to > 0) | (tu > 0)
            out = np.where(going & outside, tz, out)
            near = np.where(going & ~outside, tz, near)
            step = tz - lz
            step = np.fmax((to * step) / (to - lo), (tu * step) / (tu - lu))
            going &= ~((-0.0005 < step) & (step < 0.0005))
            if not going.any():
                break
            z = tz - step
            z = np.where((near < z) & (z < out), z, (near + out) * 0.5)
            nr, ng, nb = hue.move(y, ry, z)
            r, g, b = (np.where(going, n, o) for n, o in zip((nr, ng, nb), (r, g, b)))
            no, nu = bounds(nr, ng, nb)
            lz, lo, lu = np.where(going, tz, lz), np.where(going, to, lo), np.where(going, tu, lu)
            tz, to, tu = np.where(going, z, tz), np.where(going, no, to), np.where(going, nu, tu)
        z = np.minimum(2.0, 1 / np.maximum((most(r, g, b) - y) * up, (y - least(r, g, b)) * down))
    held = [plane.copy() for plane in full]
    for plane, c in zip(held, (r, g, b)):
        plane[far] = y + z * (c - y)
    return held


def chroma2(u, v):
    """The square of OKLab's chroma."""
    a = 1.9779984951 * u + 0.4505937099 * v
    b = 0.0259040371 * u - 0.8086757660 * v
    return a * a + b * b


def near(space, r, g, b, y):
    """What light is multiplied by on the way to the nearest colour of the space of the same hue."""
    up, low = most(r, g, b) - y, least(r, g, b)
    with np.errstate(all="ignore"):
        h = np.where(low < 0, y / (y - low), 1.0)
        up = np.where(low < 0, h * up, up)
        ry = root(y)
        _, u, v = space.split(r, g, b)
        chroma = 2 * (h * np.sqrt(chroma2(u, v)))
        a = 1 - 1 / root(y + up)
        p = a * ry
        d = ((1 - (1 - y) / up) - a) * chroma
        t = (p * p - (a * chroma) * d) / (p * p + d * d)
        n = 1 - (1 - np.clip(t, 0.0, 1.0)) * a
    return np.where((up <= 1 - y) | (y >= 1), 1.0, (n * n) * n)


def keep_hue(picture, out):
    """Colours of a conversion that lie outside the space lose chroma instead of being clipped."""
    source, to = space_of(picture.profile), space_of(out.profile)
    n = product(to.from_xyz, source.to_xyz)
    r, g, b = even(n, *planes(picture.profile.decode(picture.samples)))
    stays = (most(r, g, b) <= 1 + 1e-9) & (least(r, g, b) >= -1e-9)
    y = np.clip(to.y(r, g, b), 0.0, 1.0)
    k = near(to, r, g, b, y)
    c = out.profile.encode(np.stack(within(to, r * k, g * k, b * k, y * k, 1.0), axis=2))
    out.samples = np.where(stays[:, :, None], out.samples, c)
