// The walk: all of a print, screen by screen, each a little over the one before.
// What has been seen is the server's to remember; what hasn't is hatched on the
// small whole picture.
import { at, draw, make, send } from "./ask.js";
import { idle, Layer } from "./tiles.js";

const fine = 400; // cells along each side of the print by which it is counted
const lap = 0.08; // of a screen, which the next one shows again

export class Walk {
    // on: say(text), end() puts the ring at the end of the print, file(), changed().
    constructor(table, on) {
        this.table = table;
        this.on = on;
        this.going = false;
        this.zoom = 1;
        this.parts = [];
        this.state = null;
        this.asking = 0;
        addEventListener("resize", () => this.paint());
    }

    // show takes up a state of the recipe: what is to be seen again, the server says.
    show(state) {
        this.state = state;
        if (this.going) this.ask({});
        else this.paint();
    }

    toggle() {
        if (!this.going) return this.go();
        this.going = false;
        this.paint();
        this.on.changed();
    }

    async ask(more) {
        const n = ++this.asking, st = this.state;
        if (!st?.picture) return;
        try {
            const w = await send("walk", st.file, { version: st.version, print: st.print, zoom: 100 * this.zoom, ...more });
            if (n !== this.asking) return;
            this.parts = w.parts;
            if (w.words) this.on.say(w.words);
        } catch (e) {
            if (e.status !== 409) this.on.say(e.message); // of another text: its state is on its way
        }
        this.paint();
    }

    get atEnd() { return this.state?.picture && this.state.line === this.state.stops.at(-1).line; }

    // screens are the places of the print, in its pixels, that show all of it.
    screens() {
        const t = this.table, p = t.picture, z = this.zoom, list = [];
        const along = (size, seen) => {
            const n = size <= seen ? 1 : 1 + Math.ceil((size - seen) / (seen * (1 - lap)));
            return Array.from({ length: n }, (_, i) => n === 1 ? 0 : i * (size - seen) / (n - 1));
        };
        const w = t.seen.w / z, h = t.seen.h / z;
        for (const y of along(p.h, h)) for (const x of along(p.w, w)) list.push([x, y, Math.min(p.w, x + w), Math.min(p.h, y + h)]);
        return list;
    }

    // cells says for each cell of the print whether it has been seen.
    cells() {
        const t = this.table, p = t.picture, seen = new Uint8Array(fine * fine);
        for (const { at: [x0, y0, x1, y1], again } of this.parts) {
            const a = t.of(p, x0, y0), z = t.of(p, x1, y1);
            // What was seen holds a cell's middle; what is to be seen again touches it.
            const [lo, hi] = again ? [Math.floor, Math.ceil] : [(v) => Math.ceil(v - 0.5), (v) => Math.floor(v - 0.5) + 1];
            const [left, right] = [lo(a[0] / p.w * fine), hi(z[0] / p.w * fine)].map(within);
            for (let y = within(lo(a[1] / p.h * fine)); y < within(hi(z[1] / p.h * fine)); y++) seen.fill(again ? 0 : 1, y * fine + left, y * fine + right);
        }
        return seen;
    }

    unseen(seen, [x0, y0, x1, y1]) {
        const p = this.table.picture, cell = (v, size) => within(Math.round(v / size * fine));
        for (let y = cell(y0, p.h); y < cell(y1, p.h); y++) {
            if (seen.subarray(y * fine + cell(x0, p.w), y * fine + cell(x1, p.w)).includes(0)) return true;
        }
        return false;
    }

    // view is the part of the print that is seen, in its pixels; null where that is
    // another picture, another size, or not there yet.
    view() {
        const t = this.table, p = t.what;
        if (!this.atEnd || p?.key !== this.state.picture.key || t.fold || t.zoom !== this.zoom || !t.view.dataset.ready.startsWith(p.key)) return null;
        const w = t.where(p);
        return [Math.max(0, -w.x / w.z), Math.max(0, -w.y / w.z), Math.min(p.w, (t.seen.w - w.x) / w.z), Math.min(p.h, (t.seen.h - w.y) / w.z)];
    }

    // go counts what is seen as seen and goes on to the first place that isn't.
    async go() {
        const t = this.table, began = this.going;
        if (!this.atEnd) await this.on.end();
        if (!t.picture) return;
        this.going = true;
        if (t.zoom === 0.5 || t.zoom === 1) this.zoom = t.zoom;
        const v = began && this.view(), p = t.picture;
        if (began && !v && t.zoom === this.zoom && !t.view.dataset.ready) return this.on.say("the picture isn't there yet, so it isn't seen");
        await this.ask(v ? { seen: [...t.to(p, v[0], v[1]), ...t.to(p, v[2], v[3])] } : {});
        const seen = this.cells(), next = this.screens().find((s) => this.unseen(seen, s));
        if (next) this.to(next);
        else this.on.say(`all of ${this.state.print} has been seen at ${100 * this.zoom} %; Shift+W begins anew`);
        this.on.changed();
    }

    // back shows the place before the one that is seen again.
    back() {
        const v = this.view(), list = this.screens();
        const i = v ? list.findIndex((s) => Math.abs(s[0] - v[0]) < 2 && Math.abs(s[1] - v[1]) < 2) : -1;
        if (i > 0) this.to(list[i - 1]);
    }

    anew() { return this.ask({ anew: true }).then(() => this.going && this.go()); }

    to([x0, y0, x1, y1]) {
        const t = this.table;
        [t.cx, t.cy] = t.to(t.picture, (x0 + x1) / 2, (y0 + y1) / 2);
        t.zoomTo(this.zoom);
        this.paint();
        this.ahead();
    }

    // ahead fetches the next place while this one is looked at.
    ahead() {
        clearTimeout(this.waiting);
        if (!this.going || !this.table.picture) return;
        if (!idle() || !this.view()) {
            this.waiting = setTimeout(() => this.ahead(), 300);
            return;
        }
        const t = this.table, z = this.zoom, seen = this.cells(), next = this.screens().filter((s) => this.unseen(seen, s))[1];
        this.next?.remove();
        this.next = new Layer(make("div"), () => {});
        if (next) this.next.place(t.picture, { x: -Math.round(next[0] * z), y: -Math.round(next[1] * z), z, small: 0 }, t.seen, t.ratio);
    }

    // paint hatches what hasn't been seen, and counts it.
    paint() {
        const svg = at("unseen"), t = this.table, p = t.picture;
        svg.replaceChildren();
        at("walked").textContent = "";
        at("here").hidden = this.going;
        if (!this.going || !p || !t.seen.w) return;
        const share = (v) => 100 * v + "%", mask = draw("mask", { id: "seen" });
        mask.append(draw("rect", { width: "100%", height: "100%", fill: "#fff" }));
        for (const { at: [x0, y0, x1, y1], again } of this.parts) {
            const a = t.of(p, x0, y0), z = t.of(p, x1, y1);
            mask.append(draw("rect", { x: share(a[0] / p.w), y: share(a[1] / p.h), width: share((z[0] - a[0]) / p.w), height: share((z[1] - a[1]) / p.h), fill: again ? "#fff" : "#000" }));
        }
        const hatch = draw("pattern", { id: "hatched", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
        hatch.append(draw("rect", { width: 1.2, height: 7, fill: "#fff" }), draw("rect", { x: 1.2, width: 1.2, height: 7, fill: "#000" }));
        svg.append(mask, hatch, draw("rect", { width: "100%", height: "100%", fill: "url(#hatched)", mask: "url(#seen)" }));
        const seen = this.cells(), left = this.screens().filter((s) => this.unseen(seen, s)).length;
        const done = seen.reduce((n, v) => n + v, 0) / seen.length;
        at("walked").textContent = left ? `Walked ${Math.floor(100 * done)} % at ${100 * this.zoom} %: space goes on, ${left} ${left === 1 ? "screen" : "screens"} left; Shift+space goes back.` : `Walked all of it at ${100 * this.zoom} %.`;
    }
}

const within = (v) => Math.min(fine, Math.max(0, v));
