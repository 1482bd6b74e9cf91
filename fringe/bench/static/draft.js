// What is typed and not logged yet, kept by the browser for the visit that it was typed for.

const KEY = "fringe-bench-typed";

function stored() {
  try {
    return JSON.parse(localStorage.getItem(KEY)) ?? {};
  } catch {
    return {}; // a browser that keeps nothing, or something else of that name
  }
}

export function keep(visit, form) {
  const fields = {};
  for (const one of form.elements) if (one.id && one.value) fields[one.id] = one.value;
  try {
    localStorage.setItem(KEY, JSON.stringify({ visit, fields }));
  } catch {
    // it is lost with the page, as it would be without us
  }
}

// Fill in what was typed for this visit before the page was loaded; whether anything was.
export function restore(visit, form) {
  const { visit: of, fields = {} } = stored();
  if (of !== visit) return false;
  for (const [id, value] of Object.entries(fields)) {
    const one = form.elements.namedItem(id);
    if (one && typeof value === "string") one.value = value;
  }
  return true;
}

// Whether something was typed, for whichever visit.
export const any = () => Object.keys(stored().fields ?? {}).length > 0;

export function forget() {
  try {
    localStorage.removeItem(KEY);
  } catch {
    // there is nothing to forget then
  }
}
