"""The operation denoise, and the noise that is measured for it."""

from fractions import Fraction
from math import isqrt

import numpy as np

import exact
from pictures import Picture
from resample import mask_of

F32 = np.float32
GAINS = (0.80039, 0.27288, 0.11978, 0.05777, 0.02862)


def root(v):
    """The whole number nearest to the square root of a whole number."""
    r = isqrt(v)
    return r + 1 if v > r * r + r else r


def measure(picture):
    """The noise of a picture, as the argument is written."""
    s = picture.samples.astype(np.int64)
    h, w, channels = s.shape
    counted = []                        # squares: eighth, dev, cdev, step
    n = min(64, h // 16)
    for j in range(n):
        top = j * (h - 16) // (n - 1) if n > 1 else 0
        for i in range(w // 16):
            q = s[top:top + 16, 16 * i:16 * i + 16]
            if channels == 1:
                light, colours = 4 * q[:, :, 0], []
            else:
                light = q[:, :, 0] + 2 * q[:, :, 1] + q[:, :, 2]
                colours = [4 * q[:, :, 0] - light, 4 * q[:, :, 2] - light]
            dev = root(squares(light) // 14400)
            cdev = min(65535, root(sum(squares(c) for c in colours) // 28800))
            mean = max(1, int(light.sum()) // 1024)
            if q.min() == 0 or q.max() == 65535 or not 3 * dev <= mean <= 65535 - 3 * dev:
                continue
            steps = np.abs(q[:, 1:] - q[:, :-1])
            steps = steps[steps > 0]
            counted.append((8 * mean // 65536, dev, cdev, int(steps.min()) if steps.size else 0))
    steps = sorted(q[3] for q in counted if q[3])
    least = max(1, root(steps[len(steps) // 2] ** 2 // 12)) if steps else 1
    return " ".join(str(level(counted, e, k, least)) for k in (1, 2) for e in range(8))


def squares(plane):
    d = plane[1:, 1:] - plane[1:, :-1] - plane[:-1, 1:] + plane[:-1, :-1]
    return int((d * d).sum())


def level(counted, e, k, least):
    """The noise of eighth e, number k of the squares."""
    near = sorted(range(8), key=lambda o: (abs(o - e), o))
    of = next((list(q) for q in ([c for c in counted if c[0] == o] for o in near) if len(q) >= 16), counted)
    devs = sorted(q[k] for q in of)
    return max(least, (16 * devs[len(devs) // 50] + 7) // 14) if devs else least


def around(plane, reach, axis):
    """The plane moved by -reach to reach along an axis, held inside."""
    i = np.arange(plane.shape[axis])
    return [np.take(plane, np.clip(i + k, 0, len(i) - 1), axis=axis) for k in range(-reach, reach + 1)]


def mirror(w, r):
    """mirror of the weights w[0..R] and the 2R + 1 terms r."""
    reach = len(w) - 1
    total = w[reach] * (r[0] + r[2 * reach])
    for k in range(reach - 1, 0, -1):
        total = total + w[k] * (r[reach - k] + r[reach + k])
    return total + w[0] * r[reach]


def smooth(c, step):
    w = (F32(0.5), F32(0.25))
    for axis in (1, 0):
        c = mirror(w, around(c, step, axis)[::step])
    return c


def mean_square(parts):
    e = parts[0] * parts[0]
    for d in parts[1:]:
        e = e + d * d
    v = exact.to32(Fraction(1, 49 * len(parts)))
    return mirror((v,) * 4, around(mirror((F32(1),) * 4, around(e, 3, 1)), 3, 0))


def by_brightness(noise):
    """The noise of the 256 steps of brightness, of that of eighths."""
    out = []
    for k in range(256):
        at = max(0.0, min(224.0, k + 0.5 - 16)) / 32
        i = min(int(at), 6)
        out.append(noise[i] + (at - i) * (noise[i + 1] - noise[i]))
    return out


def limits(noise, strength, gain):
    """t of the 256 steps of brightness."""
    out = []
    for n in by_brightness(noise):
        u = (strength * gain) * n
        out.append(max(F32((1.5 * u) * u), F32(2.0 ** -60)))
    return np.array(out, F32)


def brought(o, shape):
    """The noise of a level in the places of the one before."""
    h, w = shape
    y, x = np.arange(h), np.arange(w)
    v = F32(0.5) * o[y // 2] + F32(0.5) * o[np.minimum(y // 2 + y % 2, len(o) - 1)]
    right = v[:, np.minimum(x // 2 + 1, v.shape[1] - 1)]
    return np.where(x % 2 == 0, v[:, x // 2], (v[:, x // 2] + right) * F32(0.5))


def denoise(args, inputs):
    picture = inputs[0]
    s = picture.samples.astype(F32)
    noise = [float(v) for v in args["noise"].split()]
    strengths = [exact.to64(Fraction(args[k])) for k in ("lightness", "chroma")]
    c = [s[:, :, 0]]
    if picture.channels == 3:
        light = (s[:, :, 0] + F32(2) * s[:, :, 1] + s[:, :, 2]) * F32(0.25)
        c = [light, s[:, :, 0] - light, s[:, :, 2] - light]
    levels = []
    for number, gain in enumerate(GAINS):
        n = [smooth(p, 1 if number == 0 else 2) for p in c]
        d = [p - q for p, q in zip(c, n)]
        step = np.floor(n[0]).astype(np.int64) // 256
        own = []
        for of, parts in enumerate((d[:1], d[1:])):
            if parts:
                t = limits(noise[8 * of:8 * of + 8], strengths[of], gain)[step]
                share = t / np.maximum(t, mean_square(parts))
                own += [p * (share * share) for p in parts]
        levels.append(own)
        c = n if number == 0 else [p[::2, ::2] for p in n]
    z = levels[4]
    for number in (3, 2, 1):
        z = [brought(o, own.shape) + own for o, own in zip(z, levels[number])]
    z = [o + own for o, own in zip(z, levels[0])]
    mask = mask_of(args, inputs, 1, picture)
    if mask is not None:
        z = [p * mask for p in z]
    if picture.channels == 1:
        out = s - z[0][:, :, None]
    else:
        l, p, q = z
        out = np.stack([s[:, :, 0] - (l + p), s[:, :, 1] - (l - (p + q) * F32(0.5)), s[:, :, 2] - (l + q)], axis=2)
    return Picture(exact.round_samples(out), picture.profile)
