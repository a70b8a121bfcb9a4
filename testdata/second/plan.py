"""From a recipe's statements to its steps: inputs, masks, prepare and prints."""

import os
from fractions import Fraction

import geometry
import profiles
import readers
from nodes import NO_PROFILE, TURNS, Node, canonical, round_half_up, sha, sources, text, texts
from pictures import Picture
from recipe import Wrong
from ways import Way


class Planner:
    """Plans the prints of one recipe; folder holds the files that it names, but for those that where has."""

    def __init__(self, recipe, folder, where):
        self.recipe, self.folder, self.where = recipe, folder, where
        self.plan, self.known = [], {}      # the nodes of one half, in order and by key
        self.files = {}
        self.master = self.whole = self.frame = None

    # Inputs.

    def bytes_of(self, path):
        with open(self.where.get(path) or os.path.join(self.folder, path), "rb") as f:
            return f.read()

    def input(self, path, role, space=None):
        """The node of a master, a picture made elsewhere or a painted mask."""
        if (path, role) in self.files:
            return self.add(self.files[path, role])
        data = self.bytes_of(path)
        white = role == "master" and self.recipe.master.white
        r = readers.read(data, white)
        profile = None
        if role != "mask":
            space = space or r.space
            if r.profile:
                profile = profiles.remember(profiles.Profile(r.profile))
            elif space:
                profile = profiles.built_in(space)
            else:
                raise Wrong("the %s has no profile, and its line no space" % role)
            if r.translucent and not white:
                raise Wrong("the %s isn't opaque" % role)
        parts = {"profile": profile.digest if profile else NO_PROFILE, "role": role, "sha256": sha(data)}
        if white:
            parts["on"] = "white"
        h, w, c = r.samples.shape
        node = Node(sha(canonical(parts)), 0, [], (w, h), profile)
        node.read = Picture(r.samples, profile)
        node.record = {"record": "input", "role": role, "path": path, "sha256": parts["sha256"],
                       "size": len(data), "bits": r.bits, "width": w, "height": h, "channels": c,
                       "orientation": r.orientation, "profile": parts["profile"]}
        if white:
            node.record["on"] = "white"
        self.files[path, role] = node
        return self.add(node)

    def add(self, node):
        """Puts a node behind those of this half, or gives the one of the same key that is there.

        A file that two names lead to is there under each, for the log.
        """
        first = self.known.setdefault(node.key, node)
        if node not in self.plan and (first is node or node.record and first.record["path"] != node.record["path"]):
            self.plan.append(node)
        return first

    def profile(self, path):
        """A profile that a step needs, from its file."""
        data = self.bytes_of(path)
        p = profiles.remember(profiles.Profile(data))
        node = Node("profile " + path, 0, [], (0, 0), p)
        node.record = {"record": "input", "role": "profile", "path": path, "sha256": p.digest,
                       "size": len(data), "profile": p.digest}
        self.add(node)
        return p

    def upright(self, node, line=0, orientation=None):
        """A node turned as its file or the recipe says."""
        o = orientation if orientation is not None else node.record["orientation"]
        if o == 1:
            return node
        size = (node.height, node.width) if o > 4 else (node.width, node.height)
        return self.step("turn", line, {"orientation": str(o)}, [node], size)

    # Steps.

    def step(self, operation, line, args, inputs, size=None, profile=None, shows=None):
        """The node of a step; one that was planned already is the same."""
        first = inputs[0] if inputs else None
        size = size or (first.width, first.height)
        key = sha(canonical({"args": args, "inputs": [i.key for i in inputs],
                             "operation": operation, "version": 1}))
        if operation not in ("mask", "range", "edges"):
            profile = profile or first.profile
        node = Node(key, line, inputs, size, profile)
        node.operation, node.args = operation, args
        node.shows = shows or (first.shows if first else None)
        return self.add(node)

    def elsewhere(self, name, beside):
        """The node of a picture made elsewhere, as it is used with the picture beside it."""
        s = self.recipe.pictures[name]
        node = self.upright(self.input(s.path, "picture", s.space), s.line)
        if node.profile.digest != beside.profile.digest:
            args = {"profile": beside.profile.digest, "intent": "relative", "black-point": "on"}
            node = self.step("convert", s.line, args, [node], profile=beside.profile)
        node.shows = beside.shows
        return node

    # Masks.

    def mask(self, name):
        """The node of a mask of the recipe."""
        statement = self.recipe.masks[name]
        w, h = self.frame
        args, inputs = {"width": str(w), "height": str(h)}, []
        for i, s in enumerate(statement.lines, 1):
            args["shape-%d" % i] = self.shape(s, inputs)
        return self.step("mask", statement.line, args, inputs, (w, h))

    def plane(self, s, args):
        """The node of a plane made from the upright master."""
        return self.step(s.word, s.line, args, [self.whole])

    def shape(self, s, inputs):
        """A mask's line as an argument; pictures that it reads are put behind inputs."""
        w, h = self.frame
        longer = max(w, h)

        def px(n, whole):
            return n.value * whole / 100 if n.unit == "%" else n.value

        def place(p):
            return px(p[0], w), px(p[1], h)

        if s.word == "invert":
            return "invert"
        if s.word == "soften":
            return "soften " + text(px(s.radius, longer))
        if s.word == "file":
            inputs.append(self.upright(self.input(s.path, "mask"), s.line))
            return s.way + " file"
        if s.word == "mask":
            inputs.append(self.mask(s.name))
            return s.way + " mask"
        if s.word == "range":
            args = {"of": s.of, "from": text(s.low), "to": text(s.high)}
            if s.soft is not None:
                args["soft"] = text(s.soft)
            inputs.append(self.plane(s, args))
            return s.way + " mask"
        if s.word == "edges":
            inputs.append(self.plane(s, {"radius": text(px(s.radius, longer)), "over": text(s.over)}))
            return s.way + " mask"
        if s.word in ("ellipse", "rectangle"):
            rest = "at %s size %s soft %s" % (texts(*place(s.at)), texts(*(px(n, longer) for n in s.size)),
                                              text(s.soft))
        else:
            p = texts(*(v for q in s.points for v in place(q)))
            if s.word == "stroke":
                rest = "along %s width %s soft %s" % (p, text(px(s.width, longer)), text(s.soft))
            elif s.word == "polygon":
                rest = "%s soft %s" % (p, text(s.soft))
            else:
                rest = "from %s to %s" % (texts(*place(s.points[0])), texts(*place(s.points[1])))
        return "%s %s %s" % (s.way, s.word, rest)

    # Prepare and prints.

    def prepare(self, paper):
        """Plans prepare for a print on a paper; gives the node that it leaves."""
        self.plan, self.known = [], {}
        self.master = self.input(self.recipe.master.path, "master", self.recipe.master.space)
        lines = list(self.recipe.prepare)
        orientation, line = self.master.record["orientation"], 0
        while lines and lines[0].word in ("turn", "mirror"):
            s = lines.pop(0)
            orientation = geometry.joined(orientation, 2 if s.word == "mirror" else TURNS[s.way])
            line = s.line
        node = self.upright(self.master, line, orientation)
        self.whole, self.frame = node, (node.width, node.height)
        node.shows = (Fraction(0), Fraction(0), Fraction(node.width), Fraction(node.height))
        return Way(self, node, paper).run(lines)

    def print(self, statement):
        """A print: its nodes in order, the one that is saved, its file's arguments, its mark, path and ppi."""
        prepared = self.prepare(statement.on)
        half = self.plan
        self.plan, self.known = [], {prepared.key: prepared}
        way = Way(self, prepared, statement.on)
        node = way.run(statement.lines)
        used, before = {n.key for n in sources(node)}, {n.key for n in sources(prepared)}
        nodes = [n if n.key in used else n.unused() for n in half
                 if n.key in used or n.record and (n is self.master or n.key in before or n.read is None)]
        nodes += [n for n in self.plan if n.key in used or n.record and n.read is None]
        save, args = way.save, {}
        args.update(format=save.format, ppi=text(way.ppi), profile=node.profile.digest)
        if self.recipe.title:
            args["title"] = self.recipe.title
        if self.recipe.rights:
            args["rights"] = self.recipe.rights
        if save.format == "jpeg":
            args["quality"] = str(100 if save.quality is None else save.quality)
            args["chroma"] = save.chroma or "full"
            if way.ppi.denominator != 1:
                args["density"] = str(round_half_up(way.ppi))
        else:
            args["bits"] = str(save.bits or 16)
        mark = sha(canonical({"encoder": 1, "file": args, "language": 1, "picture": node.key}))
        return nodes, node, args, mark, save.path, way.ppi
