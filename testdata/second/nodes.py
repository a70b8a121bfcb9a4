"""Nodes of a plan, their keys, and the texts that arguments are."""

import hashlib
import json
from fractions import Fraction

import exact

NO_PROFILE = "0" * 64
INCH = {"in": Fraction(1), "cm": Fraction(100, 254), "mm": Fraction(10, 254)}
TURNS = {"left": 8, "right": 6, "over": 3}


def canonical(value):
    """Canonical JSON (RFC 8785) of strings, whole numbers, lists and objects."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def sha(data):
    return hashlib.sha256(data).hexdigest()


def text(x):
    """A number as arguments hold it: a reduced fraction."""
    x = Fraction(x)
    return str(x.numerator) if x.denominator == 1 else "%d/%d" % (x.numerator, x.denominator)


def texts(*numbers):
    return " ".join(text(x) for x in numbers)


def round_half_up(x):
    return exact.half_up(Fraction(x))


class Node:
    """An input picture or a step: what it is made from, and what is known without making it."""

    def __init__(self, key, line, inputs, size, profile):
        self.key, self.line, self.inputs = key, line, inputs
        self.width, self.height = size
        self.profile = profile
        self.operation = None       # of a step
        self.args = {}
        self.record = None          # of an input
        self.read = None            # of an input: its picture
        self.shows = None           # the part of the frame, for pictures of the master

    def unused(self):
        """An input that the recipe reads, but of which nothing gets into the print."""
        if self.read is None:
            return self
        n = Node(self.key, 0, [], (0, 0), None)
        n.record = {k: v for k, v in self.record.items() if k != "profile"}
        return n


def sources(node):
    """The nodes that a node comes from, itself too."""
    found, stack = set(), [node]
    while stack:
        n = stack.pop()
        if n not in found:
            found.add(n)
            stack += n.inputs
    return found
