// What is read at a glance: the tolerance with the reading in it, and the surface's life.

const $ = (id) => document.getElementById(id);

function make(name, attributes, text) {
  const one = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
  if (text) one.textContent = text;
  return one;
}

const short = (value) => String(Number(value.toPrecision(3))).replace("-", "−");

// The band is what is allowed, the thick line the interval, the mark the reading. A power of which
// the sign is not known is drawn as its magnitude.
export function drawBar(bar) {
  const svg = $("tolerance-bar");
  svg.toggleAttribute("hidden", !bar);
  if (!bar || svg.dataset.of === JSON.stringify(bar)) return;
  svg.dataset.of = JSON.stringify(bar);
  const { u95, limit, known } = bar;
  const power = known ? bar.power : Math.abs(bar.power);
  const most = 1.12 * Math.max(1.4 * limit, Math.abs(power) + u95);
  const least = known ? -most : 0;
  const x = (value) => 4 + (312 * (value - least)) / (most - least);
  const from = known ? -limit : 0;
  const ends = known ? [-limit, 0, limit] : [0, limit];
  const [low, high] = [Math.max(least, power - u95), power + u95];
  svg.setAttribute("viewBox", "0 0 320 62");
  svg.replaceChildren(
    make("rect", { class: "outer", x: 4, y: 12, width: 312, height: 22 }),
    make("rect", { class: "allowed", x: x(from), y: 12, width: x(limit) - x(from), height: 22 }),
    ...ends.map((end) => make("line", { class: "end", x1: x(end), x2: x(end), y1: 8, y2: 38 })),
    ...ends.map((end) => make("text", { x: x(end), y: 56, "text-anchor": "middle" }, short(end))),
    make("line", { class: "interval", x1: x(low), x2: Math.max(x(high), x(low) + 2), y1: 23, y2: 23 }),
    make("path", { class: "reading", d: `M${x(power)} 3 l8 20 l-8 20 l-8 -20 z` }),
  );
  const sign = known ? "" : ", sign unknown";
  svg.setAttribute("aria-label", `Power ${short(power)} ± ${short(u95)} fringes${sign}; allowed are ±${short(limit)}`);
}

// Powers of the logged visits, the latest on the right, over the band that is allowed.
export function drawLife(history, limit) {
  const points = history.filter((one) => !one.struck && one.power_fringes !== null).reverse();
  const svg = $("life");
  svg.toggleAttribute("hidden", points.length < 2);
  const wanted = JSON.stringify([points.map((one) => [one.visit, one.power_fringes]), limit]);
  if (points.length < 2 || svg.dataset.of === wanted) return;
  svg.dataset.of = wanted;
  const u95 = (one) => one.power_u95_fringes ?? 0;
  const low = Math.min(0, -(limit ?? 0), ...points.map((one) => one.power_fringes - u95(one)));
  const high = Math.max(0, limit ?? 0, ...points.map((one) => one.power_fringes + u95(one)));
  const x = (index) => 8 + (304 * index) / (points.length - 1);
  const y = (power) => 66 - (60 * (power - low)) / (high - low || 1);
  svg.setAttribute("viewBox", "0 0 320 72");
  const band = limit ? [make("rect", { class: "allowed", x: 0, y: y(limit), width: 320, height: y(-limit) - y(limit) })] : [];
  svg.replaceChildren(
    ...band,
    make("line", { class: "zero", x1: 0, x2: 320, y1: y(0), y2: y(0) }),
    make("polyline", { class: "course", points: points.map((one, i) => `${x(i)},${y(one.power_fringes)}`).join(" ") }),
    ...points.map((one, i) => make("line", { class: "bar", x1: x(i), x2: x(i), y1: y(one.power_fringes - u95(one)), y2: y(one.power_fringes + u95(one)) })),
    ...points.map((one, i) => make("circle", { class: "point", cx: x(i), cy: y(one.power_fringes), r: 4 })),
  );
  const [first, last] = [points[0], points.at(-1)];
  svg.setAttribute("aria-label", `Power over ${points.length} visits, from ${short(first.power_fringes)} to ${short(last.power_fringes)} fringes`);
}

// The lines of the fit over the photograph, unless the person has taken them off.
export function showLines(shot, moving) {
  const image = $("fit-lines");
  const there = shot?.answer && !moving && $("lines-on").checked;
  $("lines-line").hidden = !shot?.answer;
  const of = shot?.answer ? `${shot.id} ${JSON.stringify([shot.edge, shot.answer.value])}` : "";
  if (there && image.dataset.of !== of) {
    image.dataset.of = of;
    image.classList.add("loading");
    image.src = `api/shots/${shot.id}/lines.png?of=${encodeURIComponent(of)}`;
  }
  image.hidden = !there;
}

// Red on black for a lamp-lit shop, kept by the browser.
export function handleNight() {
  const night = (on) => {
    document.documentElement.dataset.look = on ? "night" : "";
    $("night").setAttribute("aria-pressed", on);
  };
  let on = false;
  try {
    on = localStorage.getItem("fringe-bench-night") === "on";
  } catch {
    // a browser that keeps nothing begins by day
  }
  night(on);
  $("night").addEventListener("click", () => {
    on = !on;
    night(on);
    try {
      localStorage.setItem("fringe-bench-night", on ? "on" : "off");
    } catch {
      // it holds for this page
    }
  });
  $("fit-lines").addEventListener("load", () => $("fit-lines").classList.remove("loading"));
}
