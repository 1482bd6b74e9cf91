// The edge of the work as an ellipse over the photograph, to be dragged by hand or by keys.
const SVG = "http://www.w3.org/2000/svg";
const HANDLE = 15; // radius of a handle, and
const STEM = 30; // how far outside the edge it sits, so that no finger hides the edge [screen px]

function element(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.append(made);
  return made;
}

export class EdgeEditor {
  // `changed` is called with the edge whenever it was moved by hand.
  constructor(svg, image, changed) {
    this.svg = svg;
    this.image = image;
    this.changed = changed;
    this.edge = null;
    this.size = [1, 1];
    this.casing = element("ellipse", { class: "casing" }, svg);
    this.line = element("ellipse", { class: "edge" }, svg);
    this.stems = ["a", "b"].map(() => element("line", { class: "stem" }, svg));
    this.handles = {
      c: this.handle("Centre of the edge; the arrow keys move it"),
      a: this.handle("Size of the edge; the arrow keys change it"),
      b: this.handle("Narrower way of an oval edge; the arrow keys change it"),
    };
    new ResizeObserver(() => this.draw()).observe(image);
  }

  // How many pixels of the photograph one on the screen is.
  get scale() {
    return this.size[0] / Math.max(1, this.image.clientWidth);
  }

  show(edge, size, { sure, moved }) {
    this.size = size;
    this.edge = edge && { ...edge };
    // the middle of the first pixel is the origin
    this.svg.setAttribute("viewBox", `-0.5 -0.5 ${size[0]} ${size[1]}`);
    this.svg.classList.toggle("unsure", !sure);
    this.svg.classList.toggle("moved", moved);
    this.draw();
  }

  handle(label) {
    const group = element("g", { class: "handle", tabindex: 0, role: "button", "aria-label": label }, this.svg);
    element("circle", { class: "reach" }, group);
    element("circle", { class: "knob" }, group);
    group.addEventListener("pointerdown", (event) => this.grab(event, group));
    // touch-action does not hold for the parts of a drawing everywhere: say it once more
    group.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
    group.addEventListener("keydown", (event) => this.key(event, group));
    return group;
  }

  // Directions of the two half axes on the screen.
  axes() {
    const turn = (this.edge.angle_deg * Math.PI) / 180;
    return { a: [Math.cos(turn), Math.sin(turn)], b: [-Math.sin(turn), Math.cos(turn)] };
  }

  draw() {
    const { edge } = this;
    this.svg.toggleAttribute("hidden", !edge);
    if (!edge) return;
    const turn = `rotate(${edge.angle_deg} ${edge.cx} ${edge.cy})`;
    for (const line of [this.casing, this.line]) {
      for (const [name, value] of Object.entries({ cx: edge.cx, cy: edge.cy, rx: edge.a, ry: edge.b, transform: turn }))
        line.setAttribute(name, value);
    }
    const axes = this.axes();
    this.place("c", edge.cx, edge.cy);
    ["a", "b"].forEach((name, index) => {
      const [dx, dy] = axes[name];
      const out = edge[name] + STEM * this.scale;
      const inside = this.inFrame(edge.cx + dx * out, edge.cy + dy * out);
      const at = inside ? out : edge[name] - STEM * this.scale;
      this.place(name, edge.cx + dx * at, edge.cy + dy * at);
      const stem = this.stems[index];
      stem.setAttribute("x1", edge.cx + dx * edge[name]);
      stem.setAttribute("y1", edge.cy + dy * edge[name]);
      stem.setAttribute("x2", edge.cx + dx * at);
      stem.setAttribute("y2", edge.cy + dy * at);
    });
  }

  inFrame(x, y) {
    const room = HANDLE * this.scale;
    return x > room && y > room && x < this.size[0] - room && y < this.size[1] - room;
  }

  place(name, x, y) {
    const [reach, knob] = this.handles[name].children;
    for (const circle of [reach, knob]) {
      circle.setAttribute("cx", x);
      circle.setAttribute("cy", y);
    }
    reach.setAttribute("r", 22 * this.scale);
    knob.setAttribute("r", HANDLE * this.scale * (name === "c" ? 0.7 : 1));
  }

  point(event) {
    const box = this.image.getBoundingClientRect();
    return [
      ((event.clientX - box.left) / box.width) * this.size[0] - 0.5,
      ((event.clientY - box.top) / box.height) * this.size[1] - 0.5,
    ];
  }

  grab(event, group) {
    if (!this.edge || event.button > 0) return;
    event.preventDefault();
    group.focus({ preventScroll: true });
    group.setPointerCapture(event.pointerId);
    const name = Object.keys(this.handles).find((key) => this.handles[key] === group);
    const start = this.point(event);
    const before = { ...this.edge };
    const move = (now) => {
      const [x, y] = this.point(now);
      this.drag(name, before, start, [x, y]);
    };
    const end = () => {
      group.removeEventListener("pointermove", move);
      group.removeEventListener("pointerup", end);
      group.removeEventListener("pointercancel", end);
    };
    group.addEventListener("pointermove", move);
    group.addEventListener("pointerup", end);
    group.addEventListener("pointercancel", end);
  }

  drag(name, before, start, now) {
    const step = [now[0] - start[0], now[1] - start[1]];
    const edge = { ...before };
    if (name === "c") {
      edge.cx += step[0];
      edge.cy += step[1];
    } else if (name === "a") {
      // the handle leads the end of the longer half: length and direction
      const turn = (before.angle_deg * Math.PI) / 180;
      const end = [before.a * Math.cos(turn) + step[0], before.a * Math.sin(turn) + step[1]];
      edge.a = Math.hypot(...end);
      edge.b = (before.b * edge.a) / before.a;
      edge.angle_deg = (Math.atan2(end[1], end[0]) * 180) / Math.PI;
    } else {
      const turn = (before.angle_deg * Math.PI) / 180;
      edge.b = before.b - step[0] * Math.sin(turn) + step[1] * Math.cos(turn);
    }
    this.move(edge);
  }

  key(event, group) {
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const step = steps[event.key];
    if (!step || !this.edge) return;
    event.preventDefault();
    const size = (event.shiftKey ? 10 : 1) * Math.max(1, this.scale);
    const edge = { ...this.edge };
    if (group === this.handles.c) {
      edge.cx += step[0] * size;
      edge.cy += step[1] * size;
    } else {
      const more = (step[0] - step[1]) * size; // right and up make it larger
      if (group === this.handles.a) {
        edge.b = (edge.b * (edge.a + more)) / edge.a;
        edge.a += more;
      } else {
        edge.b += more;
      }
    }
    this.move(edge);
  }

  move(edge) {
    const least = 8 * this.scale;
    edge.a = Math.max(least, edge.a);
    edge.b = Math.max(least, edge.b);
    // an edge that lies off the photograph is no edge of it: its centre stays inside, and its
    // half axes are no longer than the photograph
    const [width, height] = this.size;
    edge.cx = Math.min(width - 1, Math.max(0, edge.cx));
    edge.cy = Math.min(height - 1, Math.max(0, edge.cy));
    const most = Math.max(width, height);
    edge.a = Math.min(most, edge.a);
    edge.b = Math.min(most, edge.b);
    this.edge = edge;
    this.svg.classList.add("moved");
    this.draw();
    this.changed({ ...edge });
  }
}
