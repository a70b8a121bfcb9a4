"""Operations convert and mix: by light, by shares of the connection space, and through tables."""

from fractions import Fraction

import numpy as np

import exact
import hues
import profiles
import tables
from matrices import even, inverse, nearest, plain, planes, row_sums_one, times
from pictures import Picture


def same_white(a, b):
    return all(abs(x - y) <= Fraction(16, 65536) for x, y in zip(a, b))


def media_white(profile):
    """The media white; that of a display of version 2 counts as D50."""
    if profile.version < 4 and profile.kind == b"mntr":
        return list(profiles.D50)
    return profile.xyz("wtpt")


def absolute_scale(source, to):
    out = []
    for a, b, d in zip(media_white(source), media_white(to), profiles.D50):
        out.append(exact.to64(a / d) / exact.to64(b / d))
    return out


def by_light(picture, to, s, o):
    """Codes to light, light by a matrix, light to codes."""
    source = picture.profile
    light = source.decode(picture.samples)
    if s != 1:
        light = s * light + o
    d = planes(light)
    same = same_white(source.white, to.white)
    if source.channels == 3 and to.channels == 3:
        m = times(inverse(to.colorants), source.colorants)
        out = even(nearest(row_sums_one(m)), *d) if same else plain(nearest(m), *d)
    elif source.channels == 3:
        w = source.luma64
        out = [d[1] + (w[0] * (d[0] - d[1]) + w[2] * (d[2] - d[1]))]
    elif to.channels == 1:
        out = d
    elif same_white(to.white, profiles.D50):
        out = [d[0]] * 3
    else:
        white = times(inverse(to.colorants), [[v] * 3 for v in profiles.D50])
        out = [d[0] * exact.to64(row[0]) for row in white]
    return Picture(to.encode(np.stack(out, axis=2)), to)


def shares_matrix(profile):
    """The exact matrix from light to shares, and how it meets pixels."""
    same = same_white(profile.white, profiles.D50)
    by = profile.white if same else profiles.D50
    return [[v / w for v in row] for row, w in zip(profile.colorants, by)], even if same else plain


def curves_to_shares(profile, samples):
    """X, Y and Z as shares of D50's, of a picture's samples."""
    d = planes(profile.decode(samples))
    if profile.channels == 1:
        return [d[0]] * 3
    m, way = shares_matrix(profile)
    return way(nearest(m), *d)


def shares_to_curves(profile, v):
    """Samples of X, Y and Z as shares of D50's."""
    if profile.channels == 1:
        return profile.encode(v[1][:, :, None])
    m, way = shares_matrix(profile)
    return profile.encode(np.stack(way(nearest(inverse(m)), *v), axis=2))


def luminance_of_black(lightness):
    return float(exact.lab_inverse(np.float64((lightness + 16) / 116)))


def lightness_of_zeros(profile, intent):
    """L* of codes 0 in all channels, held to 0 to 50."""
    t = tables.table(profile, "A2B", intent)
    zero = np.zeros((1, 1, profile.channels), np.uint16)
    if t:
        lab = t.to_lab(t.forward(zero.astype(np.float64)))
        return float(np.clip(lab[0][0, 0], 0, 50))
    if not profile.has_curves:
        return 0.0
    y = curves_to_shares(profile, zero)[1]
    return float(np.clip(116 * exact.lab_f(y, exact.cbrt)[0, 0] - 16, 0, 50))


REFERENCE = 0.0034731


def source_black(profile, intent):
    t = tables.table(profile, "A2B", intent)
    if t and profile.version >= 4 and intent in ("perceptual", "saturation"):
        return REFERENCE
    return luminance_of_black(lightness_of_zeros(profile, intent))


def destination_black(profile, intent):
    back, there = tables.table(profile, "B2A", intent), tables.table(profile, "A2B", "relative")
    if back and profile.version >= 4 and intent in ("perceptual", "saturation"):
        return REFERENCE
    plain_black = luminance_of_black(lightness_of_zeros(profile, intent))
    if not back or not there:
        return plain_black
    given = np.arange(256) * 100.0 / 255
    zeros = np.zeros((1, 256))
    codes = back.backward(back.from_lab([given[None], zeros, zeros]))
    out = np.clip(there.to_lab(there.forward(codes))[0][0], 0, 100)
    for i in range(254, 0, -1):
        out[i] = min(out[i], out[i + 1])
    low, span = out[0], out[255] - out[0]
    if not span > 0:
        return 0.0
    if intent in ("relative", "absolute"):
        if (np.abs(given - out)[given > low + 0.2 * span] < 4).all():
            return plain_black
        start, till = 0.1, 0.5
    else:
        start, till = 0.03, 0.25
    v = (out - low) / span
    use = (v >= start) & (v < till)
    return luminance_of_black(parabola(given[use], v[use]))


def parabola(x, v):
    """Where the parabola through points of a ramp would reach 0."""
    if len(x) < 3:
        return 0.0
    s, r = [0.0] * 5, [0.0] * 3
    for xi, vi in zip(x.tolist(), v.tolist()):
        t = xi / 50 - 0.5
        p = 1.0
        for k in range(5):
            s[k] += p
            if k < 3:
                r[k] += vi * p
            p = p * t

    def det(m):
        return (m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
                - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])) \
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    m = [s[0:3], s[1:4], s[2:5]]
    d = det(m)
    if d == 0:
        return 0.0
    c = [det([[r[i] if j == k else m[i][j] for j in range(3)] for i in range(3)]) / d for k in range(3)]
    if abs(c[2]) < 1e-9:
        t = -c[0] / c[1] if c[1] else 0.0
    else:
        q = c[1] * c[1] - (4 * c[2]) * c[0]
        if q <= 0:
            return 0.0
        t = (np.sqrt(q) - c[1]) / (2 * c[2])
    return float(min(max(50 * (t + 0.5), 0.0), 50.0))


def convert(args, inputs):
    """The operation convert."""
    picture = inputs[0]
    source, to = picture.profile, profiles.known(args["profile"])
    if source.digest == to.digest:
        return Picture(picture.samples, to)
    intent = args.get("intent", "relative")
    there, back = tables.table(source, "A2B", intent), tables.table(to, "B2A", intent)
    s, o = [1.0] * 3, 0.0
    acts = args.get("black-point", "on") == "on"
    if intent in ("perceptual", "saturation"):
        acts = acts or there and source.version >= 4 or back and to.version >= 4
    if intent == "absolute":
        s = absolute_scale(source, to)
        acts = False
    elif acts:
        a, b = source_black(source, intent), destination_black(to, intent)
        k = (1 - b) / (1 - a)
        s, o = [k] * 3, 1 - k
    if there or back:
        return through_tables(picture, to, there, back, s, o)
    if s == [1.0] * 3 or acts and same_white(source.white, to.white) and same_white(source.white, profiles.D50):
        out = by_light(picture, to, s[0], o)
    else:
        v = curves_to_shares(source, picture.samples)
        v = [f * x + o for f, x in zip(s, v)]
        out = Picture(shares_to_curves(to, v), to)
    if args.get("hue") == "keep":
        hues.keep_hue(picture, out)
    return out


def through_tables(picture, to, there, back, s, o):
    """The way where an end has a table."""
    if there:
        v = there.forward(picture.samples.astype(np.float64))
        lab = there.pcs == b"Lab "
        v = there.to_lab(v) if lab else there.to_xyz(v)
    else:
        v, lab = curves_to_shares(picture.profile, picture.samples), False
    wants_lab = back is not None and back.pcs == b"Lab "
    if s != [1.0] * 3:
        if lab:
            v, lab = tables.lab_to_shares(v), False
        v = [f * x + o for f, x in zip(s, v)]
    if lab and not wants_lab:
        v = tables.lab_to_shares(v)
    elif wants_lab and not lab:
        v = tables.shares_to_lab(v)
    if back is None:
        return Picture(shares_to_curves(to, v), to)
    codes = back.from_lab(v) if wants_lab else back.from_xyz(v)
    return Picture(exact.round_samples(back.backward(codes)), to)


def mix(args, inputs):
    """The operation mix: a grey picture of shares of light."""
    picture = inputs[0]
    r, g, b = planes(picture.profile.decode(picture.samples))
    red, blue = exact.to64(Fraction(args["red"])), exact.to64(Fraction(args["blue"]))
    grey = g + (red * (r - g) + blue * (b - g))
    to = profiles.built_in("grey-2.2")
    return Picture(to.encode(grey[:, :, None]), to)
