"""Making prints and the determined records of their logs."""

import hashlib
import os

import colour
import containers
import deconvolve
import denoise
import geometry
import grain
import jpeg
import masks
import nodes
import plan
import ranges
import recipe
import resample
import sharpen
import spots
import tone
from pictures import bands, row_fingerprints

OPERATIONS = {
    "turn": geometry.turn, "crop": geometry.crop, "border": geometry.border, "wrap": geometry.wrap,
    "blend": geometry.blend, "enlarge": resample.enlarge, "mask": masks.mask,
    "convert": colour.convert, "mix": colour.mix, "spots": spots.spots, "tone": tone.tone, "tint": tone.tint,
    "range": ranges.range_plane, "edges": ranges.edges, "fringe": ranges.fringe,
    "grain": grain.grain, "denoise": denoise.denoise,
    "sharpen": sharpen.sharpen, "deconvolve": deconvolve.deconvolve, "spot-pixels": sharpen.spot_pixels,
}


class Log:
    """The records of a log, chained."""

    def __init__(self):
        self.records, self.lines, self.prev = [], [], "0" * 64

    def add(self, **record):
        self.records.append(record)
        line = nodes.canonical(dict(record, prev=self.prev))
        self.lines.append(line)
        self.prev = hashlib.sha256(line).hexdigest()

    def bytes(self):
        return b"".join(line + b"\n" for line in self.lines)


class Print:
    """A print that was built: its file's path and bytes, its mark and its log."""

    def __init__(self, path, data, mark, log):
        self.path, self.data, self.mark, self.log = path, data, mark, log


class Builder:
    """Builds the prints of one recipe; a picture that two prints share is made once.

    where says where files lie that don't lie where the recipe says, by their paths as it writes them.
    """

    def __init__(self, path, draft, where=()):
        with open(path, "rb") as f:
            self.data = f.read()
        self.recipe = recipe.Recipe(self.data.decode("utf-8"))
        self.planner = plan.Planner(self.recipe, os.path.dirname(path), dict(where))
        self.draft = draft
        self.made, self.noise = {}, {}

    def picture(self, node):
        """A node's picture; its inputs are made already."""
        if node.key not in self.made:
            if node.operation is None:
                self.made[node.key] = node.read
            else:
                if node.operation not in OPERATIONS:
                    raise recipe.Wrong("this reader doesn't make %s" % node.operation)
                inputs = [self.made[i.key] for i in node.inputs]
                if node.operation in ("denoise", "deconvolve"):
                    self.noise[node.key] = {"noise": denoise.measure(inputs[0])}
                self.made[node.key] = OPERATIONS[node.operation](self.args(node), inputs)
        return self.made[node.key]

    def args(self, node):
        """A step's arguments, with what was measured of its picture."""
        return {**node.args, **self.noise.get(node.key, {})}

    def build(self, name):
        """The print of a name."""
        steps, node, args, mark, path, ppi = self.planner.print(self.recipe.prints[name])
        log = Log()
        log.add(record="log", format="platemark audit 1", language=1, draft=self.draft)
        log.add(record="recipe", print=name, text=self.recipe.text, sha256=hashlib.sha256(self.data).hexdigest())
        first = {}
        for n in steps:
            first.setdefault((n.key, n.record and n.record["path"]), n)
        steps = list(first.values())
        for n in steps:
            if n.record and n.read is None:     # a profile, or a picture that nothing comes from
                log.add(**n.record)
            elif n.record:
                log.add(picture=self.picture(n).digest(), **n.record)
        for n in [n for n in steps if n.operation]:
            p = self.picture(n)
            log.add(record="step", line=n.line, operation=n.operation, version=1, args=self.args(n),
                    inputs=[self.made[i.key].digest() for i in n.inputs], picture=p.digest(),
                    bands=[b.hex() for b in bands(row_fingerprints(p.samples))],
                    width=p.width, height=p.height, channels=p.channels,
                    profile=p.profile.digest if p.profile else nodes.NO_PROFILE)
        picture = self.made[node.key]
        texts = (self.recipe.title, self.recipe.rights)
        if args["format"] == "tiff":
            data = containers.tiff(picture, int(args["bits"]), ppi, *texts)
        else:
            data = jpeg.jpeg(picture, int(args["quality"]), args["chroma"], ppi, *texts)
        log.add(record="file", name=path, encoder=1, args=args, mark=mark, picture=picture.digest(),
                sha256=hashlib.sha256(data).hexdigest(), size=len(data))
        return Print(path, data, mark, log)
