// Pointing: what is drawn on the picture becomes a line of the recipe, and what
// stands on the ring's line is drawn over the picture, to be moved by its points.
import { at, draw, send } from "./ask.js";

// The words of the language that can be drawn, with the key of each.
export const verbs = [
    { word: "spot", key: "s" }, { word: "from", key: "o", of: "spot" }, { word: "stroke", key: "t" }, { word: "ellipse", key: "e" },
    { word: "polygon", key: "p" }, { word: "gradient", key: "d" }, { word: "crop", key: "c" },
    { word: "section", key: "n" },
];

const reach = 12; // CSS px around a point by which it is taken

export class Marks {
    // on: table, context() with file, version, print and line, done(line),
    // say(text).
    constructor(table, on) {
        this.table = table;
        this.on = on;
        this.verb = null;
        this.now = null; // what is being drawn: { points, radius, size }
        this.moving = -1;
        this.radius = 0.003; // shares of the frame's longer side
        this.width = 0.06;
        this.soft = 0.5;
        this.shown = null;
        const v = table.view;
        table.taken = (e) => this.down(e);
        table.onplace = () => this.paint();
        v.addEventListener("pointermove", (e) => this.move(e));
        v.addEventListener("pointerup", (e) => this.up(e));
        // A hand that the system took away has drawn nothing.
        for (const kind of ["pointercancel", "lostpointercapture"]) v.addEventListener(kind, (e) => { if (e.pointerId === this.held) this.stop(); });
    }

    show(state) {
        if (this.moving < 0) this.shown = state.marks ?? null;
        this.shape = state.shape;
        this.paint();
    }

    choose(word) {
        this.verb = this.verb === word ? null : word;
        this.table.busy = !!this.verb;
        this.stop();
        this.tell();
    }

    tell() {
        const kinds = { spot: `drag its radius, or click for ${this.say(this.radius)}`, from: "click where the spot copies from", stroke: `[ ] width ${this.say(this.width)}, { } soft ${this.say(this.soft)}`,
            ellipse: `drag from its middle; { } soft ${this.say(this.soft)}`, polygon: `click its corners, the first again or Enter ends it; { } soft ${this.say(this.soft)}`, gradient: "drag from full to empty", crop: "drag from corner to corner", section: "drag from corner to corner what a sheet of proofs shows of this print" };
        if (this.verb) this.on.say(`${this.verb}: ${kinds[this.verb]}. Esc leaves it`, true);
        else this.on.say(this.shown ? "its points can be dragged; [ ] change its size" : "");
    }

    say(v) { return +(100 * v).toFixed(2) + " %"; }

    stop() {
        this.now = null;
        this.moving = -1;
        this.held = undefined;
        this.paint();
    }

    // place is where an event lies, in shares of the frame.
    place(e) {
        const t = this.table, p = t.what;
        return t.to(p, ...t.pixel(e, p));
    }

    // size is the distance of two places, across and down, as shares of the
    // frame's longer side.
    size(a, b) {
        const [w, h] = this.table.what.frame, long = Math.max(w, h);
        return [Math.abs(a[0] - b[0]) * w / long, Math.abs(a[1] - b[1]) * h / long];
    }

    down(e) {
        if (!this.table.what) return false;
        if (this.held !== undefined) return true; // a palm beside the hand that draws
        if (e.pointerType === "pen") this.pen = true;
        if (e.pointerType === "touch" && this.pen) return false; // where a pen draws, fingers move the picture
        const mine = this.nearest(e);
        if (mine >= 0) {
            this.moving = mine;
        } else if (!this.verb) {
            return false;
        } else if (this.verb === "polygon") {
            const p = this.place(e), first = this.now?.points.length > 3 && this.now.points[0];
            if (first && this.far(e, first) < reach) return this.close(), true;
            if (this.now) this.now.points[this.now.points.length - 1] = p;
            else this.now = { kind: "polygon", points: [p] };
            this.now.points.push(p);
            this.paint();
            return true;
        } else {
            this.now = { kind: this.verb, points: [this.place(e)], radius: this.radius, width: this.width, size: [0, 0], soft: this.soft, from: [e.clientX, e.clientY] };
        }
        this.held = e.pointerId;
        this.table.view.setPointerCapture(e.pointerId);
        this.paint();
        return true;
    }

    // far is how far from an event a place of the frame lies, CSS px.
    far(e, p) {
        const box = this.table.view.getBoundingClientRect(), [x, y] = this.css(p);
        return Math.hypot(e.clientX - box.left - x, e.clientY - box.top - y);
    }

    nearest(e) {
        let best = -1, near = reach;
        this.shown?.points.forEach((p, i) => {
            const d = this.far(e, p);
            if (d < near) [best, near] = [i, d];
        });
        return best;
    }

    // close ends a polygon, whose last point is only where the pointer is.
    close() {
        const n = this.now;
        n.points.pop();
        this.now = null;
        if (n.points.length > 2) this.finish(n);
        else this.paint();
    }

    move(e) {
        const n = this.now, p = this.table.what && this.place(e);
        if (this.moving >= 0 && e.pointerId === this.held) {
            this.shown.points[this.moving] = p;
        } else if (n?.kind === "polygon") {
            n.points[n.points.length - 1] = p;
        } else if (n && e.pointerId === this.held) {
            const [w, h] = this.size(n.points[0], p), far = Math.hypot(e.clientX - n.from[0], e.clientY - n.from[1]) > 4;
            if (n.kind === "stroke") n.points.push(...(e.getCoalescedEvents?.() ?? []).map((c) => this.place(c)), p);
            else if (n.kind === "spot") n.radius = far ? Math.hypot(w, h) : this.radius;
            else if (n.kind === "ellipse") n.size = [2 * w, 2 * h];
            else if (n.kind === "crop") n.points[1] = this.held_(n.points[0], p);
            else if (n.kind === "gradient" || n.kind === "section") n.points[1] = p;
        } else {
            return;
        }
        this.paint();
    }

    // held_ is the corner that keeps the print's shape, where its size has one.
    held_(a, b) {
        if (!this.shape) return b;
        const [w, h] = this.size(a, b), p = this.table.what, long = Math.max(...p.frame);
        const across = Math.max(w, h * this.shape), down = across / this.shape;
        return [a[0] + Math.sign(b[0] - a[0]) * across * long / p.frame[0], a[1] + Math.sign(b[1] - a[1]) * down * long / p.frame[1]];
    }

    up(e) {
        if (e.pointerId !== this.held) return;
        this.held = undefined;
        if (this.moving >= 0) {
            const i = this.moving;
            this.moving = -1;
            return this.send("shift", { point: i, to: this.shown.points[i] }, this.shown.line);
        }
        const n = this.now;
        this.now = null;
        const enough = { stroke: n.points.length > 1, ellipse: n.size[0] > 0 && n.size[1] > 0, gradient: n.points.length > 1, crop: n.points.length > 1, section: n.points.length > 1 };
        if (enough[n.kind] === false) return this.paint();
        if (n.kind === "spot") this.radius = n.radius;
        this.finish(n);
    }

    finish({ kind, points, radius, width, size, soft }) {
        return this.send("draw", { shape: { kind, points, radius, width, size, soft: soft ?? this.soft } });
    }

    async send(path, what, line) {
        const ask = async () => {
            const c = await this.on.context();
            return send(path, c.file, { version: c.version, print: c.print, line: line ?? c.line, ...what });
        };
        try {
            // Where the text moved on meanwhile, it is asked again of the new one.
            const r = await ask().catch(async (e) => {
                if (e.status !== 409 || path !== "draw") throw e;
                await this.on.done();
                return ask();
            });
            await this.on.done(r.line);
        } catch (e) {
            this.on.say(e.message);
            this.on.done();
        }
        this.paint();
    }

    // key takes keys that belong to drawing; it says whether it did.
    key(e) {
        if (e.key === "Escape" && (this.now || this.verb)) {
            if (this.now) this.stop();
            else this.choose(null);
        } else if (e.key === "Enter" && this.now?.kind === "polygon") {
            this.close();
        } else if (e.key === "Enter" && this.verb === "spot" && document.activeElement === this.table.view) {
            this.finish({ kind: "spot", points: [[this.table.cx, this.table.cy]], radius: this.radius });
        } else if ("[]".includes(e.key)) {
            const by = e.key === "]" ? 1.1 : 1 / 1.1;
            if (this.verb === "stroke") this.width = Math.min(1, this.width * by);
            else if (this.verb === "spot") this.radius = Math.min(0.01, this.radius * by);
            else if (!this.verb && this.shown?.lengths?.length) return this.send("shift", { by }, this.shown.line), true;
            this.tell();
        } else if ("{}".includes(e.key) && this.verb) {
            this.soft = Math.min(1, Math.max(0, this.soft + (e.key === "}" ? 0.1 : -0.1)));
            this.tell();
        } else {
            return false;
        }
        return true;
    }

    css(p) { const t = this.table; return t.point(...t.of(t.what, ...p)); }

    // paint draws what is on the ring's line and what is being drawn, each line
    // once dark and once light, so that it shows on any ground.
    paint() {
        const svg = at("marks");
        svg.querySelectorAll(".drawn").forEach((e) => e.remove());
        if (!this.table.what) return;
        const g = draw("g", { class: "drawn" });
        if (this.shown) this.figure(g, this.shown.kind, this.shown.points, this.shown.lengths ?? [], true);
        const n = this.now;
        if (n) this.figure(g, n.kind, n.points, n.kind === "spot" ? [n.radius] : n.kind === "stroke" ? [n.width] : n.size ?? [], false);
        svg.append(g);
    }

    figure(g, kind, points, lengths, handles) {
        const t = this.table, p = t.what, xy = points.map((v) => this.css(v)), long = Math.max(...p.frame);
        const px = (v) => v * long * t.scale(p)[0] * t.where(p).z / t.ratio; // a length in CSS px
        const both = (name, a, dash) => {
            g.append(draw(name, { ...a, class: "under" }), draw(name, { ...a, class: dash ? "dashed" : "over" }));
        };
        const list = xy.map((v) => v.join(",")).join(" ");
        const [a, b] = xy;
        if (kind === "spot") {
            both("circle", { cx: a[0], cy: a[1], r: Math.max(3, px(lengths[0])) });
            if (b) both("circle", { cx: b[0], cy: b[1], r: Math.max(3, px(lengths[0])) }, true);
        } else if (kind === "from") {
            both("circle", { cx: a[0], cy: a[1], r: 8 }, true);
        } else if (kind === "stroke") {
            g.append(draw("polyline", { points: list, class: "broad", "stroke-width": Math.max(2, px(lengths[0])) }));
            both("polyline", { points: list });
        } else if (kind === "ellipse") {
            both("ellipse", { cx: a[0], cy: a[1], rx: px(lengths[0]) / 2, ry: px(lengths[1]) / 2 });
        } else if (kind === "rectangle" || kind === "section" && !b) {
            both("rect", { x: a[0] - px(lengths[0]) / 2, y: a[1] - px(lengths[1]) / 2, width: px(lengths[0]), height: px(lengths[1]) });
        } else if (kind === "polygon") {
            both("polygon", { points: list });
        } else if (kind === "gradient" && b) {
            both("polyline", { points: list });
            both("circle", { cx: b[0], cy: b[1], r: 7 }, true);
        } else if ((kind === "crop" || kind === "section") && b) {
            both("rect", { x: Math.min(a[0], b[0]), y: Math.min(a[1], b[1]), width: Math.abs(a[0] - b[0]), height: Math.abs(a[1] - b[1]) });
        }
        if (handles) for (const [x, y] of xy) g.append(draw("rect", { x: x - 3.5, y: y - 3.5, width: 7, height: 7, class: "handle" }));
    }
}
