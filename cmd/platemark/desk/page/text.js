// Changes of a text. Places are lines and UTF-16 units, as editors have them;
// the page's text has one sign for a line's end, whatever the file has.

export function place(text, offset) {
    const before = text.slice(0, offset);
    const line = before.split("\n").length - 1;
    return { line, character: offset - (before.lastIndexOf("\n") + 1) };
}

export function offset(text, { line, character }) {
    let at = 0;
    for (; line > 0; line--) {
        const end = text.indexOf("\n", at);
        if (end < 0) return text.length;
        at = end + 1;
    }
    const end = text.indexOf("\n", at);
    return Math.min(at + character, end < 0 ? text.length : end);
}

const high = (c) => c >= 0xd800 && c < 0xdc00, low = (c) => c >= 0xdc00 && c < 0xe000;

// change is the one stretch in which two texts differ: from, to of the old one
// and what stands there in the new one; null where they are equal.
export function change(was, now) {
    if (was === now) return null;
    let a = 0, z = 0;
    const most = Math.min(was.length, now.length);
    while (a < most && was[a] === now[a]) a++;
    if (a > 0 && high(was.charCodeAt(a - 1))) a--; // no character is cut in two
    while (z < most - a && was[was.length - 1 - z] === now[now.length - 1 - z]) z++;
    if (z > 0 && low(was.charCodeAt(was.length - z))) z--;
    return { from: a, to: was.length - z, text: now.slice(a, now.length - z) };
}

export const apply = (text, c) => text.slice(0, c.from) + c.text + text.slice(c.to);

// again is a change of was as a change of now, which differs from was elsewhere;
// null where both changes meet.
export function again(c, was, now) {
    const d = change(was, now);
    if (!d || c.to < d.from) return c;
    const by = now.length - was.length;
    return c.from > d.to ? { from: c.from + by, to: c.to + by, text: c.text } : null;
}

// moved is where a place of was stands in now.
export function moved(at, was, now) {
    const d = change(was, now);
    if (!d || at <= d.from) return at;
    return at >= d.to ? at + now.length - was.length : Math.min(at, d.from + d.text.length);
}

export function posted(was, c) {
    return { range: { start: place(was, c.from), end: place(was, c.to) }, text: c.text };
}
