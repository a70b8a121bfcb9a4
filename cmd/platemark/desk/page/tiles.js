// Pictures in tiles, asked for as they are seen. Tiles stand on whole pixels of
// the device and carry their own profile; nothing reads them back.
import { askPicture, make, query } from "./ask.js";

const side = 512; // px of a level
const mostBytes = 256 << 20; // of decoded pixels that are kept
const atOnce = 3; // requests; browsers allow six to one address, for all windows

const kept = new Map(); // address to { url, bytes }, the latest last
let held = 0;

function keep(address, blob, bytes) {
    const t = { url: URL.createObjectURL(blob), bytes };
    kept.set(address, t);
    held += bytes;
    for (const [a, old] of kept) {
        if (held <= mostBytes || a === address) break;
        forget(a, old);
    }
    return t;
}

function forget(address, t) {
    URL.revokeObjectURL(t.url);
    kept.delete(address);
    held -= t.bytes;
}

// The queue: what is wanted, by urgency; what no layer wants any more is
// cancelled, here and at the server.
const wanted = new Map(); // address to { address, bytes, stop, by: layer to { urgency, done, failed } }
let running = 0;

const urgency = (w) => Math.min(...[...w.by.values()].map((l) => l.urgency));

function pump() {
    while (running < atOnce) {
        let next = null;
        for (const w of wanted.values()) if (!w.stop && (!next || urgency(w) < urgency(next))) next = w;
        if (!next) return;
        const w = next;
        w.stop = new AbortController();
        running++;
        const each = (f) => {
            if (wanted.get(w.address) === w) wanted.delete(w.address);
            for (const l of w.by.values()) f(l);
        };
        askPicture(w.address, w.stop.signal)
            .then((blob) => { const k = keep(w.address, blob, w.bytes); each((l) => l.done(k)); }, (e) => { if (e.name !== "AbortError") each((l) => l.failed(e)); })
            .finally(() => { running--; pump(); });
    }
}

function want(address, bytes, layer, how) {
    if (!wanted.has(address)) wanted.set(address, { address, bytes, stop: null, by: new Map() });
    wanted.get(address).by.set(layer, how);
}

function drop(address, layer) {
    const w = wanted.get(address);
    if (!w?.by.delete(layer) || w.by.size > 0) return;
    wanted.delete(address);
    w.stop?.abort();
}

// idle says that nothing is on its way.
export const idle = () => running === 0 && wanted.size === 0;

// A Layer is one picture, or a mask over one, in a box of the page.
export class Layer {
    constructor(host, failed, mask = "") {
        this.mask = mask;
        this.el = make("div", { className: "layer" });
        host.append(this.el);
        this.failed = failed;
        this.tiles = new Map(); // address to its element
        this.asked = new Set();
    }

    // place lays the picture so that its left upper corner is at x, y device
    // pixels, each of its pixels z of them; small is the width of the plan run
    // small, 0 for true pixels. seen is the box's size in device pixels. Without
    // more it asks for nothing that isn't there.
    place({ key, w, h }, { x, y, z, small }, seen, ratio, more = true) {
        const by = !small && z <= 0.25 ? 4 : 1;
        const lw = small || Math.floor(w / by), lh = small ? Math.max(1, Math.round(h * small / w)) : Math.floor(h / by);
        const s = small ? w * z / lw : z * by; // device pixels to one of the level
        // Inside, lengths are pixels of the device: browsers round them to pixels of
        // the page otherwise, on screens of some ratios.
        this.el.style.transform = `scale(${1 / ratio})`;
        this.el.style.setProperty("--ratio", ratio);
        this.el.className = "layer" + (this.mask ? " hatch" : s >= 1 ? " sharp" : "");
        const need = new Map(), mask = this.mask;
        this.box = seen;
        // What is seen, and one row of tiles around it.
        const lo = (v) => Math.max(0, Math.floor(v / s / side) - 1), hi = (v, most) => Math.min(Math.ceil(most / side), Math.ceil(v / s / side) + 1);
        for (let ty = lo(-y); ty < hi(seen.h - y, lh); ty++) {
            for (let tx = lo(-x); tx < hi(seen.w - x, lw); tx++) {
                const px = tx * side, py = ty * side, pw = Math.min(side, lw - px), ph = Math.min(side, lh - py);
                const address = query("tile", { key, x: px, y: py, w: pw, h: ph, by, small, mask });
                const left = x + Math.round(px * s), up = y + Math.round(py * s);
                const right = x + Math.round((px + pw) * s), down = y + Math.round((py + ph) * s);
                const shown = right > 0 && down > 0 && left < seen.w && up < seen.h;
                const off = Math.hypot((left + right) / 2 - seen.w / 2, (up + down) / 2 - seen.h / 2);
                need.set(address, { left, up, right, down, shown, bytes: pw * ph * 4, urgency: off + (shown ? 0 : 1e6) + (mask ? 5e5 : 0) });
            }
        }
        for (const a of this.asked) if (!more || !need.has(a)) { drop(a, this); this.asked.delete(a); }
        for (const a of this.tiles.keys()) if (!need.has(a)) this.take(a);
        this.waits = 0;
        for (const [a, t] of need) {
            const k = kept.get(a);
            if (k) {
                kept.delete(a);
                kept.set(a, k); // used last
                if (t.shown) this.put(a, k, t);
                else this.take(a);
            } else if (more) {
                if (t.shown) this.waits++;
                this.asked.add(a);
                want(a, t.bytes, this, {
                    urgency: t.urgency,
                    failed: (e) => { this.asked.delete(a); this.failed(e); },
                    done: (k) => {
                        this.asked.delete(a);
                        if (t.shown) this.waits--;
                        if (t.shown) this.put(a, k, t);
                        this.ready?.();
                    },
                });
            }
        }
        pump();
    }

    put(address, { url }, t) {
        let e = this.tiles.get(address);
        if (this.mask) {
            this.tiles.set(address, { url, ...t });
            return this.hatch();
        }
        if (!e) {
            e = make("img", { alt: "", draggable: false, decoding: "sync", src: url });
            this.tiles.set(address, e);
            this.el.append(e);
        }
        Object.assign(e.style, { left: t.left + "px", top: t.up + "px", width: t.right - t.left + "px", height: t.down - t.up + "px" });
    }

    take(address) {
        this.tiles.get(address)?.remove?.();
        this.tiles.delete(address);
    }

    // hatch lays one hatch over the box, as strong as the tiles say: so its lines
    // go on from tile to tile.
    hatch() {
        const e = this.el.firstChild ?? make("i"), list = [...this.tiles.values()], all = (f) => list.map(f).join(", ");
        this.el.append(e);
        Object.assign(e.style, { left: 0, top: 0, width: this.box.w + "px", height: this.box.h + "px", maskImage: all((t) => `url("${t.url}")`),
            maskPosition: all((t) => `${t.left}px ${t.up}px`), maskSize: all((t) => `${t.right - t.left}px ${t.down - t.up}px`) });
    }

    // whole says that all that is seen is there.
    get whole() { return this.waits === 0; }

    remove() {
        for (const a of this.asked) drop(a, this);
        this.el.remove();
    }
}
