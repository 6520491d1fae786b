// Draws each chart of the page from the specification beside it, in the page's own ink and paper.
// `ast` has expressions walked, not compiled: the content security policy lets no text become code.
const page = getComputedStyle(document.documentElement);
const colours = { "#26302e": "--ink", "#8a3b12": "--accent", "#faf7f0": "--paper" };
// Where the values stand is part of the page, told to those who do not see it; the library would put it outside.
const beside = document.createElement("div");
beside.id = "vg-tooltip-element";
beside.setAttribute("role", "status");
document.querySelector("main").append(beside);
for (const place of document.querySelectorAll(".closer")) {
  let text = place.nextElementSibling.textContent;
  for (const [printed, name] of Object.entries(colours)) {
    text = text.replaceAll(printed, page.getPropertyValue(name).trim());
  }
  const chart = JSON.parse(text);
  // A narrow page gets a narrower chart: one that is only shrunk would be read beside the pointer.
  if (chart.width + 70 > place.clientWidth) {
    chart.width = place.clientWidth;
    chart.autosize = { type: "fit-x", contains: "padding" };
  }
  vegaEmbed(place, chart, {
    ast: true,
    actions: false,
    renderer: "canvas",
    defaultStyle: false,
    tooltip: { disableDefaultStyle: true },
  });
}
