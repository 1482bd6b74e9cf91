// Power against time over the photographs of one visit: glass that settles comes to rest.
const [WIDTH, HEIGHT, EDGE] = [320, 140, 26];
const LEFT = 46; // room for the numbers beside the axis

function make(name, attributes, text) {
  const one = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
  if (text) one.textContent = text;
  return one;
}

// `points` with minutes, power, u95 and the value as it is shown.
export function drawCourse(plot, points) {
  plot.setAttribute("viewBox", `0 0 ${WIDTH} ${HEIGHT}`);
  const last = Math.max(...points.map((point) => point.minutes));
  const low = Math.min(...points.map((point) => point.power - point.u95));
  const high = Math.max(...points.map((point) => point.power + point.u95));
  const x = (point, index) => LEFT + (WIDTH - LEFT - 12) * (last > 0.1 ? point.minutes / last : index / (points.length - 1));
  const y = (power) => HEIGHT - EDGE - ((HEIGHT - 2 * EDGE) * (power - low)) / (high - low || 1);
  const places = points.map((point, index) => [x(point, index), y(point.power)]);
  const number = (value) => value.toFixed(high - low < 1 ? 2 : 1).replace("-", "−");
  plot.replaceChildren(
    ...[low, high].map((power) => make("text", { x: LEFT - 8, y: y(power) + 4, "text-anchor": "end" }, number(power))),
    make("text", { x: 2, y: 12 }, "fringes"),
    make("text", { x: LEFT, y: HEIGHT - 6, "text-anchor": "middle" }, "0"),
    make("text", { x: WIDTH - 12, y: HEIGHT - 6, "text-anchor": "end" }, last > 0.1 ? `${last.toFixed(0)} min` : "in the order taken"),
    make("polyline", { class: "course", points: places.map((place) => place.join(",")).join(" ") }),
    ...points.map((point, index) => make("line", { class: "bar", x1: x(point, index), x2: x(point, index), y1: y(point.power - point.u95), y2: y(point.power + point.u95) })),
    ...places.map(([cx, cy]) => make("circle", { class: "point", cx, cy, r: 4 })),
  );
  plot.setAttribute("aria-label", `Power from ${points[0].value} to ${points.at(-1).value} fringes, in the order taken`);
}
