// Where on the work a smaller plate lay: a tap on the face, or two numbers.

const $ = (id) => document.getElementById(id);
const NAMES = ["across", "down"];

function make(name, attributes) {
  const one = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
  return one;
}

// `shot` is the photograph that is shown, `apertures` the diameters of plate and work [mm].
export function showPlace(shot, { plate, work }) {
  $("place-box").hidden = !shot || !plate;
  if (!shot || !plate) return;
  const of = JSON.stringify([shot.id, shot.place_mm, plate, work]);
  if ($("place-face").dataset.of === of) return;
  $("place-face").dataset.of = of;
  const half = work / 2;
  $("place-face").setAttribute("viewBox", `${-1.05 * half} ${-1.05 * half} ${2.1 * half} ${2.1 * half}`);
  const [x, y] = shot.place_mm ?? [0, 0];
  $("place-face").replaceChildren(
    make("circle", { class: "face", cx: 0, cy: 0, r: half, "vector-effect": "non-scaling-stroke" }),
    make("line", { class: "axis", x1: -half, x2: half, y1: 0, y2: 0 }),
    make("line", { class: "axis", x1: 0, x2: 0, y1: -half, y2: half }),
    ...(shot.place_mm ? [make("circle", { class: "plate", cx: x, cy: y, r: plate / 2 })] : []),
  );
  NAMES.forEach((name, index) => {
    $(`place-${name}`).value = shot.place_mm ? String(Number(shot.place_mm[index].toFixed(1))) : "";
  });
  $("place-drop").hidden = !shot.place_mm;
}

// `send` says a place of the photograph that is shown, or takes it back.
export function handlePlace(send) {
  $("place-face").addEventListener("click", (event) => {
    const matrix = $("place-face").getScreenCTM();
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
    send({ across: at.x.toFixed(1), down: at.y.toFixed(1) });
  });
  $("place-form").addEventListener("submit", (event) => {
    event.preventDefault();
    send(Object.fromEntries(NAMES.map((name) => [name, $(`place-${name}`).value])));
  });
  $("place-drop").addEventListener("click", () => send({}));
}
