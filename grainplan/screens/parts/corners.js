// Four corners of a board on its photo. Dragged on the picture, dragged finely in the close-ups below it, or moved with
// the arrow keys (Shift: ten pixels). Points are pixels of the whole upright photo. Text goes in by textContent only.
const SVG = "http://www.w3.org/2000/svg";
const REACH_CSS = 24, RING_CSS = 9, KEY_REST_MS = 150, CLOSE_WIDTH_CSS = 240;

const make = (name, attributes = {}, parent = null) => {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (parent) parent.appendChild(node);
  return node;
};

const keepIn = (point, size) => [
  Math.min(size[0] + 40, Math.max(-40, point[0])), Math.min(size[1] + 40, Math.max(-40, point[1])),
];

function build(root, data) {
  root.querySelector(".sheet")?.remove(); // the style sheet beside it stays
  const sheet = document.createElement("div");
  sheet.className = "sheet";
  root.appendChild(sheet);
  const [wide, high] = data.size;
  const picture = make("svg", { class: "picture", viewBox: `0 0 ${wide} ${high}`, role: "group" }, sheet);
  picture.setAttribute("aria-label", data.words.picture);
  make("image", { href: data.photo, width: wide, height: high, preserveAspectRatio: "none" }, picture);
  const outlines = ["outline under", "outline"].map((name) => make("polygon", { class: name }, picture));
  const edges = data.words.edges.map((word) => {
    const text = make("text", { class: "edge-name" }, picture);
    text.textContent = word;
    return text;
  });
  const handles = data.words.corners.map((word) => {
    const group = make("g", { class: "handle", role: "slider", tabindex: "0", "aria-label": word }, picture);
    return { group, parts: [
      make("circle", { class: "reach" }, group), make("circle", { class: "ring under" }, group),
      make("circle", { class: "ring" }, group), make("path", { class: "cross" }, group) ] };
  });
  const near = document.createElement("div");
  near.className = "near";
  sheet.appendChild(near);
  const closeUps = data.words.corners.map((word) => {
    const figure = document.createElement("figure");
    figure.className = "close";
    near.appendChild(figure);
    const svg = make("svg", { "aria-hidden": "true" }, figure);
    make("image", { href: data.photo, width: wide, height: high, preserveAspectRatio: "none" }, svg);
    const lines = make("polygon", { class: "lines" }, svg);
    const crosses = ["cross under", "cross"].map((name) => make("path", { class: name, fill: "none" }, svg));
    const caption = document.createElement("figcaption");
    const name = document.createElement("span"), where = document.createElement("span");
    name.textContent = word;
    where.className = "where";
    caption.append(name, where);
    figure.appendChild(caption);
    return { figure, svg, lines, crosses, where };
  });
  const told = document.createElement("p");
  told.className = "told";
  told.textContent = data.words.told;
  sheet.appendChild(told);
  return { sheet, picture, outlines, edges, handles, closeUps };
}

export default function (component) {
  const { parentElement, data, setStateValue } = component;
  const size = data.size;
  const stamp = `${data.photo_id}|${size.join("x")}|${data.words.corners.join()}`;
  // A rerun of the page calls this again on the same element: keep the nodes, so that focus and a held corner stay.
  const state = parentElement.__corners && parentElement.__corners.stamp === stamp
    ? parentElement.__corners : { stamp, view: build(parentElement, data), held: null, timer: null };
  parentElement.__corners = state;
  state.send = (points) => setStateValue("points", points);
  if (state.held === null && state.timer === null) state.points = data.points.map((p) => [p[0], p[1]]);
  const { view } = state;

  const cssScale = () => Math.max(0.01, view.picture.getBoundingClientRect().width / size[0]);

  const draw = () => {
    const scale = cssScale();
    const corners = state.points.map((p) => p.join(",")).join(" ");
    view.outlines.forEach((line) => line.setAttribute("points", corners));
    const centre = [0, 1].map((i) => state.points.reduce((sum, p) => sum + p[i], 0) / 4);
    view.edges.forEach((text, i) => {
      const a = state.points[data.words.edge_from[i]], b = state.points[(data.words.edge_from[i] + 1) % 4];
      const middle = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
      const away = Math.hypot(middle[0] - centre[0], middle[1] - centre[1]) || 1;
      const inward = -16 / scale; // inside the board there is always room
      const at = [0, 1].map((k) => middle[k] + ((middle[k] - centre[k]) / away) * inward);
      text.setAttribute("x", Math.min(size[0] - 30 / scale, Math.max(30 / scale, at[0])));
      text.setAttribute("y", Math.min(size[1] - 9 / scale, Math.max(9 / scale, at[1])));
      text.setAttribute("font-size", 13 / scale);
      text.setAttribute("stroke-width", 3 / scale);
    });
    state.points.forEach((p, i) => {
      const { group, parts } = view.handles[i];
      group.setAttribute("transform", `translate(${p[0]} ${p[1]})`);
      group.setAttribute("aria-valuetext", `${p[0].toFixed(1)}, ${p[1].toFixed(1)}`);
      group.setAttribute("aria-valuenow", p[0].toFixed(1));
      parts[0].setAttribute("r", REACH_CSS / scale);
      parts[1].setAttribute("r", RING_CSS / scale);
      parts[2].setAttribute("r", RING_CSS / scale);
      const c = 4 / scale;
      parts[3].setAttribute("d", `M${-c} 0H${c}M0 ${-c}V${c}`);
      const close = view.closeUps[i];
      const span = data.close_px, tall = span * 0.75;
      close.svg.setAttribute("viewBox", `${p[0] - span / 2} ${p[1] - tall / 2} ${span} ${tall}`);
      close.lines.setAttribute("points", corners);
      const long = span * 0.07, gap = span * 0.012;
      const cross = [[-1, 0], [1, 0], [0, -1], [0, 1]].map(([u, v]) =>
        `M${p[0] + u * gap} ${p[1] + v * gap}L${p[0] + u * long} ${p[1] + v * long}`).join("");
      close.crosses.forEach((line) => line.setAttribute("d", cross));
      close.where.textContent = `${p[0].toFixed(0)}, ${p[1].toFixed(0)}`;
      const held = state.held !== null && state.held.place === i;
      group.classList.toggle("held", held);
      close.figure.classList.toggle("held", held);
    });
  };

  const toPhoto = (event, svg) => {
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [p.x, p.y];
  };
  const move = (place, point) => { state.points[place] = keepIn(point, size); draw(); };
  const send = () => state.send(state.points.map((p) => p.map((v) => Math.round(v * 100) / 100)));

  view.handles.forEach(({ group }, i) => {
    group.onpointerdown = (event) => {
      const at = toPhoto(event, view.picture);
      state.held = { place: i, from: [state.points[i][0] - at[0], state.points[i][1] - at[1]] };
      group.setPointerCapture(event.pointerId);
      group.focus({ preventScroll: true });
      event.preventDefault();
      draw();
    };
    group.onpointermove = (event) => {
      if (!state.held || state.held.place !== i || state.held.close) return;
      const at = toPhoto(event, view.picture);
      move(i, [at[0] + state.held.from[0], at[1] + state.held.from[1]]);
    };
    const drop = () => { if (state.held) { state.held = null; draw(); send(); } };
    group.onpointerup = drop;
    group.onpointercancel = drop;
    group.onkeydown = (event) => {
      const step = event.shiftKey ? 10 : 1;
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      move(i, [state.points[i][0] + way[0] * step, state.points[i][1] + way[1] * step]);
      clearTimeout(state.timer);
      state.timer = setTimeout(() => { state.timer = null; send(); }, KEY_REST_MS);
    };
  });
  view.closeUps.forEach(({ svg }, i) => {
    // In a close-up the photo is pulled along under the cross.
    svg.onpointerdown = (event) => {
      const perCss = data.close_px / Math.max(1, svg.getBoundingClientRect().width);
      state.held = { place: i, close: true, perCss, start: [event.clientX, event.clientY], point: [...state.points[i]] };
      svg.setPointerCapture(event.pointerId);
      event.preventDefault();
      draw();
    };
    svg.onpointermove = (event) => {
      const held = state.held;
      if (!held || held.place !== i || !held.close) return;
      move(i, [held.point[0] - (event.clientX - held.start[0]) * held.perCss,
               held.point[1] - (event.clientY - held.start[1]) * held.perCss]);
    };
    const drop = () => { if (state.held) { state.held = null; draw(); send(); } };
    svg.onpointerup = drop;
    svg.onpointercancel = drop;
  });
  const watch = new ResizeObserver(draw);
  watch.observe(view.picture);
  draw();
  return () => { watch.disconnect(); };
}
