"""The place around a spot that looks most like what it lies on."""

import math

import numpy as np


def light_of(samples):
    """Red + 2 green + blue, or grey, as whole numbers."""
    s = samples.astype(np.int64)
    return s[:, :, 0] if s.shape[2] == 1 else s[:, :, 0] + 2 * s[:, :, 1] + s[:, :, 2]


def spread(v):
    """V: the sum of squares less the mean's, of whole numbers."""
    v = v.astype(object) if np.abs(v).max() > 1 << 27 else v
    squares, total = int((v * v).sum()), int(v.sum())
    return max(0.0, float(squares) - float(total * total) / len(v))


def distance(dx, dy):
    return np.sqrt(dx * dx + dy * dy)


class Blocks:
    """Means of light of whole blocks of what is read around a spot, with the place of the first."""

    def __init__(self, spot, light, size, n):
        h, w = light.shape
        px, py = int(math.floor(spot.fx)), int(math.floor(spot.fy))
        self.x0, self.x1 = -(-max(0, px - n) // size), min(w, px + n + 1) // size
        self.y0, self.y1 = -(-max(0, py - n) // size), min(h, py + n + 1) // size
        rows, columns = max(0, self.y1 - self.y0), max(0, self.x1 - self.x0)
        part = light[self.y0 * size:self.y1 * size, self.x0 * size:self.x1 * size]
        self.mean = part.reshape(rows, size, columns, size).sum(axis=(1, 3)) // size ** 2

    def at(self, x, y):
        return self.mean[y - self.y0, x - self.x0]


def place(spot, others, samples):
    """The offset of the place that a spot is filled from, or None where none fits."""
    size = 1
    while spot.r > 8 * size:
        size *= 2
    q = spot.r / size + 1
    reach = int(math.floor(5 * q)) + 8
    light = light_of(samples)
    blocks = Blocks(spot, light, size, size * (reach + int(math.floor(q)) + 5))
    others = [o for o in others
              if max(abs(o.fx - spot.fx), abs(o.fy - spot.fy)) < size * (reach + q + 4) + o.r]
    x, y = np.meshgrid(np.arange(blocks.x0, blocks.x1), np.arange(blocks.y0, blocks.y1))
    d = distance(x + 0.5 - spot.fx / size, y + 0.5 - spot.fy / size)
    disc, ring, box = d < q, (d >= q) & (d < q + 3), d < q + 3
    for o in others:
        ring &= ~(distance(x + 0.5 - o.fx / size, y + 0.5 - o.fy / size) < o.r / size + 1)
    if not disc.any() or not ring.any():
        return None
    left, right, top, bottom = x[box].min(), x[box].max(), y[box].min(), y[box].max()
    rx, ry, dx, dy = x[ring], y[ring], x[disc], y[disc]
    own = blocks.at(rx, ry)
    found = []
    for oy in range(max(-reach, blocks.y0 - top), min(reach, blocks.y1 - 1 - bottom) + 1):
        for ox in range(max(-reach, blocks.x0 - left), min(reach, blocks.x1 - 1 - right) + 1):
            if math.sqrt(ox * ox + oy * oy) < 2 * q + 4:
                continue
            if any(distance(spot.fx + ox * size - o.fx, spot.fy + oy * size - o.fy) < (q + 3) * size + o.r
                   for o in others):
                continue
            e = own - blocks.at(rx + ox, ry + oy)
            found.append((int((e * e).sum()), oy, ox))
    found = [Found(spot, samples, size, f, len(rx)) for f in apart(sorted(found), int(math.floor(q)) // 2)]
    found.sort(key=lambda f: f.misfit)
    found = [f for f in found[:9] if f.misfit <= 1.5 * found[0].misfit]
    if not found:
        return None
    discs = [blocks.at(dx + f.x, dy + f.y) for f in found]
    v = [spread(a) for a in discs]
    weights = [math.sqrt(a + 1) for a in v]
    totals = [0.0] * len(found)
    for i in range(len(found)):
        for j in range(i):
            u = spread(discs[i] - discs[j]) / (weights[i] * weights[j])
            totals[i] += u
            totals[j] += u
    n = (2 * len(found) + 2) // 3
    kept = sorted(sorted(range(len(found)), key=lambda i: (totals[i], i))[:n])
    calm = (4 * spread(own)) / len(rx) + 65536
    kept = [i for i in kept if v[i] / len(dx) <= calm]
    if not kept:
        return None
    least = 0.6 * grain(rx, ry, own)
    for i in kept:
        if grain(dx, dy, discs[i]) >= least:
            return found[i].to
    return found[kept[0]].to


class Found:
    """A place that was found, aligned to the pixel by ever smaller steps."""

    def __init__(self, spot, samples, size, found, ring):
        unlike, self.y, self.x = found
        h, w, c = samples.shape
        x, y = spot.around(spot.r + 2, w, h)
        d2 = spot.distance2(x, y)
        rim = (d2 >= spot.r * spot.r) & (d2 <= (spot.r + 1.5) * (spot.r + 1.5))
        x, y = x[rim], y[rim]
        weights = np.array([1] if c == 1 else [4, 8, 4])

        def sum_at(ox, oy):
            gx, gy = np.clip(x + ox, 0, w - 1), np.clip(y + oy, 0, h - 1)
            e = samples[y, x].astype(np.int64) - samples[gy, gx]
            return int((e * e * weights).sum())
        to = self.x * size, self.y * size
        least, step = sum_at(*to), size // 2
        while step:
            tries = [(to[0] + a * step, to[1] + b * step) for b in (-1, 0, 1) for a in (-1, 0, 1)]
            sums = [sum_at(*t) for t in tries]
            least = min(sums)
            to = tries[sums.index(least)]
            step //= 2
        self.to = list(to)
        self.misfit = least / len(x) + unlike / ring


def grain(x, y, means):
    """The mean of squared differences of blocks beside each other in a list of blocks."""
    at = {(a, b): int(m) for a, b, m in zip(x.tolist(), y.tolist(), means)}
    pairs = [(m - at[a - 1, b]) ** 2 for (a, b), m in at.items() if (a - 1, b) in at]
    return sum(pairs) / max(1, len(pairs))


def apart(found, least):
    """The 24 first, none near an earlier one on both axes."""
    out = []
    for f in found:
        if all(abs(f[1] - b[1]) > least or abs(f[2] - b[2]) > least for b in out):
            out.append(f)
            if len(out) == 24:
                break
    return out
