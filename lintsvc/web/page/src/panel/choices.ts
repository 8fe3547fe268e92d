// How the part will be made. The guess stands in the fields with its reason; changing one checks again.
import type { Choices, MaterialShown } from "../api";
import { h } from "../dom";
import type { PartReport } from "../report";
import { text } from "../strings";
import { digits } from "../units";

function option(value: string, label: string, chosen: string | null): HTMLOptionElement {
  return h("option", { value, selected: value === (chosen ?? "") }, label);
}

/** What nobody said and rules wait for. */
export function lacks(report: PartReport): ("material" | "thickness")[] {
  if (report.process !== "sheet" || !report.not_checked.length) return [];
  const missing: ("material" | "thickness")[] = [];
  if (!report.material) missing.push("material");
  if (!report.thickness) missing.push("thickness");
  return missing;
}

export function choicesPanel(
  report: PartReport,
  known: MaterialShown[],
  said: Choices,
  apply: (choices: Choices) => void,
): HTMLElement {
  const process = report.process ?? said.process ?? "powder-bed";
  const fits = known.filter((x) => x.processes.includes(process));
  const material = fits.find((x) => x.id === report.material);
  const thickness = report.thickness ? `${digits(report.thickness.value, 3)}${report.thickness.unit}` : (said.thickness ?? "");
  const stock = h("datalist", { id: "stock" }, ...(material?.stock_mm ?? []).map((x) => h("option", { value: `${digits(x, 3)}mm` })));
  const form = h(
    "form",
    { class: "choices", onsubmit: (event: SubmitEvent) => event.preventDefault(), onchange: () => read() },
    h("label", {}, h("span", {}, text.process), h("select", { name: "process" }, ...Object.entries(text.processes).map(([id, name]) => option(id, name, process)))),
    h(
      "label",
      {},
      h("span", {}, text.material),
      h("select", { name: "material" }, option("", text.noMaterial, report.material), ...fits.map((x) => option(x.id, x.name, report.material))),
    ),
    process === "sheet"
      ? h(
          "label",
          {},
          h("span", {}, text.thickness),
          h("input", { name: "thickness", value: thickness, placeholder: text.thicknessHint, list: "stock", autocomplete: "off", size: 8 }),
          stock,
        )
      : null,
    h(
      "label",
      {},
      h("span", {}, text.fileUnit),
      h("select", { name: "units" }, option("", text.unitAsFound, said.units ?? null), ...["mm", "in", "cm", "m"].map((x) => option(x, x, said.units ?? null))),
    ),
  );
  function read(): void {
    const data = new FormData(form);
    const next: Choices = {};
    for (const key of ["process", "material", "thickness", "units"] as const) {
      const value = data.get(key);
      if (typeof value === "string" && value.trim()) next[key] = value.trim();
    }
    // A material of the other process makes no sense with it.
    if (next.process !== process) {
      delete next.material;
      delete next.thickness;
    }
    apply(next);
  }
  return h(
    "section",
    { class: "panel", "aria-labelledby": "choices-title" },
    h("h2", { id: "choices-title" }, text.choices),
    lacks(report).length ? h("p", { class: "doubt" }, text.sayTheRest(lacks(report))) : null,
    form,
    material ? h("p", { class: "quiet" }, material.good_for) : null,
    report.assumed?.length
      ? h("ul", { class: "assumed" }, ...report.assumed.map((x) => h("li", {}, h("b", {}, `${text.guessed}: ${x.what} ${x.value}`), `: ${x.why}.`)))
      : null,
  );
}
