"""The JPEG encoder: baseline (ITU-T T.81), the accurate integer transform, one restart a row of blocks."""

import struct

import numpy as np

from containers import directory, resolution, text_entries, to_bytes, xmp

LUMINANCE = """16 11 10 16 24 40 51 61 12 12 14 19 26 58 60 55 14 13 16 24 40 57 69 56 14 17 22 29 51 87 80 62
18 22 37 56 68 109 103 77 24 35 55 64 81 104 113 92 49 64 78 87 103 121 120 101 72 92 95 98 112 100 103 99"""
CHROMINANCE = """17 18 24 47 99 99 99 99 18 21 26 66 99 99 99 99 24 26 56 99 99 99 99 99 47 66 99 99 99 99 99 99
99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99"""

# T.81, annex K.3: counts of codes of 1 to 16 bits, and their symbols.
DC_LUMINANCE = ("00010501010101010100000000000000", "000102030405060708090a0b")
DC_CHROMINANCE = ("00030101010101010101010000000000", "000102030405060708090a0b")
AC_LUMINANCE = ("0002010303020403050504040000017d", """
01020300041105122131410613516107227114328191a1082342b1c11552d1f02433627282090a161718191a25262728
292a3435363738393a434445464748494a535455565758595a636465666768696a737475767778797a83848586878889
8a92939495969798999aa2a3a4a5a6a7a8a9aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9dae1e2
e3e4e5e6e7e8e9eaf1f2f3f4f5f6f7f8f9fa""")
AC_CHROMINANCE = ("00020102040403040705040400010277", """
0001020311040521310612415107617113223281081442 91a1b1c109233352f0156272d10a162434e125f11718191a26
2728292a35363738393a434445464748494a535455565758595a636465666768696a737475767778797a828384858687
88898a92939495969798999aa2a3a4a5a6a7a8a9aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9da
e2e3e4e5e6e7e8e9eaf2f3f4f5f6f7f8f9fa""")

ZIGZAG = sorted(range(64), key=lambda i: (i // 8 + i % 8, (i // 8 if (i // 8 + i % 8) % 2 else i % 8)))


def hexes(text):
    return bytes.fromhex("".join(text.split()))


def codes(table):
    """A table's code and its length for each symbol (T.81, annex C)."""
    counts, symbols = hexes(table[0]), hexes(table[1])
    out, code, k = {}, 0, 0
    for length, n in enumerate(counts, 1):
        for _ in range(n):
            out[symbols[k]] = (code, length)
            code += 1
            k += 1
        code <<= 1
    return out


def quantising(text, quality):
    scale = 5000 // quality if quality < 50 else 200 - 2 * quality
    return [min(max((int(t) * scale + 50) // 100, 1), 255) for t in text.split()]


def transform(blocks):
    """The accurate integer transform of blocks (n x 8 x 8), 8 times too large."""
    d = blocks.astype(np.int64) - 128
    d = transform_pass(d, True)
    return transform_pass(d.transpose(0, 2, 1), False).transpose(0, 2, 1)


def transform_pass(d, first):
    """One direction of the transform, along the last axis."""
    def scaled(x, n):
        return (x + (1 << (n - 1))) >> n

    small = 11 if first else 15                 # 13 bits of constants, 2 of the first pass
    v = [d[:, :, i] for i in range(8)]
    t = [v[i] + v[7 - i] for i in range(4)] + [v[3 - i] - v[4 + i] for i in range(4)]
    t10, t13, t11, t12 = t[0] + t[3], t[0] - t[3], t[1] + t[2], t[1] - t[2]
    out = [None] * 8
    if first:
        out[0], out[4] = (t10 + t11) << 2, (t10 - t11) << 2
    else:
        out[0], out[4] = scaled(t10 + t11, 2), scaled(t10 - t11, 2)
    z1 = (t12 + t13) * 4433
    out[2], out[6] = scaled(z1 + t13 * 6270, small), scaled(z1 - t12 * 15137, small)
    t4, t5, t6, t7 = t[4:]
    z1, z2, z3, z4 = t4 + t7, t5 + t6, t4 + t6, t5 + t7
    z5 = (z3 + z4) * 9633
    t4, t5, t6, t7 = t4 * 2446, t5 * 16819, t6 * 25172, t7 * 12299
    z1, z2 = z1 * -7373, z2 * -20995
    z3, z4 = z3 * -16069 + z5, z4 * -3196 + z5
    out[7], out[5] = scaled(t4 + z1 + z3, small), scaled(t5 + z2 + z4, small)
    out[3], out[1] = scaled(t6 + z2 + z3, small), scaled(t7 + z1 + z4, small)
    return np.stack(out, axis=2)


def component(plane, rows, columns, table):
    """The quantised blocks (rows x columns x 64, in zigzag order) of a plane, its edges repeated."""
    h, w = plane.shape
    plane = np.pad(plane, ((0, 8 * rows - h), (0, 8 * columns - w)), "edge")
    blocks = plane.reshape(rows, 8, columns, 8).transpose(0, 2, 1, 3).reshape(-1, 8, 8)
    c = transform(blocks).reshape(-1, 64)
    q = 8 * np.array(table, np.int64)
    c = np.sign(c) * ((np.abs(c) + q // 2) // q)
    return c[:, ZIGZAG].reshape(rows, columns, 64)


def halved(plane):
    """Sums of four, plus 1 in even columns and 2 in odd ones, div 4; edges repeated, across to whole blocks."""
    h, w = plane.shape
    p = np.pad(plane, ((0, h % 2), (0, -w % 16)), "edge").astype(np.int64)
    s = p[::2, ::2] + p[1::2, ::2] + p[::2, 1::2] + p[1::2, 1::2]
    return (s + 1 + np.arange(s.shape[1]) % 2) // 4


class Writer:
    """Bits, most significant first, with a zero byte behind each byte of ones."""

    def __init__(self):
        self.bits, self.n = 0, 0

    def put(self, code, length):
        self.bits = self.bits << length | code
        self.n += length

    def finish(self):
        fill = -self.n % 8
        self.put((1 << fill) - 1, fill)
        data = self.bits.to_bytes(self.n // 8, "big")
        return data.replace(b"\xff", b"\xff\0")


def put_block(out, block, before, dc, ac):
    """One block of 64 quantised numbers; before is the last one's first number."""
    diff = int(block[0]) - before
    size = abs(diff).bit_length()
    out.put(*dc[size])
    out.put(diff if diff >= 0 else diff + (1 << size) - 1, size)
    run = 0
    last = 0
    for k in np.flatnonzero(block[1:]):
        k = int(k) + 1
        run = k - last - 1
        last = k
        while run > 15:
            out.put(*ac[0xF0])
            run -= 16
        v = int(block[k])
        size = abs(v).bit_length()
        out.put(*ac[run << 4 | size])
        out.put(v if v >= 0 else v + (1 << size) - 1, size)
    if last < 63:
        out.put(*ac[0])
    return int(block[0])


def segment(marker, data):
    return struct.pack(">BBH", 0xFF, marker, len(data) + 2) + data


def headers(picture, ppi, title, rights):
    """The segments in front of the tables."""
    if ppi is None:
        density = (0, 1, 1)
    else:
        density = (1,) + (max(1, min(65535, (2 * ppi.numerator + ppi.denominator) // (2 * ppi.denominator))),) * 2
    out = segment(0xE0, b"JFIF\0" + struct.pack(">HBHHBB", 0x0102, *density, 0, 0))
    entries = sorted(text_entries(">", title, rights) + (resolution(">", ppi) if ppi else []))
    out += segment(0xE1, b"Exif\0\0MM\0*\0\0\0\x08" + directory(entries, ">", 8))
    packet = xmp(title, rights)
    if packet:
        out += segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + packet)
    if picture.profile:
        data = picture.profile.data
        pieces = [data[i:i + 65519] for i in range(0, len(data), 65519)]
        for i, piece in enumerate(pieces, 1):
            out += segment(0xE2, b"ICC_PROFILE\0" + bytes([i, len(pieces)]) + piece)
    return out


def jpeg(picture, quality, chroma, ppi, title="", rights=""):
    """A print file: baseline JPEG."""
    data = to_bytes(picture.samples).astype(np.int64)
    h, w, channels = data.shape
    half = chroma == "half" and channels == 3
    tables = [quantising(LUMINANCE, quality), quantising(CHROMINANCE, quality)][:2 if channels == 3 else 1]
    if channels == 3:
        r, g, b = data[:, :, 0], data[:, :, 1], data[:, :, 2]
        offset = 128 * 65536 + 32767
        planes = [19595 * r + 38470 * g + 7471 * b + 32768 >> 16,
                  -11059 * r - 21709 * g + 32768 * b + offset >> 16,
                  32768 * r - 27439 * g - 5329 * b + offset >> 16]
        if half:
            planes[1:] = [halved(p) for p in planes[1:]]
    else:
        planes = [data[:, :, 0]]
    size = 16 if half else 8
    across, down = -(-w // size), -(-h // size)
    parts = []
    for i, p in enumerate(planes):
        f = 2 if half and i == 0 else 1
        rows, columns = -(-p.shape[0] // 8), -(-p.shape[1] // 8)
        parts.append((component(p, rows, columns, tables[min(i, 1)]), f))
    kinds = [(DC_LUMINANCE, AC_LUMINANCE), (DC_CHROMINANCE, AC_CHROMINANCE)][:len(tables)]
    coders = [(codes(dc), codes(ac)) for dc, ac in kinds]

    out = b"\xff\xd8" + headers(picture, ppi, title, rights)
    for i, t in enumerate(tables):
        out += segment(0xDB, bytes([i]) + bytes(t[k] for k in ZIGZAG))
    frame = struct.pack(">BHHB", 8, h, w, channels)
    scan = bytes([channels])
    for i, (_, f) in enumerate(parts):
        frame += bytes([i + 1, 0x22 if f == 2 else 0x11, min(i, 1)])
        scan += bytes([i + 1, 0x11 if i else 0])
    out += segment(0xC0, frame)
    for i, pair in enumerate(kinds):
        for j, table in enumerate(pair):
            out += segment(0xC4, bytes([j << 4 | i]) + hexes(table[0]) + hexes(table[1]))
    out += segment(0xDD, struct.pack(">H", across)) + segment(0xDA, scan + bytes([0, 63, 0]))
    for y in range(down):
        if y:
            out += bytes([0xFF, 0xD0 | (y - 1) % 8])
        out += coded_row(parts, coders, y, across)
    return out + b"\xff\xd9"


def coded_row(parts, coders, y, across):
    """One row of units: the blocks of each component in turn."""
    out = Writer()
    before = [0] * len(parts)
    for x in range(across):
        for i, (blocks, f) in enumerate(parts):
            dc, ac = coders[min(i, 1)]
            for v in range(f):
                for u in range(f):
                    row, column = y * f + v, x * f + u
                    if row < blocks.shape[0] and column < blocks.shape[1]:
                        block = blocks[row, column]
                    else:                       # beyond the picture: the last block's mean
                        block = np.zeros(64, np.int64)
                        block[0] = before[i]
                    before[i] = put_block(out, block, before[i], dc, ac)
    return out.finish()
