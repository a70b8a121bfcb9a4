// The table: the picture in whole pixels of the device, with rulers, from fit to
// 400 %.
import { ask, at, draw, make } from "./ask.js";
import { idle, Layer } from "./tiles.js";

const zooms = [0.25, 0.5, 1, 2, 4]; // device pixels to one of the picture
const units = ["%", "in", "px"];

export class Table {
    constructor(on) {
        this.on = on; // say(text), step(by)
        this.view = at("view");
        this.host = at("layers");
        this.picture = this.before = null;
        this.zoom = "fit";
        this.cx = this.cy = 0.5; // what is in the middle, of the frame's width and height
        this.unit = 0;
        this.grid = this.was = this.hatch = false;
        this.fold = 0; // where two pictures meet, a share of the view's width; 0 for one picture
        this.layers = []; // of the picture, the newest last
        this.mask = null;
        this.seen = { w: 0, h: 0 };
        new ResizeObserver((list) => this.sized(list[0])).observe(this.view);
        this.pointing();
        // The window may go to another screen, or be zoomed, at any time.
        const other = () => { if (devicePixelRatio !== this.ratio) this.sized(); };
        addEventListener("resize", other);
        setInterval(() => { other(); this.small(); }, 500);
    }

    sized(entry) {
        this.ratio = devicePixelRatio;
        const box = this.view.getBoundingClientRect(), exact = entry?.devicePixelContentBoxSize?.[0];
        this.seen = { w: exact ? exact.inlineSize : Math.round(box.width * this.ratio), h: exact ? exact.blockSize : Math.round(box.height * this.ratio) };
        // The box may begin between two pixels of the device: the layers don't.
        const off = (v) => (Math.ceil(v * this.ratio - 0.01) - v * this.ratio) / this.ratio;
        for (const e of [this.host, at("marks")]) Object.assign(e.style, { left: off(box.left) + "px", top: off(box.top) + "px" });
        this.place();
    }

    show(picture, before) {
        const was = this.picture?.key;
        this.picture = picture;
        this.before = before;
        if (!before) this.was = false, this.fold = 0;
        if (picture && was !== picture.key && !picture.name) this.stale = true; // one with a name passes
        this.place();
    }

    // what is the picture that is looked at.
    get what() { return this.was && this.before && !this.fold ? this.before : this.picture; }

    // Pixels of a picture to one of the frame, across and down.
    scale(p) { return [(p.w - 2 * p.edge) / (p.covers[2] - p.covers[0]), (p.h - 2 * p.edge) / (p.covers[3] - p.covers[1])]; }

    // of is a place of the frame, 0 to 1, in pixels of a picture; to is its inverse.
    of(p, fx, fy) {
        const [kx, ky] = this.scale(p);
        return [p.edge + (fx * p.frame[0] - p.covers[0]) * kx, p.edge + (fy * p.frame[1] - p.covers[1]) * ky];
    }

    to(p, x, y) {
        const [kx, ky] = this.scale(p);
        return [(p.covers[0] + (x - p.edge) / kx) / p.frame[0], (p.covers[1] + (y - p.edge) / ky) / p.frame[1]];
    }

    // fit leaves some of the ground on all sides; 1 where there is no picture yet.
    get fit() {
        if (!this.picture) return 1;
        const p = this.picture, edge = 32 * this.ratio;
        return Math.min(1, Math.max(0.5, this.seen.w - edge) / p.w, Math.max(0.5, this.seen.h - edge) / p.h);
    }

    // z is device pixels to one of the picture after the line.
    get z() { return this.zoom === "fit" ? this.fit : this.zoom; }

    // where lays a picture: the same place of the frame in the middle, in the
    // scale of the picture after the line. What it is compared with lies so that each
    // place of the frame, in %, is where it is in that picture.
    where(p) {
        if (p === this.before && p !== this.picture) return this.matched(p);
        const z = this.z * this.scale(this.picture)[0] / this.scale(p)[0];
        const small = this.zoom === "fit" && z < 1 ? narrow(p, z) : 0;
        const [mx, my] = this.of(p, this.cx, this.cy);
        const lay = (seen, size, middle) => size * z <= seen ? Math.round((seen - size * z) / 2) : Math.round(Math.min(0, Math.max(seen - size * z, seen / 2 - middle * z)));
        return { x: lay(this.seen.w, p.w, mx), y: lay(this.seen.h, p.h, my), z, small };
    }

    matched(b) {
        const p = this.picture, w = this.where(p), wide = (q) => this.scale(q)[0] * q.frame[0], z = w.z * wide(p) / wide(b);
        const [x, y] = this.of(b, ...this.to(p, (this.seen.w / 2 - w.x) / w.z, (this.seen.h / 2 - w.y) / w.z));
        return { x: Math.round(this.seen.w / 2 - x * z), y: Math.round(this.seen.h / 2 - y * z), z, small: this.zoom === "fit" && z < 1 ? narrow(b, z) : 0 };
    }

    place() {
        const p = this.what;
        if (!p || !this.seen.w) return;
        const where = this.where(p), key = p.key + " " + where.small;
        if (this.whole && !this.whole.whole) this.later(); // the small one waits
        let top = this.layers.at(-1);
        // What was seen stays below until what comes is whole.
        if (top?.key !== key) {
            top = Object.assign(new Layer(this.host, (e) => this.on.say(e.message)), { key, picture: p, small: where.small, ready: () => this.settle() });
            this.layers.push(top);
            while (this.layers.length > 3) this.layers.shift().remove();
        }
        top.picture = p;
        for (const l of this.layers) l.place(l.picture, l === top ? where : { ...this.where(l.picture), small: l.small }, this.seen, this.ratio, l === top);
        const m = this.hatch && p === this.picture && p.mask || null;
        if (this.mask?.mask !== m?.key) {
            this.mask?.remove();
            this.mask = m ? new Layer(this.host, (e) => this.on.say(e.message), m.key) : null;
        }
        if (m) {
            this.host.append(this.mask.el);
            this.mask.place(p, where, this.seen, this.ratio);
        }
        this.lay();
        this.view.dataset.place = `${where.x} ${where.y} ${where.z}`;
        this.settle();
        this.rule(p, where);
        this.tell();
        this.onplace?.();
    }

    // lay puts the picture from before beside this one, up to the fold.
    lay() {
        const at_ = at("fold"), host = at("beside"), b = this.fold ? this.before : null;
        at_.hidden = !b;
        if (this.left && this.left.key !== b?.key) this.left = this.left.remove();
        host.style.clipPath = `inset(0 ${100 - 100 * this.fold}% 0 0)`;
        if (!b) return;
        this.left ||= Object.assign(new Layer(host, (e) => this.on.say(e.message)), { key: b.key });
        this.left.place(b, this.where(b), this.seen, this.ratio);
        at_.style.left = 100 * this.fold + "%";
        at_.setAttribute("aria-valuenow", Math.round(100 * this.fold));
    }

    foldTo(v) {
        this.fold = Math.min(0.98, Math.max(0.02, v));
        this.lay();
    }

    settle() {
        const top = this.layers.at(-1);
        this.view.dataset.ready = top.whole ? top.key : "";
        while (top.whole && this.layers.length > 1) this.layers.shift().remove();
    }

    // pixel is the pixel of the picture under a place of the window.
    pixel(e, p = this.what) {
        const box = this.view.getBoundingClientRect(), w = this.where(p);
        return [((e.clientX - box.left) * this.ratio - w.x) / w.z, ((e.clientY - box.top) * this.ratio - w.y) / w.z];
    }

    // point is the inverse, in CSS pixels of the view.
    point(x, y, p = this.what) {
        const w = this.where(p);
        return [(x * w.z + w.x) / this.ratio, (y * w.z + w.y) / this.ratio];
    }

    called(p, word = "") { return (p.name || `${word}line ${p.line}: ${p.words}`) + (p.paper ? `, as ${p.paper} shows it` : ""); }

    tell() {
        const p = this.what, m = this.hatch && p === this.picture && p.mask;
        const z = this.where(p).z, how = this.zoom === "fit" ? "made small, " : z < 0.5 ? "every pixel counted, " : "true pixels, ";
        const b = this.before, called = this.called, scale = how + percent(z) + (this.zoom === 0.5 ? ", as printers judge sharpening" : "");
        if (this.fold && b) at("name").textContent = `left ${called(b)} · right ${called(p)} · ${scale}`;
        else at("name").textContent = `${called(p, this.was ? `before line ${this.picture.line}, after ` : "after ")} · ${scale}${m ? " · hatched: " + m.name : ""}`;
        this.view.setAttribute("aria-label", at("name").textContent);
    }

    // rule draws the rulers, and the grid where it is asked for; with twin those of
    // the picture beside.
    rule(p, where, twin = "") {
        const marks = at("marks"), grid = this.grid && !twin;
        if (!twin) marks.querySelectorAll(".grid").forEach((e) => e.remove());
        const unit = units[this.unit] === "in" && !p.across ? "%" : units[this.unit];
        for (const [id, down] of [["across", false], ["down", true]]) {
            const svg = at(twin + id), seen = (down ? this.seen.h : this.seen.w) / this.ratio, list = [];
            // Device pixels to one of the unit, and where its nought lies.
            const i = down ? 1 : 0, k = this.scale(p)[i] * where.z, o = down ? where.y : where.x;
            let each, from;
            if (unit === "%") [each, from] = [p.frame[i] / 100 * k, o + (p.edge * where.z) - p.covers[i] * k];
            else if (unit === "px") [each, from] = [where.z, o];
            else [each, from] = [p.ppi / p.across * (p.w - 2 * p.edge) * where.z, o + p.edge * where.z];
            each /= this.ratio;
            from /= this.ratio;
            const step = nice(90 / each), fine = step / 5;
            for (let n = Math.ceil(-from / each / fine); n * fine * each + from < seen; n++) {
                const v = n * fine, at = v * each + from, main = n % 5 === 0;
                list.push(draw("line", down ? { x1: main ? 8 : 40, x2: 48, y1: at, y2: at } : { y1: main ? 6 : 22, y2: 28, x1: at, x2: at }));
                if (main) list.push(draw("text", down ? { x: 8, y: at + 12 } : { x: at + 4, y: 16 }, +v.toFixed(4) + (n === 0 ? " " + unit : "")));
                if (main && grid) marks.append(draw("line", { class: "grid", ...(down ? { x1: 0, x2: "100%", y1: at, y2: at } : { y1: 0, y2: "100%", x1: at, x2: at }) }));
            }
            svg.replaceChildren(...list);
        }
    }

    // zoomTo keeps what is at e, or the middle, where it is.
    zoomTo(zoom, e) {
        if (!this.picture) return;
        const p = this.what, held = e && this.pixel(e);
        this.zoom = zoom;
        if (held && zoom !== "fit") {
            const box = this.view.getBoundingClientRect(), z = this.where(p).z;
            const off = (v, lo, n) => ((v - lo) * this.ratio - n / 2) / z;
            [this.cx, this.cy] = this.to(p, held[0] - off(e.clientX, box.left, this.seen.w), held[1] - off(e.clientY, box.top, this.seen.h));
        }
        this.hold();
        this.place();
        this.on.changed();
    }

    zoomBy(by, e) {
        const list = ["fit", ...zooms.filter((z) => z > this.fit * 1.01)];
        const i = Math.max(0, list.indexOf(this.zoom));
        this.zoomTo(list[Math.max(0, Math.min(list.length - 1, i + by))], e);
    }

    // hold keeps the middle inside what can be seen.
    hold() {
        const p = this.what, z = this.where(p).z;
        let [x, y] = this.of(p, this.cx, this.cy);
        const in_ = (v, size, seen) => size * z <= seen ? size / 2 : Math.min(size - seen / 2 / z, Math.max(seen / 2 / z, v));
        [this.cx, this.cy] = this.to(p, in_(x, p.w, this.seen.w), in_(y, p.h, this.seen.h));
    }

    // pan moves by device pixels.
    pan(dx, dy) {
        if (!this.picture || this.zoom === "fit") return;
        const p = this.what, z = this.where(p).z, [x, y] = this.of(p, this.cx, this.cy);
        [this.cx, this.cy] = this.to(p, x + dx / z, y + dy / z);
        this.hold();
        this.place();
    }

    pointing() {
        const v = this.view;
        let from = null, by; // of several fingers the first one moves the picture
        v.addEventListener("wheel", (e) => { e.preventDefault(); this.wheel(e); }, { passive: false });
        v.addEventListener("pointerdown", (e) => {
            if (from || e.button !== 0 || this.taken?.(e)) return;
            from = [e.clientX, e.clientY];
            by = e.pointerId;
            v.setPointerCapture(by);
        });
        v.addEventListener("pointermove", (e) => {
            if (from && e.pointerId === by) {
                this.pan((from[0] - e.clientX) * this.ratio, (from[1] - e.clientY) * this.ratio);
                from = [e.clientX, e.clientY];
            } else if (!from) {
                this.read(e);
            }
        });
        const end = (e) => { if (e.pointerId === by) from = null; };
        v.addEventListener("pointerup", end);
        v.addEventListener("pointercancel", end);
        const fold = at("fold"), along = (e) => { const box = v.getBoundingClientRect(); this.foldTo((e.clientX - box.left) / box.width); };
        fold.addEventListener("pointerdown", (e) => { e.stopPropagation(); fold.setPointerCapture(e.pointerId); });
        fold.addEventListener("pointermove", (e) => { if (fold.hasPointerCapture(e.pointerId)) along(e); });
        fold.addEventListener("keydown", (e) => {
            const by = { ArrowLeft: -0.02, ArrowRight: 0.02 }[e.key];
            if (!by) return;
            e.preventDefault();
            e.stopPropagation();
            this.foldTo(this.fold + by);
        });
        v.addEventListener("pointerleave", () => { at("where").textContent = ""; });
        v.addEventListener("dblclick", (e) => { if (!this.busy) this.zoomTo(this.zoom === 1 ? "fit" : 1, e); });
    }

    wheel(e) {
        if (!e.ctrlKey) return this.pan(e.deltaX * this.ratio, e.deltaY * this.ratio);
        this.turned = (this.turned || 0) + e.deltaY;
        if (Math.abs(this.turned) < 60) return;
        this.zoomBy(this.turned < 0 ? 1 : -1, e);
        this.turned = 0;
    }

    // read says what lies under the pointer; the values are the server's.
    read(e, p = this.what) {
        if (!p) return;
        const [x, y] = this.pixel(e, p).map(Math.floor);
        if (x < 0 || y < 0 || x >= p.w || y >= p.h) return at("where").textContent = "";
        const [fx, fy] = this.to(p, x + 0.5, y + 0.5);
        let where = `(${(100 * fx).toFixed(2)}%, ${(100 * fy).toFixed(2)}%)`;
        if (p.across) where += ` (${(this.inches(p, x)).toFixed(2)}, ${(this.inches(p, y)).toFixed(2)}) in`;
        where += ` (${x}, ${y}) px`;
        at("where").textContent = where;
        clearTimeout(this.reading);
        this.reading = setTimeout(async () => {
            this.asked?.abort();
            this.asked = new AbortController();
            try {
                const v = await ask("values", { key: p.key, mask: this.hatch && p === this.picture && p.mask?.key || "", x, y }, this.asked.signal);
                at("where").textContent = `${where} · L* ${v.lab.map((n) => n.toFixed(1)).join(" ")} · ${v.codes.join(" ")}${v.mask === undefined ? "" : " · " + p.mask.name + " " + v.mask.toFixed(2)}`;
            } catch { /* the pointer went on, or the text did */ }
        }, 40);
    }

    inches(p, x) { return (x + 0.5 - p.edge) / (p.w - 2 * p.edge) * p.across / p.ppi; }

    later() {
        this.whole?.remove();
        this.whole = null;
        this.stale = true;
    }

    // small shows the whole picture in the sheet's foot, when there is time, and
    // what of it is seen.
    small() {
        const p = this.picture, box = at("whole");
        if (!p || !this.seen.w || document.hidden) return;
        const side = 168 / Math.max(p.w, p.h);
        box.style.width = p.w * side + "px";
        box.style.height = p.h * side + "px";
        if (this.stale && idle()) {
            this.stale = false;
            this.whole?.remove();
            this.whole = new Layer(box, () => {});
            box.prepend(this.whole.el);
            // The tiles are those of the fitted picture, made smaller.
            const z = this.fit;
            this.whole.place(p, { x: 0, y: 0, z, small: z < 1 ? narrow(p, z) : 0 }, { w: p.w * z, h: p.h * z }, z / side);
        }
        const w = this.where(p), i = box.querySelector("i");
        const span = (o, seen, size) => [Math.max(0, -o / w.z / size), Math.min(1, (seen - o) / w.z / size)];
        const [x0, x1] = span(w.x, this.seen.w, p.w), [y0, y1] = span(w.y, this.seen.h, p.h);
        i.hidden = this.zoom === "fit";
        Object.assign(i.style, { left: 100 * x0 + "%", top: 100 * y0 + "%", width: 100 * (x1 - x0) + "%", height: 100 * (y1 - y0) + "%" });
    }
}

// narrow is the width of a picture run small, in pixels.
const narrow = (p, z) => Math.max(1, Math.min(4096, p.w, Math.round(p.w * z)));

export const percent = (z) => +(100 * z).toFixed(z < 0.1 ? 1 : 0) + " %";

// nice is the round number at or above v: 1, 2 or 5 times a power of ten.
function nice(v) {
    const p = 10 ** Math.floor(Math.log10(v));
    return [1, 2, 5, 10].find((n) => n * p >= v * 0.999) * p;
}
