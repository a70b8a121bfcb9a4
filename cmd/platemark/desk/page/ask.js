// What the page asks of the server. An answer that refuses is an Error with the
// server's sentence and its status.

export async function answer(promise) {
    const r = await promise;
    if (r.ok) return r;
    const e = new Error((await r.text()).trim() || "it was refused");
    e.status = r.status;
    throw e;
}

export function query(path, values) {
    return path + "?" + new URLSearchParams(values);
}

export async function ask(path, values, signal) {
    return (await answer(fetch(query(path, values), { signal }))).json();
}

export async function askPicture(address, signal) {
    return (await answer(fetch(address, { signal }))).blob();
}

export async function send(path, file, body = {}) {
    return (await answer(fetch(query(path, { file }), { method: "POST", body: JSON.stringify(body) }))).json();
}

export const at = (id) => document.getElementById(id);

// make is an element with these properties and children.
export function make(name, properties = {}, ...children) {
    const e = document.createElement(name);
    Object.assign(e, properties);
    e.append(...children);
    return e;
}

const svg = "http://www.w3.org/2000/svg";

export function draw(name, attributes = {}, text) {
    const e = document.createElementNS(svg, name);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    if (text !== undefined) e.textContent = text;
    return e;
}
