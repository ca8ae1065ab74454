// Flaws marked on a board that lies square-on: the whole board above, a stretch of it large below. Boxes are drawn,
// moved and stretched by mouse, finger or keyboard; all lengths are mm of the board frame. Text by textContent only.
const SVG = "http://www.w3.org/2000/svg";
const HOLD_CSS = 11, REACH_CSS = 22, KEY_REST_MS = 350, LEAST_MM = 2, LEAST_DRAWN_CSS = 7;

const make = (name, attributes = {}, parent = null) => {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (parent) parent.appendChild(node);
  return node;
};
const element = (name, className, parent, text = "") => {
  const node = document.createElement(name);
  node.className = className;
  node.textContent = text;
  parent.appendChild(node);
  return node;
};
const within = (value, low, high) => Math.min(Math.max(value, low), Math.max(low, high));

function build(root, data) {
  root.querySelector(".sheet")?.remove(); // the style sheet beside it stays
  const sheet = element("div", "sheet", root);
  const [long, wide] = data.size_mm;
  const whole = make("svg", { class: "whole", viewBox: `0 0 ${long} ${wide}`, preserveAspectRatio: "none" }, sheet);
  whole.setAttribute("aria-hidden", "true");
  const tools = element("div", "tools", sheet);
  const button = (word) => { const node = element("button", "tool", tools, word); node.type = "button"; return node; };
  const draw = button(data.words.draw), closer = button(data.words.closer), wider = button(data.words.wider);
  const left = button(data.words.left), right = button(data.words.right);
  const close = make("svg", { class: "near", role: "application", tabindex: "0", "aria-label": data.words.picture }, sheet);
  element("p", "told", sheet, data.words.told);
  for (const svg of [whole, close]) {
    make("rect", { class: "wood", width: long, height: wide }, svg);
    if (data.picture) {
      make("image", { href: data.picture, width: long, height: wide, preserveAspectRatio: "none" }, svg);
    }
  }
  const spots = make("g", {}, whole), lamp = make("rect", { class: "lamp" }, whole);
  const boxes = make("g", {}, close), fresh = make("rect", { class: "box fresh", visibility: "hidden" }, close);
  return { sheet, whole, close, draw, closer, wider, left, right, spots, lamp, boxes, fresh };
}

export default function (component) {
  const { parentElement, data, setStateValue } = component;
  const [long, wide] = data.size_mm;
  const stamp = `${data.picture_id}|${long}x${wide}`;
  const state = parentElement.__marks && parentElement.__marks.stamp === stamp
    ? parentElement.__marks
    : { stamp, view: build(parentElement, data), at: [0, wide / 2], zoom: 1, armed: false, held: null, timer: null };
  parentElement.__marks = state;
  const { view } = state;
  if (!state.held && !state.timer) {
    state.boxes = data.boxes.map((b) => ({ ...b, box: [...b.box] }));
    if (data.picked !== state.picked) {
      state.picked = data.picked;
      const b = state.boxes.find((one) => one.id === state.picked);
      if (b && data.go_there) state.at = [(b.box[0] + b.box[2]) / 2, (b.box[1] + b.box[3]) / 2];
    }
  }
  const tell = (what) => setStateValue("last", { ...what, stamp: Date.now() });
  const say = (b) => tell({ do: "move", id: b.id, box: b.box.map((v) => Math.round(v * 100) / 100) });

  const frame = () => {
    const css = view.close.getBoundingClientRect();
    const high = (wide * 1.12) / state.zoom;
    const span = high * Math.max(0.2, css.width / Math.max(1, css.height));
    if (span < long) state.at[0] = within(state.at[0], span * 0.47, long - span * 0.47);
    if (high < wide) state.at[1] = within(state.at[1], high * 0.47, wide - high * 0.47);
    const x = span >= long ? (long - span) / 2 : within(state.at[0] - span / 2, -span * 0.03, long - span * 0.97);
    const y = high >= wide ? (wide - high) / 2 : within(state.at[1] - high / 2, -high * 0.03, wide - high * 0.97);
    return { x, y, span, high, perCss: span / Math.max(1, css.width) };
  };

  const isLong = (b, span) => b.box[2] - b.box[0] > span * 0.5;
  const drawBox = (b, { perCss, span, x: left }) => {
    const [x0, y0, x1, y1] = b.box, picked = b.id === state.picked;
    const looks = [b.by, picked ? "picked" : "", isLong(b, span) ? "long" : ""].join(" ");
    const group = make("g", { class: `mark ${looks}`, tabindex: "0", role: "button" });
    group.setAttribute("aria-label", b.says);
    group.setAttribute("aria-pressed", String(picked));
    group.dataset.id = b.id;
    for (const name of ["box under", "box"]) {
      make("rect", { class: name, x: x0, y: y0, width: Math.max(0.1, x1 - x0), height: Math.max(0.1, y1 - y0) }, group);
    }
    const off = picked ? 14 : 5; // clear of the knobs
    const seen = Math.min(Math.max(x0, left + 8 * perCss), x1); // the name of a long box stays in sight
    const text = make("text", { class: "name", x: seen, y: y0 - off * perCss, "font-size": 15 * perCss,
      "stroke-width": 3.5 * perCss }, group);
    if (y0 - 30 * perCss < 0) text.setAttribute("y", y1 + (off + 12) * perCss);
    text.textContent = b.word;
    if (picked) {
      [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].forEach(([x, y], corner) => {
        const hold = make("g", { class: "hold", "data-corner": corner }, group);
        make("circle", { class: "reach", cx: x, cy: y, r: REACH_CSS * perCss }, hold);
        make("circle", { class: "knob", cx: x, cy: y, r: HOLD_CSS * 0.6 * perCss }, hold);
      });
    }
    return group;
  };

  const draw = () => {
    const f = frame();
    view.close.setAttribute("viewBox", `${f.x} ${f.y} ${f.span} ${f.high}`);
    view.close.classList.toggle("armed", state.armed);
    view.draw.setAttribute("aria-pressed", String(state.armed));
    for (const [key, value] of Object.entries({ x: f.x, y: f.y, width: f.span, height: f.high })) {
      view.lamp.setAttribute(key, value);
    }
    view.spots.replaceChildren(...state.boxes.map((b) => make("rect", {
      class: `spot ${b.by}`, x: b.box[0], y: b.box[1], width: b.box[2] - b.box[0], height: b.box[3] - b.box[1] })));
    const focused = parentElement.getRootNode().activeElement?.dataset?.id;
    const order = [...state.boxes].sort((a, b) => (a.id === state.picked) - (b.id === state.picked));
    view.boxes.replaceChildren(...order.map((b) => drawBox(b, f)));
    if (focused) find(focused)?.focus({ preventScroll: true });
  };
  const find = (id) => [...view.boxes.children].find((g) => g.dataset.id === id);

  const toBoard = (event, svg) => {
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [p.x, p.y];
  };
  const onBoard = ([x, y]) => [within(x, 0, long), within(y, 0, wide)];
  const pick = (id) => { if (state.picked !== id) { state.picked = id; tell({ do: "pick", id }); } };
  const shift = (b, dx, dy) => {
    const [x0, y0, x1, y1] = b.box;
    const x = within(x0 + dx, 0, long - (x1 - x0)), y = within(y0 + dy, 0, wide - (y1 - y0));
    b.box = [x, y, x + x1 - x0, y + y1 - y0];
  };
  const stretch = (b, corner, [x, y]) => {
    const [x0, y0, x1, y1] = b.box;
    const left = corner === 0 || corner === 3, top = corner < 2;
    b.box = [left ? Math.min(x, x1 - LEAST_MM) : x0, top ? Math.min(y, y1 - LEAST_MM) : y0,
             left ? x1 : Math.max(x, x0 + LEAST_MM), top ? y1 : Math.max(y, y0 + LEAST_MM)];
  };
  const slide = (dx, dy) => { state.at = [within(state.at[0] + dx, 0, long), within(state.at[1] + dy, 0, wide)]; draw(); };
  const add = (box) => { state.armed = false; tell({ do: "draw", box: box.map((v) => Math.round(v * 100) / 100) }); };

  view.close.onpointerdown = (event) => {
    if (event.button) return;
    const hold = event.target.closest(".hold"), mark = event.target.closest(".mark");
    const at = toBoard(event, view.close);
    const b = mark && state.boxes.find((one) => one.id === mark.dataset.id);
    // A long box, as of sapwood, holds other flaws: it is moved only once it is picked, and drawn upon until then.
    const upon = b && b.id !== state.picked && isLong(b, frame().span) ? b : null;
    if (b && !upon && !state.armed) {
      state.held = { kind: hold ? "stretch" : "move", b, at, corner: hold && Number(hold.dataset.corner), was: [...b.box] };
      state.fresh_pick = state.picked !== b.id;
      state.picked = b.id;
    } else if (state.armed || event.pointerType !== "touch") {
      state.held = { kind: "draw", upon, at: onBoard(at), start: [event.clientX, event.clientY] };
    } else {
      state.held = { kind: "slide", upon, start: [event.clientX, event.clientY], from: [...state.at], perCss: frame().perCss };
    }
    view.close.setPointerCapture(event.pointerId);
    event.preventDefault();
    draw();
    if (b && !upon && !state.armed) find(b.id)?.focus({ preventScroll: true });
  };
  view.close.onpointermove = (event) => {
    const held = state.held;
    if (!held) return;
    const at = toBoard(event, view.close);
    if (held.kind === "move") {
      held.b.box = [...held.was];
      shift(held.b, at[0] - held.at[0], at[1] - held.at[1]);
    } else if (held.kind === "stretch") stretch(held.b, held.corner, onBoard(at));
    else if (held.kind === "slide") {
      state.at = [within(held.from[0] - (event.clientX - held.start[0]) * held.perCss, 0, long),
                  within(held.from[1] - (event.clientY - held.start[1]) * held.perCss, 0, wide)];
    } else {
      const [x, y] = onBoard(at);
      held.box = [Math.min(x, held.at[0]), Math.min(y, held.at[1]), Math.max(x, held.at[0]), Math.max(y, held.at[1])];
      for (const [key, value] of Object.entries({ x: held.box[0], y: held.box[1], width: held.box[2] - held.box[0],
        height: held.box[3] - held.box[1], visibility: "visible" })) view.fresh.setAttribute(key, value);
    }
    draw();
  };
  const drop = (event) => {
    const held = state.held;
    if (!held) return;
    state.held = null;
    view.fresh.setAttribute("visibility", "hidden");
    const far = held.start && Math.hypot(event.clientX - held.start[0], event.clientY - held.start[1]);
    if (held.kind === "draw" && held.box && far > LEAST_DRAWN_CSS) add(held.box);
    else if (held.kind === "draw" || (held.kind === "slide" && far < LEAST_DRAWN_CSS)) pick(held.upon?.id ?? null);
    else if (held.b && held.b.box.some((v, i) => Math.abs(v - held.was[i]) > 0.05)) say(held.b);
    else if (held.b && state.fresh_pick) tell({ do: "pick", id: held.b.id });
    draw();
  };
  view.close.onpointerup = drop;
  view.close.onpointercancel = () => {
    if (state.held?.b) state.held.b.box = state.held.was;
    state.held = null;
    view.fresh.setAttribute("visibility", "hidden");
    draw();
  };
  view.close.onkeydown = (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const b = state.boxes.find((one) => one.id === event.target.dataset?.id);
    const f = frame();
    if (b && way) {
      const step = data.step_mm * (event.shiftKey ? 10 : 1);
      if (event.altKey) stretch(b, 2, onBoard([b.box[2] + way[0] * step, b.box[3] + way[1] * step]));
      else shift(b, way[0] * step, way[1] * step);
      draw();
      clearTimeout(state.timer);
      state.timer = setTimeout(() => { state.timer = null; say(b); }, KEY_REST_MS);
    } else if (b && (event.key === "Delete" || event.key === "Backspace")) tell({ do: "drop", id: b.id });
    else if (b && (event.key === "Enter" || event.key === " ")) { pick(b.id); draw(); }
    else if (!b && way) slide(way[0] * f.span * 0.1, way[1] * f.high * 0.1);
    else if (!b && event.key === "Enter") {
      const [x, y] = onBoard([f.x + f.span / 2, f.y + f.high / 2]);
      add([...onBoard([x - 12.7, y - 12.7]), ...onBoard([x + 12.7, y + 12.7])]);
    } else return;
    event.preventDefault();
  };
  const aim = (event) => { state.at = onBoard(toBoard(event, view.whole)); draw(); };
  view.whole.onpointerdown = (event) => { state.aiming = true; view.whole.setPointerCapture(event.pointerId); aim(event); };
  view.whole.onpointermove = (event) => { if (state.aiming) aim(event); };
  view.whole.onpointerup = view.whole.onpointercancel = () => { state.aiming = false; };
  view.draw.onclick = () => { state.armed = !state.armed; draw(); };
  view.closer.onclick = () => { state.zoom = Math.min(8, state.zoom * 1.6); draw(); };
  view.wider.onclick = () => { state.zoom = Math.max(0.4, state.zoom / 1.6); draw(); };
  view.left.onclick = () => slide(-frame().span * 0.5, 0);
  view.right.onclick = () => slide(frame().span * 0.5, 0);
  const watch = new ResizeObserver(draw);
  watch.observe(view.close);
  draw();
  return () => { watch.disconnect(); };
}
