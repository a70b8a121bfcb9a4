"""What print files of both kinds share: bytes of samples, texts, and the TIFF writer."""

import struct

import numpy as np

from pictures import GOLDEN, splitmix


def to_bytes(samples):
    """Samples of 16 bits as 8 bits: (v + d) div 257 with a noise d for each pixel."""
    h, w, _ = samples.shape
    y, x = np.meshgrid(np.arange(h, dtype=np.uint64), np.arange(w, dtype=np.uint64), indexing="ij")
    state = ((y << np.uint64(32)) + x // np.uint64(4) + np.uint64(1)) * np.uint64(GOLDEN)
    n = splitmix(state) >> (x % np.uint64(4) * np.uint64(16)) & np.uint64(0xFFFF)
    d = np.uint64(257) * n >> np.uint64(16)
    return ((samples.astype(np.uint64) + d[:, :, None]) // np.uint64(257)).astype(np.uint8)


def is_ascii(text):
    return bool(text) and all(" " <= c <= "~" for c in text)


def xmp(title, rights):
    """The XMP packet that holds title and rights, or nothing where there is neither."""
    if not title and not rights:
        return b""

    def escaped(text):
        return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") \
            .replace("\t", "&#x9;").replace("\n", "&#xA;").replace("\r", "&#xD;")

    out = ['<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>',
           '<x:xmpmeta xmlns:x="adobe:ns:meta/">',
           '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">',
           '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">']
    for word, text in (("title", title), ("rights", rights)):
        if text:
            out.append('<dc:%s><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></dc:%s>'
                       % (word, escaped(text), word))
    out += ["</rdf:Description>", "</rdf:RDF>", "</x:xmpmeta>", '<?xpacket end="r"?>']
    return "\n".join(out).encode()


BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, LONG8 = 1, 2, 3, 4, 5, 7, 16


def directory(entries, order, start, big=False):
    """A TIFF directory at start and the values behind it: entries are (tag, type, count, bytes)."""
    room, number, count_of = (8, "Q", "Q") if big else (4, "I", "H")
    at = start + struct.calcsize("=" + count_of) + (4 + 2 * room) * len(entries) + room
    head, tail = struct.pack(order + count_of, len(entries)), b""
    for tag, kind, count, value in entries:
        head += struct.pack(order + "HH" + number, tag, kind, count)
        if len(value) <= room:
            head += value.ljust(room, b"\0")
        else:
            head += struct.pack(order + number, at + len(tail))
            tail += value + b"\0" * (len(value) % 2)
    return head + b"\0" * room + tail


def text_entries(order, title, rights):
    """The entries for texts and orientation that both containers hold."""
    out = [(274, SHORT, 1, struct.pack(order + "H", 1))]
    if is_ascii(title):
        out.append((270, ASCII, len(title) + 1, title.encode() + b"\0"))
    if is_ascii(rights):
        out.append((33432, ASCII, len(rights) + 1, rights.encode() + b"\0"))
    return out


def resolution(order, ppi):
    """The entries of a resolution; 1 of no unit where there is none."""
    n, d = (ppi.numerator, ppi.denominator) if ppi else (1, 1)
    places = 1000000
    while max(n, d) >= 1 << 32:                 # as many decimals as fit
        n, d = (2 * ppi.numerator * places + ppi.denominator) // (2 * ppi.denominator), places
        places //= 10
    value = struct.pack(order + "II", n, d)
    return [(282, RATIONAL, 1, value), (283, RATIONAL, 1, value),
            (296, SHORT, 1, struct.pack(order + "H", 2 if ppi else 1))]


def tiff(picture, bits, ppi, title="", rights=""):
    """A print file: uncompressed little-endian TIFF, the directory in front."""
    h, w, c = picture.samples.shape
    if bits == 8:
        data = to_bytes(picture.samples).tobytes()
    else:
        data = picture.samples.astype("<u2").tobytes()
    return tiff_head(w, h, c, bits, ppi, title, rights, picture.profile) + data


def tiff_head(w, h, c, bits, ppi, title, rights, profile):
    """What stands in front of the samples."""
    row = w * c * bits // 8
    rows = max(1, 262144 // row)
    rows = min(h, rows + (row % 2 and rows % 2))
    counts = [row * min(rows, h - y) for y in range(0, h, rows)]
    entries = text_entries("<", title, rights) + resolution("<", ppi) + [
        (256, LONG, 1, struct.pack("<I", w)),
        (257, LONG, 1, struct.pack("<I", h)),
        (258, SHORT, c, struct.pack("<%dH" % c, *[bits] * c)),
        (259, SHORT, 1, struct.pack("<H", 1)),
        (262, SHORT, 1, struct.pack("<H", 2 if c == 3 else 1)),
        (277, SHORT, 1, struct.pack("<H", c)),
        (278, LONG, 1, struct.pack("<I", rows)),
        (279, LONG, len(counts), struct.pack("<%dI" % len(counts), *counts)),
        (284, SHORT, 1, struct.pack("<H", 1)),
    ]
    packet = xmp(title, rights)
    if packet:
        entries.append((700, BYTE, len(packet), packet))
    if profile:
        entries.append((34675, UNDEFINED, len(profile.data), profile.data))

    def whole(first, big):
        offsets = [first + counts[0] * i for i in range(len(counts))]
        if big:
            strips = (273, LONG8, len(counts), struct.pack("<%dQ" % len(counts), *offsets))
            return b"II+\0\x08\0\0\0" + struct.pack("<Q", 16) + directory(sorted(entries + [strips]), "<", 16, True)
        strips = (273, LONG, len(counts), struct.pack("<%dI" % len(counts), *(v & 0xFFFFFFFF for v in offsets)))
        return b"II*\0" + struct.pack("<I", 8) + directory(sorted(entries + [strips]), "<", 8)

    big = len(whole(0, False)) + sum(counts) > 0xFFFFFFFF
    return whole(len(whole(0, big)), big)
