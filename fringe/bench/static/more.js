// A pair, a plan, a new surface, and how long still to wait.
import { ask, capital } from "./talk.js";

const $ = (id) => document.getElementById(id);

function lines(parent, texts) {
  parent.replaceChildren(...texts.filter(Boolean).map((text, index) =>
    Object.assign(document.createElement("p"), { textContent: text, className: index ? "" : "hint" }),
  ));
}

export function showMore(desk) {
  const here = desk.surfaces.find((one) => one.name === desk.settings.surface);
  const names = desk.surfaces.filter((one) => here && one.form !== here.form).map((one) => one.name);
  const wanted = JSON.stringify([here?.name, names, desk.lamps]);
  if ($("more").dataset.wanted === wanted) return;
  $("more").dataset.wanted = wanted;
  $("pair-box").hidden = !names.length;
  $("pair-with").replaceChildren(...names.map((name) => new Option(name, name)));
  $("pair-rows").replaceChildren();
  $("plan-box").open = false;
  $("plan-box").hidden = $("tolerance-box").hidden = !here;
  $("new-lamp").replaceChildren(new Option("none", ""), ...desk.lamps.map((name) => new Option(name, name)));
}

// `change` sends something and shows what the bench says then.
export function handleMore(change) {
  $("pair-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    lines($("pair-rows"), ["Weighing the evidence …"]);
    try {
      lines($("pair-rows"), (await ask(`api/pair?with=${encodeURIComponent($("pair-with").value)}`)).rows);
    } catch (error) {
      lines($("pair-rows"), [error.message]);
    }
  });
  $("plan-box").addEventListener("toggle", async () => {
    if (!$("plan-box").open) return;
    $("plan-wait").hidden = false;
    $("plan-wait").textContent = "Living it through …";
    $("plan-table").hidden = true;
    $("plan-steps").textContent = "";
    try {
      const { rows, steps } = await ask("api/plan");
      $("plan-rows").replaceChildren(...rows.map((cells) => {
        const row = document.createElement("tr");
        row.append(...cells.map((cell) => Object.assign(document.createElement("td"), { textContent: cell })));
        return row;
      }));
      $("plan-steps").textContent = `Ranges hold in 90 of 100 cases. Next: ${steps.join("; ")}.`;
      $("plan-wait").hidden = true;
      $("plan-table").hidden = false;
    } catch (error) {
      $("plan-wait").textContent = capital(error.message);
    }
  });
  $("make-first").addEventListener("click", () => {
    $("new-box").open = true;
    $("new-name").focus();
  });
  $("tolerance-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const values = Object.fromEntries(new FormData($("tolerance-form")));
    if (!(await change("api/tolerance", { method: "POST", values: { ...values, surface: $("surface").value } }))) return;
    $("tolerance-form").reset();
    $("tolerance-box").open = false;
  });
  $("new-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const values = Object.fromEntries(new FormData($("new-form")));
    if (!(await change("api/surfaces", { method: "POST", values }))) return;
    $("new-form").reset();
    $("new-box").open = false;
  });
}

// How long until the glass has rested; the page's title says when the time has come.
export function showBack(until) {
  $("back").hidden = !until;
  const left = until ? Math.ceil((new Date(until) - Date.now()) / 60000) : 0;
  const clock = until ? new Date(until).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" }) : "";
  const hours = left >= 60 ? `${Math.floor(left / 60)} h ` : "";
  const words = left > 0 ? `Back at ${clock}, in ${hours}${left % 60} min` : `Back since ${clock}: read it now`;
  if ($("back").textContent !== words) $("back").textContent = words;
  const title = document.title.replace(/^Read it now: /, "");
  document.title = until && left <= 0 ? `Read it now: ${title}` : title;
}
