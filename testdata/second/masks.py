"""The operation mask: shapes drawn on a plane."""

from fractions import Fraction

import numpy as np

import exact
from pictures import Picture
from resample import blur, sample_mask

F32 = np.float32


def fade(d, h, softness, pixel):
    """The share of a shape at a distance inside its outline; pixel is the length of 1 px there."""
    z = softness * h
    f = np.maximum(z, pixel)
    return smooth((d - (z - f) / 2) / f)


def smooth(t):
    """The cubic Hermite polynomial from 0 to 1 with flat ends."""
    t = np.clip(t, 0.0, 1.0)
    return (t * t) * (3 - 2 * t)


def centres(width, height):
    return np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)


def segment_distance(x, y, x0, y0, x1, y1):
    """How far points lie from a straight line between two points."""
    ux, uy = x1 - x0, y1 - y0
    length = ux * ux + uy * uy
    inv = 1 / length if length else 0.0
    dx, dy = x - x0, y - y0
    t = np.clip((dx * ux + dy * uy) * inv, 0.0, 1.0)
    dx, dy = dx - t * ux, dy - t * uy
    return np.sqrt(dx * dx + dy * dy)


def ellipse(words, width, height):
    cx, cy, w, h, soft = numbers(words, "at", 2, "size", 2, "soft", 1)
    ia, ib = 1 / (w / 2), 1 / (h / 2)
    x, y = centres(width, height)
    u, v = (x - cx) * ia, (y - cy) * ib
    rho = np.sqrt(u * u + v * v)
    gu, gv = u * ia, v * ib
    with np.errstate(invalid="ignore", divide="ignore"):
        pixel = np.where(rho > 0, np.sqrt(gu * gu + gv * gv) / rho, max(ia, ib))
    return fade(1 - rho, 1.0, soft, pixel)


def rectangle(words, width, height):
    cx, cy, w, h, soft = numbers(words, "at", 2, "size", 2, "soft", 1)
    x, y = centres(width, height)
    d = np.minimum(w / 2 - np.abs(x - cx), h / 2 - np.abs(y - cy))
    return fade(d, min(w, h) / 2, soft, 1.0)


def polygon(words, width, height):
    i = words.index("soft")
    p = [float(Fraction(v)) for v in words[:i]]
    soft = float(Fraction(words[i + 1]))
    points = list(zip(p[::2], p[1::2]))
    x, y = centres(width, height)
    d = np.full(x.shape, np.inf)
    inside = np.zeros(x.shape, bool)
    for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1]):
        d = np.minimum(d, segment_distance(x, y, x0, y0, x1, y1))
        if y0 != y1:
            crosses = (y0 <= y) != (y1 <= y)
            at = x0 + ((y - y0) * (x1 - x0)) / (y1 - y0)
            inside ^= crosses & (at <= x)
    d = np.where(inside, d, -d)
    xs, ys = [q[0] for q in points], [q[1] for q in points]
    h = min(max(xs) - min(xs), max(ys) - min(ys)) / 2
    return fade(d, h, soft, 1.0)


def stroke(words, width, height):
    i = words.index("width")
    p = [float(Fraction(v)) for v in words[1:i]]
    h, soft = float(Fraction(words[i + 1])) / 2, float(Fraction(words[i + 3]))
    points = list(zip(p[::2], p[1::2]))
    x, y = centres(width, height)
    d = np.full(x.shape, np.inf)
    for (x0, y0), (x1, y1) in zip(points, points[1:]):
        d = np.minimum(d, segment_distance(x, y, x0, y0, x1, y1))
    return fade(h - d, h, soft, 1.0)


def gradient(words, width, height):
    x0, y0, x1, y1 = numbers(words, "from", 2, "to", 2)
    x, y = centres(width, height)
    vx, vy = x1 - x0, y1 - y0
    return np.clip(1 - ((x - x0) * vx + (y - y0) * vy) / (vx * vx + vy * vy), 0.0, 1.0)


def numbers(words, *layout):
    """The numbers behind the words of a layout: word, how many, word, how many ..."""
    out = []
    for word, n in zip(layout[::2], layout[1::2]):
        i = words.index(word)
        out += [float(Fraction(v)) for v in words[i + 1:i + 1 + n]]
    return out


SHAPES = {"ellipse": ellipse, "rectangle": rectangle, "polygon": polygon,
          "stroke": stroke, "gradient": gradient}


def mask(args, inputs):
    """The operation mask: the lines shape-1, shape-2 ... acting in order on an empty plane."""
    width, height = int(args["width"]), int(args["height"])
    plane = np.zeros((height, width), F32)
    inputs = list(inputs)
    one = F32(1)
    n = 1
    while "shape-%d" % n in args:
        words = args["shape-%d" % n].split()
        n += 1
        way = words[0]
        if way == "invert":
            plane = one - plane
            continue
        if way == "soften":
            plane = np.minimum(blur(plane, Fraction(words[1])), one)
            continue
        if words[1] in ("file", "mask"):
            picture = inputs.pop(0)
            if words[1] == "mask":
                b = picture.samples[:, :, 0].astype(F32) / F32(65535)
            else:
                covers = [Fraction(0), Fraction(0), Fraction(picture.width), Fraction(picture.height)]
                b = sample_mask(picture, width, height, covers)
        else:
            b = SHAPES[words[1]](words[2:], width, height).astype(F32)
        if way == "add":
            plane = plane + b * (one - plane)
        elif way == "less":
            plane = plane * (one - b)
        else:
            plane = plane * b
    return Picture(exact.round_samples(plane * F32(65535)))
