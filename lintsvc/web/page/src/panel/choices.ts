// How the part will be made. Asked is what matters for this part; the guess stands in the fields with its reason.
import type { Choices, MaterialShown } from "../api";
import { type Child, h } from "../dom";
import type { PartReport } from "../report";
import { text } from "../strings";
import { digits, length, lengthUnit, mass } from "../units";

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

/** Only a solid can be meant for both processes: a mesh has no flat, and a drawing no body. */
const bothWays = (report: PartReport) => report.format === "STEP";

/** Why something was taken that nobody said. */
function guess(report: PartReport, what: string): Child {
  const found = report.assumed?.find((x) => x.what === what);
  return found ? h("span", { class: "guess" }, `${text.guessed}: ${found.why.replace(/\.$/, "")}.`) : null;
}

/** Common thicknesses as buttons, those of the material's stock, in the chosen unit. */
function stockButtons(material: MaterialShown | undefined, now: number | null, pick: (word: string) => void): HTMLElement | null {
  const inches = lengthUnit() === "in";
  const stock = (inches ? material?.stock_in : material?.stock_mm) ?? [];
  if (!stock.length) return null;
  return h(
    "div",
    { class: "stock", role: "group", "aria-label": text.stock },
    ...stock.map((x) => {
      const mm = inches ? x * 25.4 : x;
      return h("button", {
        type: "button", class: "stock-one", "data-focus": `stock-${x}`, "aria-pressed": String(now !== null && Math.abs(mm - now) < 1e-3),
        onclick: () => pick(`${x}${inches ? "in" : "mm"}`),
      }, length(mm));
    }),
  );
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
  // A solid has its thickness: another one is only said where it is ordered in another sheet.
  const measured = process === "sheet" && report.format === "STEP" && Boolean(report.thickness);
  // A gauge stays one: in another metal it is another thickness.
  const gauge = /ga/i.test(said.thickness ?? "") ? said.thickness : undefined;
  const thickness = measured ? (said.thickness ?? "") : gauge ?? (report.thickness ? `${digits(report.thickness.value, 3)}${report.thickness.unit}` : (said.thickness ?? ""));
  const input = h("input", { name: "thickness", value: thickness, placeholder: text.thicknessHint, autocomplete: "off", size: 8 });
  const units = report.part?.units;
  const askUnit = !units?.stated || Boolean(said.units) || Boolean(units.other);
  const unitField = h("label", {}, h("span", {}, text.fileUnit),
    h("select", { name: "units" }, option("", text.unitAsFound(units?.value ?? ""), said.units ?? null), ...["mm", "in", "cm", "m"].map((x) => option(x, text.unitNames[x] ?? x, said.units ?? null))));
  const count = Number(said.quantity ?? 1);
  const weight = report.part?.mass_g;
  const finishes = h("datalist", { id: "finishes" }, ...(text.finishes[process] ?? []).map((x) => h("option", { value: x })));
  const form = h(
    "form",
    { class: "choices", onsubmit: (event: SubmitEvent) => { event.preventDefault(); read(); }, onchange: () => read() },
    bothWays(report)
      ? h("label", {}, h("span", {}, text.process), h("select", { name: "process" }, ...Object.entries(text.processes).map(([id, name]) => option(id, name, process))), guess(report, "process"))
      : h("p", { class: "choice-said" }, h("span", { class: "quiet" }, text.process), text.processes[process] ?? process, h("span", { class: "guess" }, text.onlyProcess[process] ?? "")),
    h(
      "label",
      {},
      h("span", {}, text.material),
      h("select", { name: "material" }, option("", text.noMaterial, report.material), ...fits.map((x) => option(x.id, x.laser === "never" && process === "sheet" ? `${x.name} (${text.neverLaser})` : x.name, report.material))),
      material ? h("span", { class: "good-for" }, material.good_for) : null,
      guess(report, "material"),
    ),
    process === "sheet"
      ? measured && report.thickness
        ? h("p", { class: "choice-said" }, h("span", { class: "quiet" }, text.thickness), length(report.thickness.value), h("span", { class: "guess" }, text.thicknessOfSolid))
        : h("div", { class: "choice-thickness" },
            h("label", {}, h("span", {}, text.thickness), input),
            stockButtons(material, report.thickness?.value ?? null, (word) => { input.value = word; read(); }))
      : null,
    askUnit ? unitField : null,
    h("details", { class: "choices-more", open: Boolean(said.finish) || count > 1 || (measured && Boolean(said.thickness)) }, h("summary", {}, text.moreChoices(!askUnit, measured)),
      h("div", { class: "choices" },
        h("label", {}, h("span", {}, text.quantity), h("input", { name: "quantity", type: "number", min: 1, max: 1000000, step: 1, value: count, inputmode: "numeric" }),
          weight && count > 1 ? h("span", { class: "good-for" }, text.together(mass(weight * count))) : null),
        h("label", {}, h("span", {}, text.finish), h("input", { name: "finish", value: said.finish ?? "", list: "finishes", autocomplete: "off", maxlength: 100, placeholder: text.finishHint })),
        finishes,
        measured ? h("label", {}, h("span", {}, text.thicknessOrdered), input) : null,
        askUnit ? null : unitField)),
  );
  function read(): void {
    if (!form.reportValidity()) return;
    const data = new FormData(form);
    const next: Choices = { process };
    for (const key of ["process", "material", "thickness", "units", "finish", "quantity"] as const) {
      const value = data.get(key);
      if (typeof value === "string" && value.trim()) next[key] = value.trim();
    }
    if (next.quantity === "1") delete next.quantity;
    // A material of the other process makes no sense with it.
    if (next.process !== process) {
      delete next.material;
      delete next.thickness;
    }
    apply(next);
  }
  const others = (report.assumed ?? []).filter((x) => x.what !== "process" && x.what !== "material");
  return h(
    "section",
    { class: "panel", "aria-labelledby": "choices-title" },
    h("h2", { id: "choices-title" }, text.choices),
    lacks(report).length ? h("p", { class: "doubt" }, text.sayTheRest(lacks(report))) : null,
    form,
    material?.laser && material.laser !== "yes" && process === "sheet" && material.laser_why ? h("p", { class: "caution" }, h("b", {}, `${text.caution}: `), material.laser_why) : null,
    others.length
      ? h("ul", { class: "assumed" }, ...others.map((x) => h("li", {}, h("b", {}, `${text.guessed}: ${x.what.replace(/_/g, " ")} ${x.value}`), `: ${x.why.replace(/\.$/, "")}.`)))
      : null,
  );
}
