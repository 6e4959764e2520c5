// Light or dark paper: what was chosen here, else what the system asks for.

const KEY = "partwright-paper";
const asked = matchMedia("(prefers-color-scheme: dark)");

export function paper() {
  return localStorage.getItem(KEY) ?? (asked.matches ? "dark" : "light");
}

export function layPaper() {
  document.documentElement.dataset.paper = paper();
}

export function turnPaper() {
  const next = paper() === "dark" ? "light" : "dark";
  if ((next === "dark") === asked.matches) localStorage.removeItem(KEY);
  else localStorage.setItem(KEY, next);
  layPaper();
}

asked.addEventListener("change", layPaper);
